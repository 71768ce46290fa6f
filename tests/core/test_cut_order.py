"""The order of cuts, followed on paper: polygons that lines split; and every way to cut tried where that can be."""

from __future__ import annotations

from functools import cache
from itertools import product
from typing import Any

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.core.cut_order import cuts_out_of, fewest_cuts
from server.core.cuts import cut_count, cut_order, stop_count
from server.core.geometry import Rect, bounds
from server.core.methods import METHODS
from server.core.plan import PlanRequest, SheetPlan
from server.core.plan_json import cut_order_to_json, plan_to_json
from server.core.planning import plan_deck
from server.core.search import search
from server.core.settings import DeckSettings
from server.errors import DoesNotFit
from tests.strategies import plain_deck, requests

Polygon = list[tuple[float, float]]


def kept_side(polygon: Polygon, start: tuple[float, float], end: tuple[float, float], side: float) -> Polygon:
    """What of a convex polygon lies on one side of a line (Sutherland and Hodgman, CACM 17(1), 1974)."""
    def off(point: tuple[float, float]) -> float:
        return side * ((end[0] - start[0]) * (point[1] - start[1]) - (end[1] - start[1]) * (point[0] - start[0]))
    kept: Polygon = []
    for here, there in zip(polygon, polygon[1:] + polygon[:1], strict=True):
        if off(here) >= 0:
            kept.append(here)
        if off(here) * off(there) < 0:
            share = off(here) / (off(here) - off(there))
            kept.append((here[0] + share * (there[0] - here[0]), here[1] + share * (there[1] - here[1])))
    return kept


def box(polygon: Polygon) -> tuple[float, float, float, float]:
    xs, ys = [x for x, _ in polygon], [y for _, y in polygon]
    return min(xs), min(ys), max(xs), max(ys)


def followed(first: Rect, order: list[dict[str, Any]]) -> list[tuple[float, float, float, float]]:
    """Every piece that is left when ``cut_order`` was followed on paper. Each cut goes from edge to edge of its piece,
    along the stop that it names, and leaves something on both sides."""
    pieces: dict[str, Polygon] = {"sheet": list(first.corners)}
    for number, cut in enumerate(order, 1):
        assert cut["step"] == number
        piece = pieces.pop(cut["piece"])
        left, top, right, bottom = box(piece)
        (x0, y0), (x1, y1) = cut["from_mm"], cut["to_mm"]
        upright = abs(x0 - x1) < 1e-9
        assert (y0, y1) == pytest.approx((top, bottom)) if upright else (x0, x1) == pytest.approx((left, right))
        edge = {"left": x0 - left, "right": right - x0, "top": y0 - top, "bottom": bottom - y0}[cut["stop_from"]]
        assert cut["stop_mm"] == pytest.approx(edge, abs=1e-5) and (cut["stop_from"] in ("left", "right")) == upright
        halves = [kept_side(piece, (x0, y0), (x1, y1), side) for side in (1.0, -1.0)]
        halves.sort(key=lambda half: box(half)[0 if upright else 1])
        for name, half in zip("ab", halves, strict=True):
            low_x, low_y, high_x, high_y = box(half)
            assert min(high_x - low_x, high_y - low_y) > 1e-6
            pieces[f"{number}{name}"] = half
    return [box(piece) for piece in pieces.values()]


def panel(plan: SheetPlan) -> Rect:
    """The piece that is cut: the sheet, or its half that ends at the crease beside the fronts."""
    layout = plan.layout
    area, middle = layout.page, layout.slots[0].front.centre
    for crease in () if layout.in_pairs else layout.creases:
        if crease.axis == "vertical":
            area = area.shared(Rect(0, 0, crease.at_mm, 1e4) if middle[0] < crease.at_mm
                               else Rect(crease.at_mm, 0, 1e4, 1e4))
        else:
            area = area.shared(Rect(0, 0, 1e4, crease.at_mm) if middle[1] < crease.at_mm
                               else Rect(0, crease.at_mm, 1e4, 1e4))
    return area


@settings(max_examples=40, deadline=None)
@given(requests(), st.integers(1, 30))
def test_following_the_order_leaves_exactly_the_cards(request: PlanRequest, cards: int) -> None:
    try:
        layout = search(request, cards)[0].layout
    except DoesNotFit:
        assume(False)
        raise
    plan = SheetPlan(layout, tuple(range(cards)))
    for sheet in {0, plan.sheet_count - 1}:
        order = cut_order_to_json(plan, sheet)
        pieces = followed(panel(plan), order)
        on_it = len(plan.cards_on(sheet))
        wanted = [bounds((*slot.front.corners, *slot.back.corners)) if layout.in_pairs else slot.front
                  for slot in layout.slots[:on_it]]
        found = [piece for piece in pieces if any(
            piece == pytest.approx((card.x, card.y, card.right, card.bottom), abs=1e-5) for card in wanted)]
        assert len(found) == on_it and {step["sheet"] for step in order} <= {sheet + 1}
        for piece in pieces:
            if piece not in found:  # waste: no card reaches into it
                assert not any(card.overlaps(Rect(piece[0], piece[1], piece[2] - piece[0], piece[3] - piece[1]), 1e-5)
                               for card in wanted)
        assert len(order) == cut_count(layout, on_it) == len(pieces) - 1


def by_trying_all(piece: tuple[int, int, int, int], cards: tuple[tuple[int, int, int, int], ...]) -> int:
    """The fewest cuts, by trying every edge of every card as the next cut of every piece."""
    @cache
    def best(left: int, top: int, right: int, bottom: int) -> int:
        inside = [card for card in cards
                  if left <= card[0] and card[2] <= right and top <= card[1] and card[3] <= bottom]
        if not inside or inside == [(left, top, right, bottom)]:
            return 0
        ways = []
        for x in {edge for card in inside for edge in (card[0], card[2])}:
            if left < x < right and not any(card[0] < x < card[2] for card in inside):
                ways.append(1 + best(left, top, x, bottom) + best(x, top, right, bottom))
        for y in {edge for card in inside for edge in (card[1], card[3])}:
            if top < y < bottom and not any(card[1] < y < card[3] for card in inside):
                ways.append(1 + best(left, top, right, y) + best(left, y, right, bottom))
        return min(ways)
    return best(*piece)


SHAPES = [(columns, rows, count, across, down, edge)
          for columns, rows in product((1, 2, 3), repeat=2)
          for count in range(1, columns * rows + 1)
          for across, down in ((0, 0), (4, 4), (4, 0), (0, 4))
          for edge in (0, 7)]


def test_no_way_has_fewer_cuts_for_any_grid_up_to_three_by_three() -> None:
    """Every number of cards on it, with and without gutters, on paper with and without waste round it."""
    for columns, rows, count, across, down, edge in SHAPES:
        cards = [(edge + column * (63 + across), edge + row * (88 + down)) for row in range(rows)
                 for column in range(columns)][:count]
        whole = (0, 0, 2 * edge + columns * (63 + across) - across, 2 * edge + rows * (88 + down) - down)
        rects = [Rect(x, y, 63, 88) for x, y in cards]
        least = by_trying_all(whole, tuple((x, y, x + 63, y + 88) for x, y in cards))
        paper = Rect(0, 0, whole[2], whole[3])
        shape = f"{columns} x {rows}, {count} cards, gutters {across} and {down}, waste {edge}"
        assert fewest_cuts(paper, rects) == least, shape
        assert len(cuts_out_of(paper, rects)) == least, shape


@settings(max_examples=25, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 3), st.integers(0, 3), st.integers(1, 2), st.integers(1, 2),
                          st.booleans()), min_size=1, max_size=7))
def test_no_way_has_fewer_cuts_where_rectangles_lie_anyhow(drawn: list[tuple[int, int, int, int, bool]]) -> None:
    """Rectangles of several sizes, with holes between them: those that straight cuts can part at all."""
    kept: list[Rect] = []
    for column, row, wide, high, shrunk in drawn:
        rect = Rect(column * 10.0, row * 10.0, wide * 10.0 - 3 * shrunk, high * 10.0 - 3 * shrunk)
        if not any(rect.overlaps(other) for other in kept):
            kept.append(rect)
    paper = Rect(-5, -5, 70, 70)
    whole = (-5, -5, 65, 65)
    try:
        least = by_trying_all(whole, tuple((int(r.x), int(r.y), int(r.right), int(r.bottom)) for r in kept))
    except ValueError:  # they interlock
        with pytest.raises(ValueError, match="interlock"):
            fewest_cuts(paper, kept)
        return
    assert fewest_cuts(paper, kept) == len(cuts_out_of(paper, kept)) == least


def test_a_full_sheet_of_nine_trims_first_then_strips_then_cards() -> None:
    """n cards from one piece need n - 1 cuts, and one more for each strip of waste: 8 + 4 (own geometry)."""
    planned = plan_deck(plain_deck(13), DeckSettings())
    values = plan_to_json(planned)
    order = values["cut_order"]
    assert set(order[0]) == {"sheet", "step", "piece", "from_mm", "to_mm", "stop_mm", "stop_from"}
    assert [cut["sheet"] for cut in order] == [1] * 12 + [2] * 8  # four cards in three columns: 3 + 4, and the hole
    assert [page["cuts"] for page in values["pages"]] == [12, 0, 8, 0] and values["cuts"] == 20
    kinds = [cut.parts_off for cut in cut_order(planned.plan.layout)]
    assert kinds == ["waste"] * 4 + ["strip"] * 2 + ["card"] * 6
    # Paper's edges to the block, the block's two sides, a card's two sides: 9 cards need six settings of a stop.
    assert stop_count(cut_order(planned.plan.layout)) == 6 == values["pages"][0]["stops"]


@pytest.mark.parametrize("method", sorted(METHODS))
def test_hinge_and_crease_leave_with_the_first_cut(method: str) -> None:
    layout = plan_deck(plain_deck(4), DeckSettings().changed({"method": method})).plan.layout
    order = cut_order(layout, 4)
    for cut in order[1:]:
        for line in () if layout.in_pairs else layout.creases:
            assert cut.line.start != line.start and cut.line.end != line.end
        if layout.hinge:
            ends = (cut.line.start, cut.line.end)
            assert not any(layout.hinge.contains(Rect(*end, 0, 0), -0.01) for end in ends)


def test_a_crease_on_the_cutting_edge_is_no_cut() -> None:
    layout = plan_deck(plain_deck(3), DeckSettings().changed(
        {"method": "vertical-fold", "fold_on_cut": True})).plan.layout
    assert cut_count(layout, 3) == 3 + 2  # no waste on the crease's side
