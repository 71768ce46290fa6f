"""Draw the True-up test sheet onto any surface: both faces, and single stations for the screen."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from server.core.gauge_sheet import (
    INSET_MM,
    MAIN_BAND,
    STATION_REACH_MM,
    Marks,
    SheetText,
    Station,
    back_arm,
    back_station,
    edge_rulers,
    flip_boxes,
    flip_ring,
    front_arm,
    front_station,
    gathered,
    has_nine,
    head_columns,
    id1_outline,
    ruler_length_mm,
    stations,
)
from server.core.geometry import Affine, Point, Rect
from server.core.lettering import text_width_mm
from server.core.methods.duplex import DUPLEX, turn_of
from server.core.plan import Flip
from server.core.registration.correction import correction_for
from server.core.registration.printer import Printer
from server.core.registration.vernier import GAP_MM, seen
from server.core.sizes import Paper
from server.core.units import mm_text
from server.drawing.surface import BLACK, Rgb, Stroke, Surface

# A laser at 600 dpi draws 0.15 mm as 3 or 4 dots, an inkjet without a gap; a coincidence of 0.1 mm is still seen.
PEN_MM = 0.15
# A shade for what the drawn example shows of the back, as paper of 80 g/m2 lets it through.
THROUGH: Rgb = (120, 120, 120)
_TEXT_MM, _LEADING = 2.5, 1.35
_CORNERS = 32
_ARROWS_MM = 17.0  # the feed arrows' way from the middle of the sheet's name
_ROOMY_MM = 180.0  # paper from this width on has room for larger text
_FLIP_WORDS: dict[Flip, str] = {"long-edge": "long edge", "short-edge": "short edge"}


def gauge_sheet_pdf(out: BinaryIO, paper: Paper, flip: Flip, printer: Printer | None = None) -> None:
    """The sheet as a PDF; with ``printer`` its back is drawn through that printer's correction, to confirm it.

    Raises BadValue where the paper is too small.
    """
    from server.drawing.pdf_surface import PdfSurface

    correction = correction_for(printer, DUPLEX.name, turn_of(flip, paper)).back if printer else Affine()
    surface = PdfSurface(out, lambda art: Path(art.file), title=f"True-up test sheet, {paper.label}",
                         duplex="DuplexFlipLongEdge" if flip == "long-edge" else "DuplexFlipShortEdge")
    try:
        draw_gauge_sheet(surface, paper, flip, correction, f"corrected, {printer.note}" if printer else "")
        surface.close()
    finally:
        surface.release()


def draw_gauge_sheet(surface: Surface, paper: Paper, flip: Flip, correction: Affine = Affine(), note: str = "") -> None:
    """Two pages, front and back. ``correction`` is what the back is drawn through, for a confirming sheet; ``note``
    says so on the front.

    Raises BadValue where the paper is too small.
    """
    draw_front(surface, paper, flip, note)
    draw_back(surface, paper, flip, correction)


def draw_front(surface: Surface, paper: Paper, flip: Flip, note: str = "") -> None:
    """The front: scales, rulers, the ID-1 outline, how to read it."""
    page = Rect(0, 0, paper.width_mm, paper.height_mm)
    surface.page(page, page, page, "test sheet, front")
    outline = id1_outline(paper)
    marks = gathered(front_station(station) for station in stations(paper))
    marks += edge_rulers(paper) + Marks(outlines=(outline, *((box, 0.0) for box in flip_boxes(paper))))
    with surface.within(layer="notes"):
        draw_marks(surface, marks)
        _draw_head(surface, paper, flip, note)
        _draw_how(surface, paper, flip)
        rect = outline[0]
        _draw_text(surface, SheetText((rect.centre[0], rect.bottom + 2.8), "Lay a bank card here: if it doesn't match, "
                                      "print at 100 %.", 2.1))


def draw_back(surface: Surface, paper: Paper, flip: Flip, correction: Affine = Affine()) -> None:
    """The back, on its own page: what is meant to lie behind the front is carried there by the turn of the flip."""
    page = Rect(0, 0, paper.width_mm, paper.height_mm)
    turn = turn_of(flip, paper)
    surface.page(page, page, page, "test sheet, back")
    through = Marks(rings=(flip_ring(paper),)) + gathered(back_station(station, flip) for station in stations(paper))
    # Seen through the front these rulers lie along the bottom and the right, clear of the front's own.
    own = edge_rulers(paper, bottom=turn.axis == "vertical", right=turn.axis == "horizontal")
    with surface.within(layer="notes", matrix=correction):
        with surface.within(matrix=turn.affine):
            draw_marks(surface, through)
        draw_marks(surface, own)
        # Through the front: beside the front's own arrow, or at its foot on the side without a box.
        flip_x, name_x = head_columns(paper)
        x = name_x + _ARROWS_MM if flip == "long-edge" else flip_x - (0.0 if has_nine(paper) else _ARROWS_MM)
        own_x = turn((x, 0.0))[0]
        _draw_feed_arrow(surface, (own_x, 13.0))
        _draw_text(surface, SheetText((own_x, 21.0), "back", 2.2))


def draw_station(surface: Surface, dx_mm: float, dy_mm: float, number: int = 1) -> None:
    """One station as it looks against the light when the back lies ``dx_mm`` right and ``dy_mm`` low.

    The page is 44 mm square, the station in its middle; the back's marks are in the shade that paper lets through.
    """
    size = Rect(0, 0, 44, 44)
    station = Station(number, 22, 22)
    surface.page(size, size, size, f"station {number}, {mm_text(dx_mm)}, {mm_text(dy_mm)} mm")
    with surface.within(matrix=Affine.shift(dx_mm, dy_mm), layer="notes"):
        draw_marks(surface, back_station(station), THROUGH)
    draw_marks(surface, front_station(station))


def draw_marks(surface: Surface, marks: Marks, rgb: Rgb = BLACK) -> None:
    """Plain shapes with one pen."""
    pen = Stroke(PEN_MM, rgb)
    surface.lines(marks.lines, pen)
    for centre, radius in marks.rings:
        surface.ring(centre, radius, pen)
    for centre, radius in marks.discs:
        surface.fill(disc_outline(centre, radius), rgb)
    for rect, radius in marks.outlines:
        surface.outline(rect, radius, pen)
    for text in marks.texts:
        _draw_text(surface, text, rgb)


def disc_outline(centre: Point, radius_mm: float) -> tuple[Point, ...]:
    """A disc as a polygon that is nowhere 0.005 of its radius away from it."""
    turns = (2 * math.pi * corner / _CORNERS for corner in range(_CORNERS))
    return tuple((centre[0] + radius_mm * math.cos(turn), centre[1] + radius_mm * math.sin(turn)) for turn in turns)


def _draw_text(surface: Surface, text: SheetText, rgb: Rgb = BLACK) -> None:
    x, y = text.at  # digits and capitals are about 0.72 em high in Helvetica
    surface.text((x, y + 0.36 * text.size_mm), text.text, text.size_mm, 0.0, text.anchor, rgb)


def _draw_head(surface: Surface, paper: Paper, flip: Flip, note: str) -> None:
    """What shows a wrong flip, the feed arrow and the name, between the upper and the lower corner stations."""
    flip_x, name_x = head_columns(paper)
    right, wrong = flip_boxes(paper)
    other = _FLIP_WORDS["short-edge" if flip == "long-edge" else "long-edge"]
    name = ["True-up test sheet", paper.label, f"flip on the {_FLIP_WORDS[flip]}", *_wrapped(note, 2.2, 29.0)]
    one_column = flip_x == name_x
    _draw_feed_arrow(surface, (name_x + _ARROWS_MM if one_column else name_x, 13.0))
    said = ["Against the light the", "ring must show in this box."]
    for x, y, lines in ((flip_x, right.bottom + 2.8, [*said, "", *name] if one_column else said),
                        (name_x, 26.0, [] if one_column else name),
                        (wrong.centre[0], wrong.y - 11.5, ["A ring in this box:", f"flipped on the {other}.",
                                                           f"Set the {_FLIP_WORDS[flip]}", "and print again."])):
        for row, line in enumerate(lines):
            _draw_text(surface, SheetText((x, y + 3.1 * row), line, 2.2))


def _draw_feed_arrow(surface: Surface, at: Point) -> None:
    """A solid arrow to the head of the page, so that a sheet fed by hand goes in the same way again."""
    x, y = at
    surface.fill(((x, y - 4.0), (x + 1.6, y - 1.2), (x + 0.5, y - 1.2), (x + 0.5, y + 2.0), (x - 0.5, y + 2.0),
                  (x - 0.5, y - 1.2), (x - 1.6, y - 1.2)), BLACK)
    _draw_text(surface, SheetText((x, y + 4.4), "feed", 2.1))


def _draw_how(surface: Surface, paper: Paper, flip: Flip) -> None:
    """How to read the sheet, above the middle station, and a drawn example below it."""
    left, right = 20.0, paper.width_mm - 20.0
    outline = id1_outline(paper)[0]
    size = _TEXT_MM if paper.width_mm < _ROOMY_MM else _TEXT_MM * 1.3
    y = INSET_MM + STATION_REACH_MM + size
    for step in _steps(paper, flip):
        for row in _wrapped(step, size, right - left):
            surface.text((left, y), row, size)
            y += size * _LEADING
    top, end = outline.bottom + 5.5, paper.height_mm - INSET_MM - STATION_REACH_MM
    _draw_example(surface, Rect(left, top, right - left, min(36.0, end - top - 1.0)), size)


def _steps(paper: Paper, flip: Flip) -> Iterator[str]:
    yield (f"A  Print both sides at 100 % (actual size), flip on the {_FLIP_WORDS[flip]}. Hold the sheet to a window, "
           "this side towards you.")
    yield "B  Each station has four arms. Read those whose open pointer has moved outwards from 0."
    yield ("C  Whole millimetres: the last long tick that the pointer is at or past. Tenths: the back's line, 0 to 9 "
           "from the pointer, that runs straight on in a line of the front; 0 means at the tick.")
    yield "D  Enter dx and dy with the arm's sign. Leave out what you can't read."
    yield (f"E  The long rulers measure {ruler_length_mm(paper.width_mm)} mm across and "
           f"{ruler_length_mm(paper.height_mm)} mm down; if they don't, the print is scaled.")


def _draw_example(surface: Surface, room: Rect, size_mm: float) -> None:
    """One arm that reads 1.3, as large as there is room, the back's part in the shade that paper lets through."""
    value = seen(1.3)
    scale = room.height / (12.5 - MAIN_BAND[0])
    matrix = Affine.shift(room.x, room.y).after(Affine.scaling(scale, scale)).after(
        Affine.shift(0.5 - GAP_MM, -MAIN_BAND[0]))
    with surface.within(matrix=matrix):
        with surface.within(matrix=Affine.shift(value.value_mm, 0.0)):
            draw_marks(surface, back_arm((0.0, 0.0), 0), THROUGH)
        draw_marks(surface, front_arm((0.0, 0.0), 0))
    x = room.x + 16.0 * scale
    rows = [row for text in (
        "Example: the arm dx +.",
        f"The grey pointer of the back is past {value.whole} on the small ruler.",
        f"Of the grey lines, line {value.tenth} runs straight on in a black one.",
        f"So dx = +{value.whole}.{value.tenth} mm: the back lies {value.whole}.{value.tenth} mm to the right. "
        "Arm dy reads alike: + is low.",
    ) for row in _wrapped(text, size_mm, room.right - x)]
    for number, row in enumerate(rows):
        surface.text((x, room.y + size_mm * (1 + number * _LEADING)), row, size_mm)


def _wrapped(text: str, size_mm: float, width_mm: float) -> list[str]:
    """``text`` in lines of at most ``width_mm``, broken between words."""
    lines: list[str] = []
    for word in text.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_mm) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return lines
