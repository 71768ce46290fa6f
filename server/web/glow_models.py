"""What the Glow page's part of the API takes and gives. Lengths in mm, in the frames of server.core."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from server.core.back_designs import LONGEST_TITLE, Finish, PatternName
from server.core.leeway import RuleName, SideName, Verdict
from server.core.plan import FaceName, Flip
from server.web.models import InMm, Sent

Matrix = tuple[float, float, float, float, float, float]
Point = tuple[float, float]


class SidesOut(BaseModel):
    """One value for each side as the back is seen; null where a thing never happens."""

    left: float | None
    right: float | None
    top: float | None
    bottom: float | None


class RectOut(BaseModel):
    x: float
    y: float
    width: float
    height: float


class LineOut(BaseModel):
    start: Point
    end: Point


class ThroughOut(BaseModel):
    axis: Literal["vertical", "horizontal"]
    at: float


class FoldOut(BaseModel):
    """A piece of paper that is folded: the sheet, or one pair. ``panel`` is its fronts' part, ``creases`` follow from
    there to the backs; ``slots`` are those of its cards. ``says`` tells how its backs lie by their fronts."""

    slots: list[int]
    paper: RectOut
    panel: RectOut
    through: ThroughOut
    creases: list[LineOut]
    says: str
    says_wrong: str


class LookOut(BaseModel):
    """What lies at and beyond a back's cut edges; see ``server.core.leeway.BackLook``."""

    reach_mm: SidesOut
    next_mm: SidesOut
    art_mm: SidesOut
    border_mm: SidesOut
    fold_side: SideName | None


class GlowCard(BaseModel):
    """One slot that is filled. ``front`` and ``back`` are trim rectangles on their pages, turned clockwise; there is no
    back, and nothing that carries it ``through``, where the method prints none."""

    slot: int
    card: int
    name: str
    front: RectOut
    front_rotation: int
    back: RectOut | None
    back_rotation: int | None
    through: ThroughOut | None
    back_key: str | None
    look: LookOut | None


class PrinterOut(BaseModel):
    """``drift`` carries where a back is meant to lie to where it lands, both behind the front."""

    id: str
    name: str
    state: str
    drift: Matrix | None
    says: str
    wander_mm: float | None
    wander_says: str


class PrinterChoice(BaseModel):
    id: str
    name: str


class GlowStock(BaseModel):
    label: str
    grammage_gsm: float
    caliper_mm: float
    show_through: float


class GlowOut(InMm):
    """One sheet, ready to be held to the light. ``faces`` are SVG drawings without any correction, by their name."""

    format: str = "lampfold-glow"
    revision: int
    sheet: int
    sheets: int
    method: str
    method_label: str
    has_backs: bool
    one_pass: bool
    in_pairs: bool
    flip: Flip | None
    page: RectOut
    card: RectOut
    corner_radius_mm: float
    through: ThroughOut | None
    panel: RectOut | None
    creases: list[LineOut]
    folds: list[FoldOut]
    spine_mm: float
    core_mm: float
    stock: GlowStock
    faces: dict[FaceName, str]
    front_correction: Matrix
    back_correction: Matrix
    cards: list[GlowCard]
    printer: PrinterOut | None
    printers: list[PrinterChoice]


class RuleOut(BaseModel):
    name: RuleName
    title: str
    says: str


class LeewayOut(BaseModel):
    """How far the back may move each way before each rule is broken."""

    paper_shows_mm: SidesOut
    neighbour_shows_mm: SidesOut
    art_cut_mm: SidesOut
    uneven_mm: SidesOut
    leeway_mm: float | None
    clean_mm: float | None
    first_rule: RuleName | None
    first_side: SideName | None
    says: str
    verdict: Verdict | None
    corners_differ: bool


class BackOut(BaseModel):
    """One distinct back, the cards that have it, and its leeway; null where its file can't be decoded."""

    key: str
    file: str
    cards: list[str]
    leeway: LeewayOut | None


class LeewaysOut(InMm):
    """``missing``: the cards without a back. ``wander_mm``: what each verdict was held against."""

    format: str = "lampfold-leeways"
    rules: list[RuleOut]
    backs: list[BackOut]
    missing: list[str]
    wander_mm: float | None
    printer: str | None
    has_backs: bool
    one_pass: bool


class BackAsk(Sent):
    """A made back's choices."""

    finish: Finish = "full"
    pattern: PatternName = "net"
    ground: Annotated[str, Field(max_length=20)] = "#1f5f6b"
    ink: Annotated[str, Field(max_length=20)] = "#f3ddae"
    title: Annotated[str, Field(max_length=LONGEST_TITLE)] = ""
    buffer_mm: Annotated[float, Field(ge=0, le=20)] = 2.0


class BackSeen(InMm):
    """A made back before it is taken: its picture, its leeway on this deck's sheets, the settings that go with it."""

    format: str = "lampfold-made-back"
    svg: str
    leeway: LeewayOut
    file: str
    settings: dict[str, str]


class ChoiceOut(BaseModel):
    name: str
    label: str


class BackChoices(InMm):
    format: str = "lampfold-back-choices"
    finishes: list[ChoiceOut]
    patterns: list[ChoiceOut]
    defaults: BackAsk
