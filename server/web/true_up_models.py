"""What the True-up page's part of the API takes and gives. Lengths in mm through the front, angles in degrees."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, Field

from server.core.gauge_sheet import Anchor
from server.core.plan import Flip
from server.core.registration.fit import MOST_READINGS, Model
from server.core.registration.printer import State
from server.web.models import FIRST_FAULT, ErrorAnswer, InMm, Part, Sent

Matrix = tuple[float, float, float, float, float, float]
Point = tuple[float, float]
Text = Annotated[str, Field(max_length=200)]
# The longest paper there is here; what a printer can do is asked of the fit.
Millimetres = Annotated[float, Field(ge=-2000, le=2000)]


class ReadingIn(Part):
    """One station of one sheet; without ``station`` any point of the front, in mm from its top-left corner.

    A number that couldn't be read is null; one of the two must be there.
    """

    sheet: Annotated[str, Field(min_length=1, max_length=40)]
    station: Annotated[int, Field(ge=1, le=99)] | None = None
    x_mm: Millimetres | None = None
    y_mm: Millimetres | None = None
    dx_mm: Millimetres | None = None
    dy_mm: Millimetres | None = None


Readings = Annotated[list[ReadingIn], FIRST_FAULT, Field(max_length=MOST_READINGS)]


class PlainIn(Part):
    """The plain way: where the back lands at the paper's centre, and, where somebody knows them, its turn and size."""

    dx_mm: Millimetres = 0.0
    dy_mm: Millimetres = 0.0
    rotation_deg: Annotated[float, Field(ge=-360, le=360)] = 0.0
    scale: Annotated[float, Field(gt=0, le=10)] = 1.0


class Measured(Sent):
    """What was read: ``readings`` of test sheets, or ``plain`` numbers."""

    readings: Readings = Field(default_factory=list)
    plain: PlainIn | None = None


class FitAsk(Measured):
    """Measured on ``paper``."""

    paper: Text = "a4"


class DriftOut(BaseModel):
    """``dx_mm`` and ``dy_mm`` at the paper's centre; ``matrix`` carries where a back is meant to lie to where it
    lands; ``greatest_mm`` is the longest way that any point of the paper is off."""

    dx_mm: float
    dy_mm: float
    rotation_deg: float
    scale_x: float
    scale_y: float
    squareness_deg: float
    greatest_mm: float
    matrix: Matrix
    says: str


class WanderOut(BaseModel):
    """``radius_mm`` holds for ``share`` of all sheets at ``confidence``; null where one sheet can't tell."""

    sheets: int
    sx_mm: float | None
    sy_mm: float | None
    radius_mm: float | None
    share: float
    confidence: float
    says: str


class ReadingOut(BaseModel):
    sheet: str
    station: int | None
    x_mm: float
    y_mm: float
    dx_mm: float | None
    dy_mm: float | None


class ResidualOut(ReadingOut):
    """A reading, and what the fit leaves of it."""

    left_dx_mm: float
    left_dy_mm: float
    suspect: bool


class SuspectOut(ReadingOut):
    """A reading that does not fit the others, and the values that would."""

    fits_dx_mm: float
    fits_dy_mm: float
    why: str
    says: str


class TroubleOut(BaseModel):
    message: str
    fix: str


class FitOut(InMm):
    """``trouble`` is there where the drift is beyond any printer's, so that it can't be kept."""

    format: str = "lampfold-fit"
    width_mm: float
    height_mm: float
    drift: DriftOut
    model: Model | None
    rms_mm: float | None
    sheets: int
    wander: WanderOut
    residuals: list[ResidualOut]
    suspects: list[SuspectOut]
    notes: list[str]
    trouble: TroubleOut | None


class MarginsIn(Part):
    left: Annotated[float, Field(ge=0, le=60)] = 5.0
    top: Annotated[float, Field(ge=0, le=60)] = 5.0
    right: Annotated[float, Field(ge=0, le=60)] = 5.0
    bottom: Annotated[float, Field(ge=0, le=60)] = 5.0


class ScaleIn(Part):
    """What the front's long rulers really measure over what they say."""

    x: Annotated[float, Field(ge=0.9, le=1.1)] = 1.0
    y: Annotated[float, Field(ge=0.9, le=1.1)] = 1.0


class PrinterIn(Sent):
    """A printer as its form says. What it measured is kept by other addresses."""

    name: Text
    paper: Text = "a4"
    flip: Flip = "long-edge"
    feed: Annotated[str, Field(max_length=80)] = ""
    margins_mm: MarginsIn = MarginsIn()
    front_scale: ScaleIn = ScaleIn()


class EdgesOut(BaseModel):
    left: float
    top: float
    right: float
    bottom: float


class ScaleOut(BaseModel):
    x: float
    y: float


class ConfirmedOut(BaseModel):
    """What a sheet that was printed with the correction still shows."""

    on: str
    drift: DriftOut
    wander: WanderOut
    readings: list[ReadingOut]


class PrinterOut(InMm):
    """``paper`` is what a form sends again; ``sheets`` counts those that were read; ``note`` is what labels say;
    ``own``: a playtester's, whom alone it is shown to."""

    format: str = "lampfold-saved-printer"
    id: str
    name: str
    revision: int
    updated: str
    deleted: str | None
    paper: str
    paper_label: str
    width_mm: float
    height_mm: float
    flip: Flip
    feed: str
    margins_mm: EdgesOut
    front_scale: ScaleOut
    state: State
    trued_up: str | None
    note: str
    drift: DriftOut | None
    wander: WanderOut
    readings: list[ReadingOut]
    sheets: int
    confirmed: ConfirmedOut | None
    own: bool = False


class PrinterConflict(ErrorAnswer):
    """The printer as somebody else has left it."""

    current: PrinterOut


class PrintersOut(InMm):
    format: str = "lampfold-saved-printers"
    printers: list[PrinterOut]
    deleted: list[PrinterOut]


class StationOut(BaseModel):
    number: int
    x_mm: float
    y_mm: float


class TextOut(BaseModel):
    x: float
    y: float
    text: str
    size_mm: float
    anchor: Anchor


class ShapesOut(BaseModel):
    """Marks about a station's centre, in mm: lines (x0, y0, x1, y1), rings and solid discs (x, y, radius), texts, and
    where the station's own number stands."""

    lines: list[tuple[float, float, float, float]]
    rings: list[tuple[float, float, float]]
    discs: list[tuple[float, float, float]]
    texts: list[TextOut]
    number: TextOut


class VernierOut(BaseModel):
    """What tells how a number looks; bands are across an arm, on its clockwise side +."""

    gap_mm: float
    main_pitch_mm: float
    vernier_pitch_mm: float
    vernier_lines: int
    main_lines: int
    least_count_mm: float
    range_mm: float
    reach_mm: float
    main_band_mm: Point
    vernier_band_mm: Point


class StationsOut(InMm):
    """The test sheet of a paper as the page draws it."""

    format: str = "lampfold-stations"
    paper: str
    paper_label: str
    width_mm: float
    height_mm: float
    ruler_across_mm: int
    ruler_down_mm: int
    stations: list[StationOut]
    vernier: VernierOut
    front: ShapesOut
    back: ShapesOut


class NudgedOut(BaseModel):
    """Where the moved PDF is, which pages were moved, and what to look at."""

    pdf: str
    name: str
    bytes: int
    pages: int
    moved: list[int]
    says: str
    note: str
    warnings: list[str]
