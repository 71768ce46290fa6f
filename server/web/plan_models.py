"""What the JSON API takes and gives of plans, builds and tables."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from server.core.plan import Arrangement, FaceName
from server.core.registration.printer import State
from server.core.setting import Kind
from server.core.settings import DeckSettings
from server.web.models import ProblemOut, Sent, Settings


class PlanAsk(Sent):
    """``settings`` are put over the deck's own for this answer alone; nothing is saved."""

    settings: Settings = Field(default_factory=dict)
    sheet: Annotated[int, Field(ge=0, le=100_000)] = 0
    face: FaceName = "front"


class EdgesOut(BaseModel):
    left: float
    top: float
    right: float
    bottom: float


class PlanSummary(BaseModel):
    """``sheets`` are the plan's (a glued pair is one), ``papers`` the pieces of paper to print; lengths in mm."""

    format: str
    version: int
    unit: Literal["mm"]
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


class AlternativeOut(BaseModel):
    arrangement: Arrangement
    card_turned: bool
    hinge_side: str
    sheets: int
    papers: int
    cards_per_sheet: int
    columns: int
    rows: int
    cuts: int
    waste_percent: float


class FaceOut(BaseModel):
    sheet: int
    name: FaceName


class MadeFor(BaseModel):
    """The printer that the sheets are corrected for; ``note`` is what their labels say."""

    id: str
    name: str
    state: State
    note: str
    trued_up: str | None
    says: str
    wander_says: str


class PlanOut(BaseModel):
    """``svg`` is the face that ``shown`` names, its view box in mm. ``printer`` is null where none is chosen;
    ``settings`` are those that it was laid out with."""

    settings: DeckSettings
    summary: PlanSummary
    alternatives: list[AlternativeOut]
    faces: list[FaceOut]
    shown: FaceOut
    svg: str
    problems: list[ProblemOut]
    notes: list[str]
    printer: MadeFor | None


class StepOut(BaseModel):
    title: str
    says: str
    why: str


class GuideOut(BaseModel):
    """What to choose in the print dialog, the scale check, the build steps, cautions and hints for a print shop."""

    print_settings: list[StepOut]
    scale_check: list[StepOut]
    build_steps: list[StepOut]
    cautions: list[StepOut]
    handover: list[StepOut]


class JobResult(PlanSummary):
    """The summary of what was built, where the files are, and the art that turned out broken only while building."""

    pdf: str
    plan: str
    name: str
    bytes: int
    left_out: list[ProblemOut] = Field(default_factory=list)


class JobOut(BaseModel):
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


class BuildAsk(Sent):
    """``settings`` are put over the deck's own for this build alone, so that others can print on their own paper."""

    settings: Settings = Field(default_factory=dict)


class ChoiceOut(BaseModel):
    name: str
    label: str


class SizeOut(ChoiceOut):
    width_mm: float
    height_mm: float
    source: str


class StockOut(ChoiceOut):
    grammage_gsm: float
    caliper_mm: float
    show_through: float


class MethodOut(ChoiceOut):
    summary: str
    uses_flip: bool
    has_crease: bool
    honours: list[str]


class SettingChoice(ChoiceOut):
    hint: str


class SettingOut(ChoiceOut):
    """A row of the table of settings. Lengths in mm; ``step`` is what a form's buttons change it by. ``by_method``:
    only methods that name it in ``honours`` do anything with it."""

    kind: Kind
    hint: str
    unit: Literal["mm"] | None
    minimum: float | None
    maximum: float | None
    step: float | None
    choices: list[SettingChoice]
    default: str | float | bool
    option: str
    help: str
    by_method: bool
    changes_print: bool
    playtester: bool


class TablesOut(BaseModel):
    """Everything that a form offers, the defaults, and the host's limits."""

    papers: list[SizeOut]
    card_sizes: list[SizeOut]
    stocks: list[StockOut]
    methods: list[MethodOut]
    settings: list[SettingOut]
    defaults: DeckSettings
    limits: dict[str, int]


class Health(BaseModel):
    status: Literal["ok"]
    version: str
