"""Plans for all methods: what must hold whatever the sizes, and what the trade knows of the usual ones."""

from __future__ import annotations

import math
from itertools import combinations

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from server.core.cuts import crease_lines, cut_count, cut_field, cut_lines
from server.core.geometry import Edges, Rect, bounds
from server.core.plan import Layout, PlanRequest, SheetPlan
from server.core.search import MOST_SLOTS, Candidate, search
from server.core.sizes import CARD_SIZES, PAPERS, CardSize, Paper
from server.errors import DoesNotFit
from tests.strategies import requests

POKER = CARD_SIZES["poker-metric"]


def plans(request: PlanRequest, cards: int) -> tuple[Candidate, ...]:
    try:
        return search(request, cards)
    except DoesNotFit:
        assume(False)
        raise


def panel(layout: Layout) -> Rect:
    """The part of the front's page that belongs to fronts alone."""
    return cut_field(layout)


@settings(max_examples=80, deadline=None)
@given(requests(), st.integers(1, 70))
def test_no_two_cards_overlap_and_nothing_leaves_the_printable_area(request: PlanRequest, cards: int) -> None:
    margins, head = request.margins, request.headroom_mm
    printable = Rect(0, 0, request.paper.width_mm, request.paper.height_mm).grown(
        Edges(-margins.left - head, -margins.top - head, -margins.right - head, -margins.bottom - head))
    for candidate in plans(request, cards):
        plan = SheetPlan(candidate.layout, tuple(range(cards)))
        for face in plan.faces:
            placed = plan.placements(face)
            for one, other in combinations(placed, 2):
                assert not one.trim.overlaps(other.trim)
                assert not one.trim.grown(one.bleed).overlaps(other.trim)
                assert not other.trim.grown(other.bleed).overlaps(one.trim)
            for placement in placed:
                assert printable.contains(placement.trim.grown(placement.bleed), 1e-6)


@settings(max_examples=80, deadline=None)
@given(requests(), st.integers(1, 70))
def test_every_copy_is_there_and_the_mirror_of_the_back_is_the_front(request: PlanRequest, cards: int) -> None:
    order = tuple(number % 7 for number in range(cards))
    for candidate in plans(request, cards):
        plan = SheetPlan(candidate.layout, order)
        fronts = [one for face in plan.faces for one in plan.placements(face) if one.side == "front"]
        backs = [one for face in plan.faces for one in plan.placements(face) if one.side == "back"]
        assert sorted(one.card for one in fronts) == sorted(order)
        assert sorted(one.card for one in backs) == (sorted(order) if request.method != "fronts-only" else [])
        for front, back in zip(fronts, backs, strict=bool(backs)):
            through = plan.layout.slots[back.slot].through
            assert through and (front.card, front.slot) == (back.card, back.slot)
            seen = through.rect(back.trim)
            assert (seen.x, seen.y) == pytest.approx((front.trim.x, front.trim.y))
            assert through.rotation(back.rotation_deg) == front.rotation_deg
            if not plan.layout.in_pairs:  # there each side bleeds where its own neighbours leave room
                assert through.edges(back.bleed) == front.bleed


@settings(max_examples=80, deadline=None)
@given(requests(), st.integers(1, 70))
def test_hinge_and_spine_stay_outside_the_cuts(request: PlanRequest, cards: int) -> None:
    for candidate in plans(request, cards):
        layout = candidate.layout
        slots = [slot.front for slot in layout.slots] + ([slot.back for slot in layout.slots] if layout.creases else [])
        for crease in layout.creases:
            for rect in slots:
                low, high = (rect.x, rect.right) if crease.axis == "vertical" else (rect.y, rect.bottom)
                assert not low + 1e-6 < crease.at_mm < high - 1e-6
        if layout.hinge:
            assert min(layout.hinge.width, layout.hinge.height) >= 10 - 1e-9
            for line in cut_lines(layout):
                for x, y in (line.start, line.end):
                    inside = Rect(layout.hinge.x, layout.hinge.y, layout.hinge.width, layout.hinge.height).grown(
                        Edges.all(-1e-6))
                    assert not inside.contains(Rect(x, y, 0, 0), 0)
                box = Rect(min(line.start[0], line.end[0]), min(line.start[1], line.end[1]),
                           abs(line.start[0] - line.end[0]) + 1e-3, abs(line.start[1] - line.end[1]) + 1e-3)
                assert not box.overlaps(layout.hinge, 2e-3)
            for slot in layout.slots:
                assert not slot.front.grown(slot.front_bleed).overlaps(layout.hinge)


@settings(max_examples=60, deadline=None)
@given(requests(), st.integers(1, 70))
def test_ranked_by_sheets_then_cuts_then_waste(request: PlanRequest, cards: int) -> None:
    found = plans(request, cards)
    ranks = [(one.papers, one.cuts, round(one.waste_percent, 6)) for one in found]
    assert ranks == sorted(ranks)
    for one in found:
        area = cards * request.card.width_mm * request.card.height_mm
        sides = 1 if request.method in ("duplex", "fronts-only") else 2
        paper = one.papers * request.paper.width_mm * request.paper.height_mm
        assert one.waste_percent == pytest.approx(100 - 100 * area * sides / paper)


@settings(max_examples=40, deadline=None)
@given(requests(method="card-fold"), st.integers(1, 30))
def test_a_pair_is_one_piece_with_its_crease_on_the_edge_between(request: PlanRequest, cards: int) -> None:
    """Front and back lie T + pi c / 2 apart (own geometry, mid-plane neutral), or share an edge; heads meet, or both
    are upright side by side; every cut goes round pairs, and none through one."""
    gap = request.core_mm + math.pi * request.caliper_mm / 2 if request.core_mm else 0.0
    for candidate in plans(request, cards):
        layout = candidate.layout
        assert layout.in_pairs and layout.through is None and layout.faces == ("spread",)
        assert layout.spine_mm == pytest.approx(gap)
        for unit, slot in zip(layout.cut_units, layout.slots, strict=True):
            front, back = slot.front, slot.back
            upright = slot.folds[0].axis == "vertical"
            apart = (max(front.x, back.x) - min(front.right, back.right) if upright
                     else max(front.y, back.y) - min(front.bottom, back.bottom))
            assert apart == pytest.approx(gap, abs=1e-9)
            assert unit.contains(front) and unit.contains(back)
            assert unit.width * unit.height == pytest.approx(
                (2 * request.card.width_mm * request.card.height_mm) + gap * (front.height if upright else front.width))
            assert len(slot.folds) == (2 if gap else 1)
            near, far = slot.folds[0].at_mm, slot.folds[-1].at_mm
            assert near in (pytest.approx(front.x if upright else front.y),
                            pytest.approx(front.right if upright else front.bottom))
            assert far in (pytest.approx(back.x if upright else back.y),
                           pytest.approx(back.right if upright else back.bottom))
            # The crease lies at the card's head with the back turned over it, or at its right with the back upright.
            lies = slot.front_rotation % 180 == 90
            assert (slot.back_rotation - slot.front_rotation) % 360 == (0 if upright != lies else 180)
            out = {0: (0, -1), 90: (1, 0), 180: (0, 1), 270: (-1, 0)}[
                slot.front_rotation if upright == lies else (slot.front_rotation + 90) % 360]
            way = (back.centre[0] - front.centre[0], back.centre[1] - front.centre[1])
            assert way[0] * out[0] + way[1] * out[1] > 0
        for line in cut_lines(layout):
            for unit in layout.cut_units:
                low, high = (unit.x, unit.right) if line.axis == "vertical" else (unit.y, unit.bottom)
                assert not low + 1e-6 < line.at_mm < high - 1e-6
        for crease in crease_lines(layout, len(layout.slots)):
            box = bounds((crease.start, crease.end))
            assert not any(unit.overlaps(Rect(box.x, box.y, box.width + 1e-6, box.height + 1e-6), 1e-7)
                           for unit in layout.cut_units)


def test_pairs_lie_either_way_round_as_more_of_them_fit() -> None:
    """On A4 with 5 mm margins and 1 mm of bleed at least, 3 pairs of 63 x 88 mm fit head to head upright (3 x 1), and
    4 of lying cards (176 x 63 mm, 1 x 4): own geometry."""
    found = search(PlanRequest("card-fold", PAPERS["a4"], POKER), 24)
    assert found[0].cards_per_sheet == 4 and found[0].layout.card_turned
    assert {one.cards_per_sheet for one in found} >= {3, 4}


# Common practice: nine cards of 63 x 88 mm to a sheet of A4 or Letter without gutter.
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_nine_metric_poker_cards_to_a_sheet(paper: str) -> None:
    best = search(PlanRequest("duplex", PAPERS[paper], POKER), 54)[0]
    assert (best.cards_per_sheet, best.papers, best.layout.columns, best.layout.rows) == (9, 6, 3, 3)
    assert best.layout.arrangement == "portrait" and not best.layout.card_turned
    assert cut_count(best.layout) == 8 + 4  # card from card, neighbours sharing one cut, and four strips of waste


def test_a_gutter_doubles_the_inner_cuts() -> None:
    best = search(PlanRequest("duplex", PAPERS["a3"], POKER, gutter_mm=4), 9)[0]
    assert (best.layout.columns - 1) * (best.layout.rows - 1) > 0
    assert cut_count(best.layout) == 2 * (best.cards_per_sheet - 1) + 4


def test_the_outer_bleed_gives_way_before_a_row_is_lost() -> None:
    """Letter is 279.4 mm high: 264 mm of cards and two 5 mm margins leave 2.7 mm above and below."""
    best = search(PlanRequest("duplex", PAPERS["letter"], POKER), 9)[0]
    assert best.layout.outer_bleed.top == pytest.approx(2.7) == best.layout.outer_bleed.bottom
    assert best.layout.outer_bleed.left == 3.0


def test_a_card_that_cannot_fit_says_by_how_much() -> None:
    """A 70 x 120 mm card folded on A5: half of 210 mm less 5 mm margin, less 2 mm at the crease and 1 mm of bleed
    leaves 97 mm for 120; turned, half of 148 less the same leaves 66 mm for 70: 4 mm short."""
    with pytest.raises(DoesNotFit) as caught:
        search(PlanRequest("side-fold", PAPERS["a5"], CARD_SIZES["tarot"], arrangement="portrait"), 1)
    assert "4 mm too wide" in caught.value.message
    assert caught.value.fix


def test_pinned_choices_are_kept() -> None:
    request = PlanRequest("duplex", PAPERS["a4"], POKER, arrangement="landscape", card_turned=False)
    for candidate in search(request, 20):
        assert candidate.layout.arrangement == "landscape" and not candidate.layout.card_turned


def test_a_landscape_arrangement_is_turned_clockwise_inside_a_portrait_page() -> None:
    """Read upright, the first card lies at the top left; a quarter turn clockwise puts that corner at the top right."""
    request = PlanRequest("duplex", PAPERS["a4"], POKER, arrangement="landscape", card_turned=False)
    layout = search(request, 8)[0].layout
    first = layout.slots[0]
    assert first.front_rotation == 90
    assert first.front.right == pytest.approx(max(slot.front.right for slot in layout.slots))
    assert first.front.y == pytest.approx(min(slot.front.y for slot in layout.slots))


@pytest.mark.parametrize(("core_mm", "creases"), [(0.0, 1), (1.0, 2)])
def test_a_core_opens_the_crease_into_a_spine(core_mm: float, creases: int) -> None:
    """T + pi c / 2 (own geometry, mid-plane neutral): 1.00 mm wrapped by 0.10 mm paper takes 1.157 mm."""
    layout = search(PlanRequest("vertical-fold", PAPERS["a4"], POKER, core_mm=core_mm, caliper_mm=0.1), 4)[0].layout
    assert len(layout.creases) == creases
    assert layout.spine_mm == pytest.approx(1.157 if core_mm else 0.0, abs=5e-4)


def test_fold_on_the_cut_lays_the_crease_on_the_trim() -> None:
    layout = search(PlanRequest("vertical-fold", PAPERS["a4"], POKER, fold_on_cut=True), 4)[0].layout
    block, crease = layout.block, layout.creases[0]
    edge = block.bottom if crease.axis == "horizontal" else block.x
    assert crease.at_mm == pytest.approx(edge)


def test_a_short_sheet_bleeds_where_a_slot_is_empty() -> None:
    layout = search(PlanRequest("duplex", PAPERS["a4"], POKER), 54)[0].layout
    plan = SheetPlan(layout, tuple(range(10)))
    alone = plan.placements(plan.faces[2])[0]
    assert alone.bleed == Edges.all(3.0)
    assert plan.placements(plan.faces[0])[4].bleed == Edges()


def test_a_sheet_has_bounded_work_whatever_its_size() -> None:
    """Ten thousand cards could lie on two metres by two; no sheet takes them, and every slot still has its place."""
    best = search(PlanRequest("duplex", Paper("own", "own", 2000, 2000, "test"), CardSize("own", "own", 10, 10),
                              bleed_mm=0), 10_000)[0]
    assert len(best.layout.slots) == MOST_SLOTS
    assert len({slot.front for slot in best.layout.slots}) == MOST_SLOTS
