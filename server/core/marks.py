"""What stands in the waste: rulers, the ID-1 gauge, labels, the feed arrow, targets and the hinge strip.

Marks are planned before they are drawn. Each lies in a cell of free waste, between cut lines and off every bleed; a
mark for which there is no room is left out, and ``missing_gauges`` says so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from server.core.camera_marks import WORDS, DeckMark, back_dots, deck_place, flip_of, ring_dots
from server.core.geometry import Edges, Point, Rect
from server.core.lettering import text_width_mm
from server.core.methods import method_named
from server.core.plan import Face, FaceName, Layout, Line, SheetPlan
from server.core.waste import TARGET_BOX_MM, Cell, Waste, waste_of

MarkKind = Literal["ruler", "id-1", "label", "feed", "target", "hinge", "registration", "camera"]

RULER_MM = 50.0
# ISO/IEC 7810, ID-1: 85.60 x 53.98 mm, corner radius 3.18 mm.
ID1_WIDTH_MM, ID1_HEIGHT_MM, ID1_RADIUS_MM = 85.60, 53.98, 3.18
TEXT_MM = 2.1  # 6 pt
_THIN_MM = 2.3  # the least height of a cell that takes a line of text
_TARGET_RADIUS_MM = 2.2
_PEN_MM = 0.1
_BAR_MM = 0.4
_CLEAR_MM = 0.6
_FEED = "feed"
_AS_WIDE = str.maketrans("123456789", "000000000")
_CLEAR_BEHIND_MM = 1.6  # of camera marks: what the back has beside them drifts too


@dataclass(frozen=True, slots=True)
class MarkText:
    """A line of text on its baseline, turned clockwise about ``at``."""

    at: Point
    text: str
    rotation_deg: int = 0
    size_mm: float = TEXT_MM


@dataclass(frozen=True, slots=True)
class Mark:
    """One mark in the page's frame, made of plain shapes; ``box`` is all that it covers."""

    kind: MarkKind
    box: Rect
    lines: tuple[Line, ...] = ()
    texts: tuple[MarkText, ...] = ()
    rings: tuple[tuple[Point, float], ...] = ()
    discs: tuple[tuple[Point, float], ...] = ()
    polygons: tuple[tuple[Point, ...], ...] = ()
    outline: tuple[Rect, float] | None = None
    dashed: bool = False
    camera: DeckMark | None = None


def marks_for(plan: SheetPlan, face: Face) -> tuple[Mark, ...]:
    """Every mark of one face, in the page's frame, before correction."""
    cards, lines = len(plan.cards_on(face.sheet)), tuple(_label_lines(plan, face))
    places = _label_places(plan.layout, cards, face.name, tuple(line.translate(_AS_WIDE) for line in lines))
    return (*_standing(plan.layout, cards, face.name)[0],
            *(_label(place[0], text if place[1] is None else text[:place[1]].rstrip() + "…")
              for text, place in zip(lines, places, strict=True) if place))


@lru_cache(maxsize=64)
def _standing(layout: Layout, cards: int, name: FaceName) -> tuple[tuple[Mark, ...], Waste]:
    """The marks that stand on every such face, and the waste that is left: labels alone differ from sheet to sheet."""
    waste = waste_of(layout, cards, name)
    marks = [*_registration_marks(layout, name), *_camera_marks(layout, name)]
    for mark in marks:
        waste.block(mark.box.grown(Edges.all(_CLEAR_MM if name == "front" else _CLEAR_BEHIND_MM)))
    marks += [*_two_sheet_marks(layout, name, waste)]
    marks += _gauges(waste)
    return tuple(marks), waste


def missing_gauges(plan: SheetPlan) -> tuple[str, ...]:
    """What the first sheet has no room for, in words."""
    kinds = {mark.kind for mark in marks_for(plan, plan.faces[0])}
    notes = []
    if "ruler" not in kinds:
        notes.append("The waste has no room for the 50 mm ruler; measure a card instead.")
    return tuple(notes)


def _label_lines(plan: SheetPlan, face: Face) -> Iterator[str]:
    layout = plan.layout
    yield _FEED
    number = f"sheet {face.sheet + 1} of {plan.sheet_count}"
    yield number if face.name == "spread" else f"{number}, {face.name}"
    if layout.flip:
        yield f"{layout.method}, flip on the {layout.flip.replace('-', ' ')}"
    else:
        yield method_named(layout.method).label
    named = " ".join(name for name in (plan.deck_name, plan.version) if name)
    if named:
        yield named
    if plan.printer_note:
        yield plan.printer_note


def _text(cell: Cell, at: Point, text: str) -> MarkText:
    return MarkText(cell.point(at), text, cell.turn)


def _gauges(waste: Waste) -> list[Mark]:
    marks = []
    whole = waste.take_box(ID1_WIDTH_MM + 1, ID1_HEIGHT_MM + 1)
    cell = waste.take(RULER_MM + 9.0, 2.4)
    if cell:
        marks.append(_ruler(cell))
    if whole:
        return [*marks, _whole_id1(whole)]
    for length, side in ((ID1_WIDTH_MM, "long"), (ID1_HEIGHT_MM, "short")):
        text = f"{length:.2f} mm, {side} side of a bank card"
        cell = waste.take(length + 0.6, 2.4)
        if cell:
            marks.append(_id1_ticks(cell, length, text))
    return marks


def _ruler(cell: Cell) -> Mark:
    """A 50 mm ruler with a tick each millimetre, longer at 5 and 10."""
    lines = [cell.line((0, 0), (RULER_MM, 0))]
    for mm in range(int(RULER_MM) + 1):
        length = 1.6 if mm % 10 == 0 else 1.2 if mm % 5 == 0 else 0.8
        lines.append(cell.line((mm, 0), (mm, length)))
    text = _text(cell, (RULER_MM + 1.0, TEXT_MM * 0.75), "50 mm")
    return Mark("ruler", cell.box, lines=tuple(lines), texts=(text,))


def _whole_id1(box: Rect) -> Mark:
    wide = box.width >= box.height
    width, height = (ID1_WIDTH_MM, ID1_HEIGHT_MM) if wide else (ID1_HEIGHT_MM, ID1_WIDTH_MM)
    rect = Rect(box.x + (box.width - width) / 2, box.y + (box.height - height) / 2, width, height)
    texts = ("Lay a bank card here.", "If it doesn't match, the print scale is off.")
    x, y = rect.x + 3, rect.y + 6
    return Mark("id-1", rect, outline=(rect, ID1_RADIUS_MM),
                texts=tuple(MarkText((x, y + 3 * row), text) for row, text in enumerate(texts)))


def _id1_ticks(cell: Cell, length_mm: float, text: str) -> Mark:
    start = 0.3
    ticks = [cell.line((at, 0), (at, 2.0)) for at in (start, start + length_mm)]
    feet = [cell.line((start, 1.0), (start + 2, 1.0)),
            cell.line((start + length_mm - 2, 1.0), (start + length_mm, 1.0))]
    return Mark("id-1", cell.box, lines=(*ticks, *feet), texts=(_text(cell, (start + 3, TEXT_MM * 0.8), text),))


@lru_cache(maxsize=64)  # sheet after sheet has the same, but for numbers, whose digits are all as wide
def _label_places(layout: Layout, cards: int, name: FaceName,
                  lines: tuple[str, ...]) -> tuple[tuple[Cell, int | None] | None, ...]:
    """For each line its cell and, where that is too short for it, after how many letters it is cut off; None where it
    has no room."""
    waste, found = _standing(layout, cards, name)[1].copy(), list[tuple[Cell, int | None] | None]()
    for text in lines:
        arrow, end = text == _FEED, None
        cell = waste.take(text_width_mm(text, TEXT_MM) + (3.2 if arrow else 0.0) + 1.0, _THIN_MM)
        if not cell and not arrow:
            end, width = _shortened(text, waste.longest(_THIN_MM) - 1.0)
            cell = waste.take(width + 1.0, _THIN_MM) if end else None
        found.append((cell, end) if cell else None)
    return tuple(found)


def _label(cell: Cell, text: str) -> Mark:
    arrow = text == _FEED
    label = _text(cell, (3.2 if arrow else 0.2, TEXT_MM * 0.8), text)
    if not arrow:
        return Mark("label", cell.box, texts=(label,))
    # Whichever way its word runs, the arrow points at the page's head: the edge that the sheet is sent with.
    x, y = cell.point((1.2, 1.05))
    head = ((x, y - 1.05), (x + 0.95, y + 0.75), (x - 0.95, y + 0.75))
    return Mark("feed", cell.box, texts=(label,), polygons=(head,))


def _shortened(text: str, room_mm: float) -> tuple[int, float]:
    """(how many letters stand before the dots, its width in mm); 0 where nothing fits."""
    for end in range(len(text) - 1, 3, -1):
        width = text_width_mm(text[:end].rstrip() + "…", TEXT_MM)
        if width <= room_mm:
            return end, width
    return 0, 0.0


def _two_sheet_marks(layout: Layout, name: FaceName, waste: Waste) -> Iterator[Mark]:
    """Targets at the same places of both sheets, seen through the front, and the hinge strip's edge. A sheet with few
    cards has them where a full one has."""
    hinge = layout.hinge if name == "front" else layout.hinge_back
    if not (hinge and layout.through):
        return
    for on_front in waste_of(layout, len(layout.slots), "front").take_corners(TARGET_BOX_MM):
        box = on_front if name == "front" else layout.through.rect(on_front)
        waste.block(box)
        yield _target(box)
    yield _hinge_mark(hinge, layout.page)


def _camera_marks(layout: Layout, name: FaceName) -> Iterator[Mark]:
    """On the front a ring of dots, behind it on the back a disc: laid so that a perfect print has one in the other."""
    for one in layout.camera_marks:
        assert layout.through
        if name == "front":
            word = WORDS[deck_place(one.corner, one.size)]
            yield Mark("camera", one.box, discs=ring_dots(word, one.centre, one.size), camera=one)
        else:
            dots = back_dots(flip_of(layout), one.centre, one.size)
            yield Mark("camera", layout.through.rect(one.box), camera=one,
                       discs=tuple((layout.through(centre), radius) for centre, radius in dots))


def _registration_marks(layout: Layout, name: FaceName) -> Iterator[Mark]:
    """A cross of two bars in a ring at each of the front page's places for them."""
    for box in layout.corner_marks if name != "back" else ():
        (x, y), arm, bar = box.centre, box.width / 2, _BAR_MM / 2
        yield Mark("registration", box, rings=(((x, y), arm * 0.6),),
                   polygons=(Rect(x - arm, y - bar, 2 * arm, 2 * bar).corners,
                             Rect(x - bar, y - arm, 2 * bar, 2 * arm).corners))


def _target(box: Rect) -> Mark:
    x, y = box.centre
    arm = TARGET_BOX_MM / 2
    return Mark("target", box, lines=(Line((x - arm, y), (x + arm, y)), Line((x, y - arm), (x, y + arm))),
                rings=(((x, y), _TARGET_RADIUS_MM),))


def _hinge_mark(hinge: Rect, page: Rect) -> Mark:
    """The strip's inner edge, dashed, and what it is for."""
    text = "hinge strip: tape here, on waste"
    width = text_width_mm(text, TEXT_MM)
    if hinge.width < hinge.height:
        inner = hinge.right if hinge.x <= page.x else hinge.x
        line = Line((inner, hinge.y), (inner, hinge.bottom))
        x = inner - 1.2 if hinge.x <= page.x else inner + 1.2 + TEXT_MM * 0.7
        texts = (MarkText((x, hinge.centre[1] + width / 2), text, 270),)
    else:
        inner = hinge.bottom if hinge.y <= page.y else hinge.y
        line = Line((hinge.x, inner), (hinge.right, inner))
        y = inner - 1.2 if hinge.y <= page.y else inner + 1.2 + TEXT_MM * 0.7
        texts = (MarkText((hinge.centre[0] - width / 2, y), text),)
    return Mark("hinge", hinge, lines=(line,), texts=texts, dashed=True)
