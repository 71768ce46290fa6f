"""What more than one page's part of the JSON API takes and gives, so that /api/openapi.json says what is true."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any, Literal

from pydantic import BaseModel, Field

from server.core.art import ArtKind, Severity
from server.core.plan import Arrangement
from server.core.settings import DeckSettings, EdgeMode
from server.jobs.builds import JobView
from server.web.bodies import FIRST_FAULT as FIRST_FAULT
from server.web.bodies import MOST_ITEMS as MOST_ITEMS
from server.web.bodies import RAW_BODY as RAW_BODY
from server.web.bodies import ByName as ByName
from server.web.bodies import Items as Items
from server.web.bodies import Milliseconds as Milliseconds
from server.web.bodies import Name as Name
from server.web.bodies import Part as Part
from server.web.bodies import Sent as Sent
from server.web.bodies import Settings as Settings


class InMm(BaseModel):
    """An answer with lengths, all of them mm; ``format`` names its shape and ``version`` counts what breaks it, as in
    plans and printers' files."""

    format: str
    version: int = 1
    unit: Literal["mm"] = "mm"


class ErrorAnswer(BaseModel):
    """Every error of the API. ``field`` names the setting, ``id`` is found in the host's log."""

    message: str
    fix: str = ""
    field: str | None = None
    id: str | None = None


def errors(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """What the schema says of a route's errors."""
    return {status: {"model": ErrorAnswer} for status in statuses}


class ProblemOut(BaseModel):
    file: str
    severity: Severity
    code: str
    message: str
    fix: str


class FileOut(BaseModel):
    """One file of the deck's folder. ``kind`` is null for a file that can't be used; pixel sizes are 0 for a PDF, whose
    ``pages`` are art called ``path#1``, with keys ``key#0``, and so on; a PDF of one page is called ``path``."""

    path: str
    key: str
    bytes: int
    modified: int
    kind: ArtKind | Literal["deck-list"] | None
    width_px: int
    height_px: int
    pages: int
    problem: ProblemOut | None


class ArtOut(BaseModel):
    key: str
    file: str
    width_px: int
    height_px: int
    vector: bool


class CardOut(BaseModel):
    """``file`` is the label by which a card is changed: its front's, unless its sides were swapped; the fits say how
    the art lies on the card, ``bleed`` how its bleed is to be made, null as the deck's."""

    name: str
    file: str
    front: ArtOut
    back: ArtOut | None
    copies: int
    front_fit: str
    back_fit: str
    bleed: EdgeMode | None


class PairOut(BaseModel):
    """Why a front has its back, as labels; ``why`` reads on after "by". ``sure``: the evidence alone settled it."""

    front: str
    back: str
    why: str
    sure: bool


class ProposalOut(BaseModel):
    """Pairs that may be meant. Of one ``group`` at most one can be taken."""

    id: str
    group: str
    says: str
    pairs: list[PairOut]


class DeckSummary(BaseModel):
    """``thumb`` is the first front, ``thumbs`` up to three different ones, as art keys; ``version`` names the latest
    version that is kept, "" for none."""

    id: str
    name: str
    updated: str
    cards: int
    files: int
    thumb: str | None
    thumbs: list[str] = []
    deleted: str | None = None
    version: str = ""


class DeckRecord(InMm):
    """A deck. ``settings`` have the card that the art was drawn for unless ``card_chosen``; ``likely_card`` is that in
    any case. ``out`` are the labels of cards that somebody took out."""

    format: str = "lampfold-deck"
    id: str
    name: str
    revision: int
    can_undo: bool
    can_redo: bool
    updated: str
    settings: DeckSettings
    card_chosen: bool
    likely_card: str | None
    files: list[FileOut]
    cards: list[CardOut]
    out: list[str]
    pairs: list[PairOut]
    proposals: list[ProposalOut]
    problems: list[ProblemOut]


class EdgesOut(BaseModel):
    left: float
    top: float
    right: float
    bottom: float


class PlanSummary(InMm):
    """``sheets`` are the plan's (a glued pair is one), ``papers`` the pieces of paper to print; lengths in mm."""

    deck: str
    method: str
    flip: str | None
    paper: str
    cards: int
    sheets: int
    papers: int
    pages: int
    cards_per_sheet: int
    cuts: int
    waste_percent: float
    arrangement: Arrangement
    card_turned: bool
    columns: int
    rows: int
    spine_mm: float
    outer_bleed: EdgesOut
    thickness_says: str


class CountedCard(BaseModel):
    """A card of one version; ``front`` and ``back`` are art keys."""

    name: str
    copies: int
    front: str
    back: str | None


class ChangedCard(BaseModel):
    """``differs_percent`` is the mean difference of the pictures that differ, null where none does."""

    old: CountedCard
    new: CountedCard
    what: list[Literal["front", "back", "copies"]]
    differs_percent: float | None


class ChangesOut(BaseModel):
    """From the version ``since`` to a later state of that many ``cards``. ``take_out`` are cards of the old one that
    leave a built deck, ``printed`` those of the new one that are put in."""

    since: str
    cards: int
    added: list[CountedCard]
    gone: list[CountedCard]
    changed: list[ChangedCard]
    take_out: list[CountedCard]
    printed: list[CountedCard]


class InkOut(BaseModel):
    """Mean cover of the whole page over all pages, by K = 1 - max(R, G, B), C = 1 - R - K and so on."""

    cyan_percent: float
    magenta_percent: float
    yellow_percent: float
    black_percent: float


class JobResult(PlanSummary):
    """The summary of what was built, where the files are, and the art that turned out broken only while building.
    Change sheets say what changed; where nothing did, there are no files."""

    pdf: str | None
    plan: str | None
    name: str
    bytes: int
    left_out: list[ProblemOut] = Field(default_factory=list)
    ink: InkOut | None = None
    ink_saved_percent: float = 0.0
    changes: ChangesOut | None = None


class JobOut(InMm):
    format: str = "lampfold-job"
    id: str
    deck_id: str
    state: Literal["queued", "running", "done", "failed", "cancelled"]
    done: int
    total: int
    message: str
    fix: str
    result: JobResult | None


class JobStarted(BaseModel):
    job: str


def job_out(view: JobView) -> JobOut:
    values = asdict(view)
    result = values.pop("result")
    return JobOut(**values, result=JobResult(**result) if result else None)


def plain(value: Any) -> Any:
    """A model as JSON values."""
    return value.model_dump(mode="json")
