"""Drawings of the steps that fold and glue: creased, bent, the core laid in, glued and closed."""

from __future__ import annotations

from server.core.cuts import piece_to_cut
from server.core.geometry import Edges, Point, Rect, bounds
from server.core.plan import Line
from server.drawing.sketch import BACK, BOARD, CREASE, DOING, FRONT, HEIGHT_MM, SHADE, TAPE, Mini, Sketch, fitted


def _folded(s: Sketch) -> tuple[Mini, Rect, Rect, bool]:
    """The flat spread drawn small: its mini, the fronts' panel, the backs' panel, and whether the crease is upright.
    For pairs that are folded by themselves, one pair."""
    layout = s.layout
    slot = layout.slots[0]
    upright = bool(slot.folds and slot.folds[0].axis == "vertical")
    if layout.in_pairs:
        unit = layout.cut_units[0]
        return fitted(unit, s.room.grown(Edges.all(-4))), slot.front, slot.back, upright
    mini = fitted(layout.page, s.room)
    panel = piece_to_cut(layout)
    assert slot.through
    return mini, panel, slot.through.rect(panel), upright


def _spread(s: Sketch, cards: bool = True) -> tuple[Mini, Rect, Rect, bool]:
    mini, front, back, upright = _folded(s)
    layout = s.layout
    if layout.in_pairs:
        s.paper(mini.rect(front), FRONT)
        s.paper(mini.rect(back), BACK)
    else:
        s.paper(mini.rect(layout.page))
        if cards:
            s.cards(mini, layout.trims("front"), FRONT)
            s.cards(mini, tuple(slot.back for slot in layout.slots), BACK)
    return mini, mini.rect(front), mini.rect(back), upright


def draw_crease(s: Sketch) -> None:
    """A folding bone drawn along every crease, on a rule."""
    mini, front, back, upright = _spread(s)
    whole = bounds((*front.corners, *back.corners))
    folds = {round(fold.at_mm, 4): fold for fold in s.layout.slots[0].folds}.values()
    for fold in folds:
        at = mini.point((fold.at_mm, fold.at_mm))[0 if upright else 1]
        line = (Line((at, whole.y - 1), (at, whole.bottom + 1)) if upright
                else Line((whole.x - 1, at), (whole.right + 1, at)))
        s.surface.lines((line,), CREASE)
    x, y = mini.point((s.layout.slots[0].folds[0].at_mm,) * 2)
    if upright:
        rule = Rect(x + 0.6, whole.y + 2, 3, whole.height - 4)
        s.paper(rule, SHADE)
        s.arrow((x, whole.y + 5), (x, whole.bottom - 6))
    else:
        rule = Rect(whole.x + 2, y + 0.6, whole.width - 4, 3)
        s.paper(rule, SHADE)
        s.arrow((whole.x + 5, y), (whole.right - 6, y))


def draw_fold(s: Sketch) -> None:
    """The backs bent away, behind the fronts."""
    _, front, back, upright = _spread(s)
    if upright:
        rise = -9 if back.x > front.x else 9
        s.bow((back.centre[0], back.y + 5), (front.centre[0], front.y + 5), -abs(rise) if back.x > front.x else rise)
    else:
        s.bow((back.right - 5, back.centre[1]), (front.right - 5, front.centre[1]), -9 if back.y < front.y else 9)
    s.label(front.centre, "front")
    s.label(back.centre, "back")


def draw_core(s: Sketch) -> None:
    """The board laid on the inside of one panel, its edge along the first crease."""
    mini, front, back, upright = _spread(s, cards=False)
    board = front.grown(Edges.all(-0.6))
    s.surface.fill(board.corners, BOARD)
    s.surface.outline(board, 0.0, DOING)
    x, y = board.centre
    s.arrow((x - 12, y - 9), (x - 2, y - 1))
    for fold in s.layout.slots[0].folds:
        at = mini.point((fold.at_mm, fold.at_mm))[0 if upright else 1]
        whole = bounds((*front.corners, *back.corners))
        s.surface.lines((Line((at, whole.y), (at, whole.bottom)) if upright
                         else Line((whole.x, at), (whole.right, at)),), CREASE)


def draw_glue(s: Sketch) -> None:
    """Glue over the whole inside of one panel or sheet; then closed from the crease or the hinge outwards."""
    layout = s.layout
    if layout.one_face:
        _, front, back, upright = _spread(s, cards=False)
        s.paper(back)
        s.dots(back.grown(Edges.all(-0.4)))
        (x0, y0), (x1, y1) = _shared(front, back), _far(front, back, upright)
        s.arrow((x0, y0), (x1, y1))
        return
    left, right = (fitted(layout.page, s.half(left)).rect(layout.page) for left in (True, False))
    gap = (right.x - left.right) / 2
    left, right = left.moved(gap, 0), right.moved(-gap, 0)
    s.paper(left)
    s.paper(right)
    s.dots(right)
    middle = left.right
    s.surface.fill(Rect(middle - 1, left.y + 3, 2, left.height - 6).corners, TAPE)
    s.arrow((middle + 2, HEIGHT_MM / 2), (right.right - 2, HEIGHT_MM / 2))
    s.bow((left.x + 6, left.y + 6), (right.right - 6, right.y + 6), 5)


def _shared(front: Rect, back: Rect) -> Point:
    """The middle of where two panels meet."""
    (ax, ay), (bx, by) = front.centre, back.centre
    return (ax + bx) / 2, (ay + by) / 2


def _far(front: Rect, back: Rect, upright: bool) -> Point:
    (ax, ay), (bx, by) = front.centre, back.centre
    x, y = _shared(front, back)
    return (x + (bx - ax) * 0.85, by) if upright else (bx, y + (by - ay) * 0.85)
