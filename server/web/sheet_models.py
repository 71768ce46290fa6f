"""What the Sheet page's part of the API takes and gives."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, Field

from server.core.cost import Care
from server.core.cut_order import EdgeName, Part
from server.core.methods.protocol import DriftCounts
from server.core.plan import Arrangement, FaceName, Flip
from server.core.registration.printer import State
from server.core.setting import Kind
from server.core.settings import DeckSettings
from server.web.models import InkOut, InMm, PlanSummary, ProblemOut, Sent, Settings


class PlanAsk(Sent):
    """``settings`` are put over the deck's own for this answer alone; nothing is saved."""

    settings: Settings = Field(default_factory=dict)
    sheet: Annotated[int, Field(ge=0, le=100_000)] = 0
    face: FaceName = "front"


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


class CutOut(BaseModel):
    """One cut, as the plan's ``cut_order`` has it; ``first`` is the piece called "sheet": x, y, width, height."""

    sheet: int
    step: int
    piece: str
    from_mm: tuple[float, float]
    to_mm: tuple[float, float]
    stop_mm: float
    stop_from: EdgeName
    parts_off: Part
    first: tuple[float, float, float, float]


class BoxShown(BaseModel):
    """The deck's box as SVG, its net as it lies on its page and the closed box, both from the same panels; and its
    measures in words."""

    net: str
    folded: str
    says: str


class PlanOut(InMm):
    """``svg`` is the face that ``shown`` names, its view box in mm. ``printer`` is null where none is chosen;
    ``settings`` are those that it was laid out with."""

    format: str = "lampfold-preview"
    settings: DeckSettings
    summary: PlanSummary
    alternatives: list[AlternativeOut]
    faces: list[FaceOut]
    shown: FaceOut
    svg: str
    problems: list[ProblemOut]
    notes: list[str]
    printer: MadeFor | None
    cuts: list[CutOut]
    stops: int
    box: BoxShown | None


class CostAsk(Sent):
    """``settings`` are put over the deck's own for this answer alone. ``sheet_price`` is of a sheet of paper,
    ``ink_price`` a cartridge's divided by the pages that it is said to print, in the user's own money."""

    settings: Settings = Field(default_factory=dict)
    care: Care = "minutes"
    sheet_price: Annotated[float, Field(ge=0, le=1e6)] = 0.0
    ink_price: Annotated[float, Field(ge=0, le=1e6)] = 0.0


class CostRow(BaseModel):
    """The deck by one method on one paper; minutes are a rough guide for careful hands. ``ink_a4_pages``: what the ink
    of all channels would cover solid."""

    method: str
    paper: str
    sheets: int
    papers: int
    cuts: int
    minutes: float
    ink: InkOut
    ink_a4_pages: float
    money: float
    best: bool


class NotThat(BaseModel):
    method: str
    paper: str
    why: str


class CostOut(InMm):
    """``looked`` of ``arts`` pictures have been looked at for their ink; until all have, there are no rows yet: ask
    again."""

    format: str = "lampfold-cost"
    care: Care
    rows: list[CostRow]
    left_out: list[NotThat]
    looked: int
    arts: int


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
    """What a build method says of itself. ``honours`` names the settings that it has a use for; ``drift`` says how a
    printer's drift counts for it, and ``printer_flips`` for each flip of the deck with which flip a printer must have
    been measured (null where none matters)."""

    summary: str
    prints: str
    turns: str
    faces: list[FaceName]
    papers_per_sheet: int
    papers_per_card: int
    drift: DriftCounts
    printer_flips: dict[Flip, Flip | None]
    has_backs: bool
    uses_flip: bool
    has_crease: bool
    honours: list[str]


class SettingChoice(ChoiceOut):
    hint: str


class SettingOut(ChoiceOut):
    """A row of the table of settings. Lengths in mm; ``step`` is what a form's buttons change it by. ``by_method``:
    only methods that name it in ``honours`` do anything with it; ``under``: a setting that must have a value first."""

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
    under: str
    changes_print: bool
    playtester: bool


class TablesOut(InMm):
    """Everything that a form offers, the defaults, and the host's limits."""

    format: str = "lampfold-tables"
    papers: list[SizeOut]
    card_sizes: list[SizeOut]
    stocks: list[StockOut]
    methods: list[MethodOut]
    settings: list[SettingOut]
    defaults: DeckSettings
    limits: dict[str, int]
    side_words: list[str]


class Health(BaseModel):
    status: Literal["ok"]
    version: str
