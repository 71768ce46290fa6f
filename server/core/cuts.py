"""The straight cuts of a sheet: where they lie, how many, and in which order to make them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import lru_cache

from server.core.cut_order import Cut, EdgeName, cuts_out_of, fewest_cuts
from server.core.geometry import Rect
from server.core.plan import Layout, Line, SheetPlan

_SAME_MM = 1e-6


def _distinct(values: Iterable[float]) -> tuple[float, ...]:
    kept: list[float] = []
    for value in sorted(values):
        if not kept or value - kept[-1] > _SAME_MM:
            kept.append(value)
    return tuple(kept)


def cut_positions(layout: Layout, cards: int | None = None) -> tuple[tuple[float, ...], tuple[float, ...]]:
    """The x of every upright cut and the y of every level one on the front's page, for the first ``cards`` pieces."""
    used = layout.cut_units[:cards]
    return (_distinct(edge for rect in used for edge in (rect.x, rect.right)),
            _distinct(edge for rect in used for edge in (rect.y, rect.bottom)))


def piece_to_cut(layout: Layout) -> Rect:
    """What lies under the knife, on the front's page: the sheet, or the folded and glued panel with the fronts up."""
    return _before_creases(layout, layout.page)


@lru_cache(maxsize=512)
def cut_count(layout: Layout, cards: int | None = None) -> int:
    """The fewest straight cuts that free the first ``cards`` cards of a sheet, one piece at a time."""
    return fewest_cuts(piece_to_cut(layout), layout.cut_units[:cards])


@lru_cache(maxsize=64)
def cut_order(layout: Layout, cards: int | None = None) -> tuple[Cut, ...]:
    """Those cuts in order, in the front page's frame. Waste comes off first, and of that the side with the hinge or
    the crease, so that no other cut goes through tape or through a fold."""
    return cuts_out_of(piece_to_cut(layout), layout.cut_units[:cards], _first_side(layout))


def stop_count(cuts: Iterable[Cut]) -> int:
    """How many different distances the stop is set to: strips laid together take one stroke for each."""
    return len({round(cut.stop_mm, 2) for cut in cuts})


def stops_of(plan: SheetPlan) -> int:
    """The same for all the sheets of a plan, of which the last may hold fewer cards."""
    numbers = {len(plan.cards_on(sheet)) for sheet in (0, plan.sheet_count - 1)}
    return stop_count(cut for cards in sorted(numbers) for cut in cut_order(plan.layout, cards))


def _first_side(layout: Layout) -> tuple[EdgeName, ...]:
    page, block = layout.page, layout.block
    if layout.hinge:
        if layout.hinge.width < page.width:
            return ("left",) if layout.hinge.x <= 0 else ("right",)
        return ("top",) if layout.hinge.y <= 0 else ("bottom",)
    for crease in () if layout.in_pairs else layout.creases:
        if crease.axis == "vertical":
            return ("right",) if block.right <= crease.at_mm + _SAME_MM else ("left",)
        return ("bottom",) if block.bottom <= crease.at_mm + _SAME_MM else ("top",)
    return ()


def cut_field(layout: Layout) -> Rect:
    """Where cut lines may be drawn on the front's page: printable, off the hinge strip, on the fronts' panel."""
    area = layout.printable
    left, top, right, bottom = area.x, area.y, area.right, area.bottom
    if layout.hinge:
        hinge, page = layout.hinge, layout.page
        if hinge.width < page.width:  # an upright strip, at the left or the right of the page
            left, right = (max(left, hinge.right), right) if hinge.x <= 0 else (left, min(right, hinge.x))
        else:
            top, bottom = (max(top, hinge.bottom), bottom) if hinge.y <= 0 else (top, min(bottom, hinge.y))
    return _before_creases(layout, Rect(left, top, right - left, bottom - top))


def _before_creases(layout: Layout, area: Rect) -> Rect:
    """The part of ``area`` that lies on the fronts' panel; all of it where each pair is folded by itself."""
    if layout.in_pairs:
        return area
    left, top, right, bottom = area.x, area.y, area.right, area.bottom
    block = layout.block
    for crease in layout.creases:
        if crease.axis == "vertical":
            left, right = ((left, min(right, crease.at_mm)) if block.right <= crease.at_mm + _SAME_MM
                           else (max(left, crease.at_mm), right))
        else:
            top, bottom = ((top, min(bottom, crease.at_mm)) if block.bottom <= crease.at_mm + _SAME_MM
                           else (max(top, crease.at_mm), bottom))
    return Rect(left, top, right - left, bottom - top)


@lru_cache(maxsize=64)
def cut_lines(layout: Layout, cards: int | None = None) -> tuple[Line, ...]:
    """Full-length cut lines on the front's page, upright ones first."""
    field = cut_field(layout)
    upright, level = cut_positions(layout, cards)
    return (*(Line((x, field.y), (x, field.bottom)) for x in upright),
            *(Line((field.x, y), (field.right, y)) for y in level))


def lines_behind(layout: Layout, lines: Iterable[Line]) -> tuple[Line, ...]:
    """Cut lines of the fronts' page as they lie round the backs. A pair's own go round its back already."""
    through = layout.through
    return tuple(Line(through(line.start), through(line.end)) for line in lines) if through else ()


def hinge_edge(layout: Layout) -> tuple[Line, ...]:
    """The cutting edge beside the hinge strip, as it lies on the backs' page; none where there is no hinge."""
    if layout.hinge is None:
        return ()
    upright = layout.hinge.width < layout.page.width
    lines = [line for line in cut_lines(layout) if (line.axis == "vertical") == upright]
    x, y = layout.hinge.centre
    return lines_behind(layout, (min(lines, key=lambda line: abs(line.at_mm - (x if upright else y))),))


@lru_cache(maxsize=64)
def cut_ticks(layout: Layout, cards: int | None = None) -> tuple[Line, ...]:
    """The same lines, kept only where they lie in the waste, off every card."""
    return _in_the_waste(cut_lines(layout, cards), layout.cut_units[:cards])


@lru_cache(maxsize=64)
def crease_lines(layout: Layout, cards: int) -> tuple[Line, ...]:
    """The creases as they are drawn: where one is a card's own edge, in the waste beside it and never on the card."""
    lines, area = layout.creases, layout.printable
    if layout.in_pairs:  # told to each pair, drawn for a rule that is laid across all of a row
        creases = layout.creases_on(cards)
        lines = (*(Line((x, area.y), (x, area.bottom))
                   for x in _distinct(one.at_mm for one in creases if one.axis == "vertical")),
                 *(Line((area.x, y), (area.right, y))
                   for y in _distinct(one.at_mm for one in creases if one.axis == "horizontal")))
    pieces = layout.cut_units[:cards] if layout.in_pairs else layout.trims("spread", 0, cards) if lines else ()
    return _in_the_waste(lines, pieces)


def _in_the_waste(lines: Iterable[Line], pieces: Sequence[Rect], gap_mm: float = 0.5) -> tuple[Line, ...]:
    ticks: list[Line] = []
    for line in lines:
        upright, at = line.axis == "vertical", line.at_mm
        start, end = (line.start[1], line.end[1]) if upright else (line.start[0], line.end[0])
        blocked = sorted(
            (rect.y - gap_mm, rect.bottom + gap_mm) if upright else (rect.x - gap_mm, rect.right + gap_mm)
            for rect in pieces
            if (rect.x - _SAME_MM <= at <= rect.right + _SAME_MM if upright
                else rect.y - _SAME_MM <= at <= rect.bottom + _SAME_MM)
        )
        for low, high in _free_spans(start, end, blocked):
            ticks.append(Line((at, low), (at, high)) if upright else Line((low, at), (high, at)))
    return tuple(ticks)


def _free_spans(start: float, end: float, blocked: list[tuple[float, float]]) -> list[tuple[float, float]]:
    spans, at = [], start
    for low, high in blocked:
        if low > at:
            spans.append((at, min(low, end)))
        at = max(at, high)
    if at < end:
        spans.append((at, end))
    return [span for span in spans if span[1] - span[0] > 0.2]
