"""The drawing of each build step, made from the plan: its sheet, cards, hinge and cuts where they really lie."""

from __future__ import annotations

from collections.abc import Callable

from server.core.cuts import cut_order, piece_to_cut
from server.core.geometry import Edges, Point, Rect, bounds
from server.core.methods.steps import Picture
from server.core.plan import Face, Line
from server.core.planning import Planned
from server.drawing.fold_steps import draw_core, draw_crease, draw_fold, draw_glue
from server.drawing.sheet import draw_on_page
from server.drawing.sketch import (
    ACT,
    BACK,
    BOARD,
    CREASE,
    CUT,
    DARK,
    DOING,
    EDGE,
    FRONT,
    HEIGHT_MM,
    HIDDEN,
    SHADE,
    TAPE,
    THIN,
    WIDTH_MM,
    Mini,
    Sketch,
    fitted,
)
from server.drawing.surface import WHITE, Stroke, Surface

SIZE = Rect(0, 0, WIDTH_MM, HEIGHT_MM)


def draw_step(surface: Surface, planned: Planned, picture: Picture) -> None:
    """Draw ``picture`` in a frame of WIDTH_MM by HEIGHT_MM, its top-left corner the origin; nothing where it is ""."""
    if picture:
        with surface.within(clip=SIZE):
            _PICTURES[picture](Sketch(surface, planned))


def _sheets(s: Sketch) -> tuple[Mini, Mini | None]:
    """The sheet's faces side by side, as they leave the printer."""
    names = s.layout.faces
    minis = [fitted(s.layout.page, s.half(left)) for left in (True, False)] if len(names) > 1 else [
        fitted(s.layout.page, s.room)]
    for mini, name in zip(minis, names, strict=True):
        s.paper(mini.rect(s.layout.page))
        with s.surface.within(matrix=mini.matrix):
            draw_on_page(s.surface, s.planned, Face(0, name))
        s.surface.outline(mini.rect(s.layout.page), 0.0, EDGE)
    return minis[0], minis[1] if len(minis) > 1 else None


def _print(s: Sketch) -> None:
    first, second = _sheets(s)
    one = first.rect(s.layout.page)
    if second and s.layout.flip:  # one sheet: turned over about the edge that the printer turns it on
        two = second.rect(s.layout.page)
        y = HEIGHT_MM / 2
        if s.layout.flip == "long-edge":
            s.bow((one.right - 2, y), (two.x + 3, y), 5)
        else:
            s.bow((one.right + 1.5, 10), (one.right + 1.5, HEIGHT_MM - 10), -2.5)
    elif second is None:
        s.arrow((one.right + 4, HEIGHT_MM - 6), (one.right + 4, 8))
        s.label((one.right + 4, 5.5), "in")


def _scale(s: Sketch) -> None:
    """In true size where it is printed in true size: the ruler of 50 mm, and another laid along it."""
    left, top = 6.0, 8.0
    ticks = [Line((left, top), (left + 50, top))]
    ticks += [Line((left + mm, top), (left + mm, top + (1.8 if mm % 10 == 0 else 1.0))) for mm in range(51)]
    s.surface.lines(tuple(ticks), Stroke(0.15))
    s.label((left + 25, top - 1.5), "50 mm")
    ruler = Rect(left - 4, top + 2.4, 58, 8)
    s.paper(ruler, SHADE)
    s.surface.lines(tuple(Line((left + mm, ruler.y), (left + mm, ruler.y + (2.4 if mm % 10 == 0 else 1.2)))
                          for mm in range(0, 51, 2)), THIN)
    for x in (left, left + 50):
        s.surface.lines((Line((x, top - 3), (x, ruler.y + 4)),), CUT)
    card = Rect(12, 23, 38, 18)
    s.surface.outline(card.grown(Edges.all(0.3)), 1.6, HIDDEN)
    tilted = tuple((x + 2.5, y - 1.8) for x, y in card.corners)
    s.surface.fill(tilted, FRONT)
    s.surface.lines(tuple(Line(one, other) for one, other in zip(tilted, (*tilted[1:], tilted[0]), strict=True)), EDGE)
    s.arrow((56, 21), (51.5, 25))


def _light(s: Sketch) -> None:
    """The front against a light: the edges of its cards, and those of the backs that show through."""
    layout = s.layout
    mini = fitted(layout.page, Rect(16, 2, WIDTH_MM - 18, HEIGHT_MM - 4))
    s.lamp((8, 12))
    s.paper(mini.rect(layout.page), (253, 248, 226))
    s.cards(mini, layout.trims("front"), FRONT)
    for slot in layout.slots if layout.has_backs else ():
        s.surface.outline(mini.rect(slot.front).moved(0.5, 0.4), 0.0, HIDDEN)
    box = mini.rect(layout.slots[0].front)
    s.surface.ring((box.x, box.y), 3.0, DOING)
    s.arrow((box.x - 9, box.y + 8), (box.x - 2.6, box.y + 1.8))


def _pair(s: Sketch) -> None:
    for left, rgb, side in ((True, FRONT, "front"), (False, BACK, "back")):
        mini = fitted(s.layout.page, s.half(left))
        sheet = mini.rect(s.layout.page)
        s.paper(sheet)
        s.cards(mini, s.layout.trims("front" if left else "back"), rgb)
        s.number((sheet.x + 3, sheet.y + 3), "1", DARK)
        s.label((sheet.centre[0], sheet.centre[1]), side)
    s.arrow((WIDTH_MM / 2 - 3, HEIGHT_MM / 2), (WIDTH_MM / 2 + 3, HEIGHT_MM / 2))


def _align(s: Sketch) -> None:
    """Front before back at a window, the rings of the targets brought over one another."""
    layout = s.layout
    mini = fitted(layout.page, Rect(16, 2, WIDTH_MM - 20, HEIGHT_MM - 6))
    sheet = mini.rect(layout.page)
    s.lamp((8, 12))
    s.paper(sheet.moved(2.2, 1.8), BACK)
    s.paper(sheet, (253, 248, 226))
    s.cards(mini, layout.trims("front"), FRONT)
    for x, y in _corners(mini, layout.block, sheet):
        s.surface.ring((x, y), 1.1, Stroke(0.25))
        s.surface.ring((x + 0.8, y + 0.6), 1.1, Stroke(0.25, ACT))
    s.arrow((sheet.right + 6, sheet.bottom + 0.5), (sheet.right + 2.6, sheet.bottom - 1.5))


def _corners(mini: Mini, block: Rect, sheet: Rect) -> tuple[Point, ...]:
    inner = mini.rect(block)
    level = inner.y - sheet.y > inner.x - sheet.x
    if level:
        left, right = inner.x + 2, inner.right - 2
        top, bottom = (sheet.y + inner.y) / 2, (inner.bottom + sheet.bottom) / 2
    else:
        left, right = (sheet.x + inner.x) / 2, (inner.right + sheet.right) / 2
        top, bottom = inner.y + 2, inner.bottom - 2
    return (left, top), (right, top), (right, bottom), (left, bottom)


def _hinge(s: Sketch) -> None:
    """Tape on the hinge strip, and the nearest cut, which it never reaches."""
    layout = s.layout
    mini = fitted(layout.page, s.room)
    sheet = mini.rect(layout.page)
    s.paper(sheet.moved(1.4, 1.0), BACK)
    s.paper(sheet)
    s.cards(mini, layout.trims("front"), FRONT)
    if not layout.hinge:
        return
    strip = mini.rect(layout.hinge)
    upright = strip.height > strip.width
    tape = (Rect(strip.x - 1.5, strip.y + 4, strip.width + 0.7, strip.height - 8) if upright
            else Rect(strip.x + 4, strip.y - 1.5, strip.width - 8, strip.height + 0.7))
    s.surface.fill(tape.corners, TAPE)
    s.surface.outline(tape, 0.0, DOING)
    first = cut_order(layout)[0].line
    s.surface.lines((mini.line(first),), Stroke(0.35, ACT, (1.4, 0.8)))
    x, y = tape.centre
    s.arrow((x - 9, y + 6) if upright else (x + 9, y - 0.5), (x - 1.8, y + 1.2) if upright else (x + 1.8, y - 0.2))


def _hinge_edge(s: Sketch) -> None:
    """Both sheets trimmed to one cutting edge, laid edge to edge with tape over the joint, printed sides up."""
    layout = s.layout
    hinge, block = layout.hinge, layout.block
    upright = bool(hinge and hinge.height > hinge.width)
    piece = (Rect(block.x, 0, layout.page.width - block.x, layout.page.height) if upright
             else Rect(0, block.y, layout.page.width, layout.page.height - block.y))
    room = s.room
    rooms = ((Rect(room.x, room.y, room.width / 2, room.height), Rect(room.x + room.width / 2, room.y, room.width / 2,
                                                                      room.height)))
    scale = min(rooms[0].width / (piece.width if upright else piece.height),
                rooms[0].height / (piece.height if upright else piece.width))
    wide, high = ((piece.width, piece.height) if upright else (piece.height, piece.width))
    middle, top = WIDTH_MM / 2, HEIGHT_MM / 2 - high * scale / 2
    back = Rect(middle - wide * scale, top, wide * scale, high * scale)
    front = Rect(middle, top, wide * scale, high * scale)
    s.paper(back, BACK)
    s.paper(front, FRONT)
    s.label(back.centre, "back")
    s.label(front.centre, "front")
    tape = Rect(middle - 2, top + 3, 4, high * scale - 6)
    s.surface.fill(tape.corners, TAPE)
    s.surface.outline(tape, 0.0, DOING)
    s.surface.lines((Line((middle, top - 1), (middle, top + high * scale + 1)),), CUT)
    s.arrow((middle + 10, top + 4), (middle + 2.6, top + 8))


def _press(s: Sketch) -> None:
    for rise, (width, rgb) in enumerate(((44, SHADE), (40, BACK), (42, FRONT), (36, SHADE))):
        s.paper(Rect(WIDTH_MM / 2 - width / 2, 25 - rise * 5, width, 5), rgb)
    s.paper(Rect(WIDTH_MM / 2 - 23, 30, 46, 1.2))
    s.paper(Rect(WIDTH_MM / 2 - 22, 31.2, 44, 1.0), FRONT)
    s.paper(Rect(WIDTH_MM / 2 - 23, 32.2, 46, 1.2))
    s.paper(Rect(WIDTH_MM / 2 - 26, 33.4, 52, 4), BOARD)
    for x in (WIDTH_MM / 2 - 10, WIDTH_MM / 2 + 10):
        s.arrow((x, 2), (x, 8.5))


def _coat(s: Sketch) -> None:
    mini = fitted(s.layout.page, Rect(18, 3, WIDTH_MM - 20, HEIGHT_MM - 6))
    s.paper(mini.rect(s.layout.page))
    s.cards(mini, s.layout.trims(s.layout.faces[0]), FRONT)
    s.dots(mini.rect(s.layout.page), (140, 190, 200))
    s.can((19, 18))


def _cut(s: Sketch) -> None:
    """Every cut of the first sheet, numbered in order, from edge to edge of the piece that it goes through."""
    layout, cards = s.layout, len(s.planned.plan.cards_on(0))
    piece = piece_to_cut(layout)
    mini = fitted(piece, s.room.grown(Edges(-3, -3, -3, -3)))
    s.paper(mini.rect(piece))
    s.cards(mini, layout.cut_units[:cards], FRONT, 0.0)
    order = cut_order(layout, cards)
    s.surface.lines(tuple(mini.line(cut.line) for cut in order), CUT)
    taken: list[Point] = []
    for cut in order[:24]:
        (x0, y0), (x1, y1) = mini.point(cut.line.start), mini.point(cut.line.end)
        for share in (0.0, 1.0, 0.5, 0.25, 0.75, 0.4, 0.6, 0.1, 0.9):
            at = x0 + (x1 - x0) * share, y0 + (y1 - y0) * share
            if all(abs(at[0] - x) > 2.9 or abs(at[1] - y) > 2.9 for x, y in taken):
                taken.append(at)
                s.number(at, str(cut.step))
                break


def _trim(s: Sketch) -> None:
    card = s.planned.settings.card_size
    mini = fitted(Rect(0, 0, card.width_mm, card.height_mm), s.room.grown(Edges.all(-3)))
    rect = mini.rect(Rect(0, 0, card.width_mm, card.height_mm))
    s.paper(Rect(rect.x, rect.y, rect.width + 1.6, rect.height), BACK)
    s.paper(rect, FRONT)
    s.surface.lines((Line((rect.right, rect.y - 2), (rect.right, rect.bottom + 2)),), CUT)
    s.knife((rect.right, rect.bottom - 4))


def _round(s: Sketch) -> None:
    """The card, and one of its corners large: the square one that goes, the round one that stays."""
    card, radius = s.planned.settings.card_size, s.planned.settings.radius_mm
    mini = fitted(Rect(0, 0, card.width_mm, card.height_mm), s.half(True))
    rect = mini.rect(Rect(0, 0, card.width_mm, card.height_mm))
    s.surface.fill(rect.corners, WHITE)
    s.surface.outline(rect, radius * mini.scale, EDGE)
    s.surface.ring((rect.right - 1, rect.y + 1), 3.5, DOING)
    large = Rect(36, 10, 40, 50)
    with s.surface.within(clip=Rect(34, 6, 26, 34)):
        s.surface.lines((Line((34, 10), (56, 10)), Line((56, 10), (56, 42))), Stroke(0.4, ACT, (1.2, 0.8)))
        s.surface.outline(Rect(large.x - 20, 10, 40, 60), 11, EDGE)
    s.label((45, 28), f"{radius:g} mm")


def _sleeve(s: Sketch) -> None:
    card = s.planned.settings.card_size
    mini = fitted(Rect(0, 0, card.width_mm, card.height_mm * 1.6), s.room)
    rect = mini.rect(Rect(0, 0, card.width_mm, card.height_mm))
    sleeve = Rect(rect.x - 1.4, HEIGHT_MM - 3 - rect.height * 0.95, rect.width + 2.8, rect.height * 0.95)
    s.paper(rect.moved(2.4, -0.4), SHADE)
    s.paper(rect, FRONT)
    s.surface.outline(sleeve, 0.6, DOING)
    s.arrow((rect.right + 8, 8), (rect.right + 8, 20))


def _box(s: Sketch) -> None:
    """The box's net as it lies on its page, and the box that it becomes."""
    box = s.planned.box
    if box is None:
        return
    whole = bounds(corner for panel in box.panels for corner in panel.corners)
    mini = fitted(whole, Rect(2, 2, 36, HEIGHT_MM - 4))
    for panel in box.panels:
        s.surface.fill(tuple(mini.point(corner) for corner in panel.corners), SHADE if panel.inside else FRONT)
    s.surface.lines(tuple(mini.line(line) for line in box.contour), CUT)
    s.surface.lines(tuple(mini.line(fold.line) for fold in box.folds), CREASE)
    s.arrow((40, HEIGHT_MM / 2), (44, HEIGHT_MM / 2))
    x, y, wide, high, deep = 46.0, 16.0, 9.0, 14.0, 4.0
    s.surface.fill(((x, y), (x + deep, y - deep), (x + wide + deep, y - deep), (x + wide, y)), SHADE)
    right = x + wide
    s.surface.fill(((right, y), (right + deep, y - deep), (right + deep, y + high - deep), (right, y + high)), BACK)
    s.paper(Rect(x, y, wide, high), FRONT)


_PICTURES: dict[Picture, Callable[[Sketch], None]] = {
    "print": _print, "scale": _scale, "light": _light, "pair": _pair, "align": _align, "hinge": _hinge,
    "hinge-edge": _hinge_edge, "crease": draw_crease, "fold": draw_fold, "core": draw_core, "glue": draw_glue,
    "press": _press, "coat": _coat, "cut": _cut, "round": _round, "sleeve": _sleeve, "trim": _trim, "box": _box,
}
