"""Cuts and marks: lines where cards end, off hinge and crease, and marks that lie on free waste."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st

from server.core.camera_marks import places_for
from server.core.cuts import cut_lines, cut_positions, cut_ticks
from server.core.geometry import Edges, Rect, bounds
from server.core.marks import ID1_HEIGHT_MM, ID1_WIDTH_MM, Mark, marks_for
from server.core.plan import Line, PlanRequest, SheetPlan
from server.core.search import search
from server.core.sizes import CARD_SIZES, PAPERS, CardSize, Paper
from server.errors import DoesNotFit
from tests.strategies import requests

POKER = CARD_SIZES["poker-metric"]


def nine_up(cards: int = 9, **more: object) -> SheetPlan:
    layout = search(PlanRequest("duplex", PAPERS["a4"], POKER, **more), 9)[0].layout  # type: ignore[arg-type]
    return SheetPlan(layout, tuple(range(cards)), "Harbour Lamps")


def on(line: Line, rect: Rect) -> bool:
    """The line runs through the inside of the rectangle."""
    box = bounds((line.start, line.end))
    if line.axis == "horizontal":
        return min(box.right, rect.right) - max(box.x, rect.x) > 1e-6 and rect.y + 1e-6 < box.y < rect.bottom - 1e-6
    return min(box.bottom, rect.bottom) - max(box.y, rect.y) > 1e-6 and rect.x + 1e-6 < box.x < rect.right - 1e-6


@settings(max_examples=60, deadline=None)
@given(requests(), st.integers(1, 40))
def test_no_cut_line_crosses_a_card_and_every_edge_has_one(request: PlanRequest, cards: int) -> None:
    try:
        layout = search(request, cards)[0].layout
    except DoesNotFit:
        assume(False)
        raise
    used = layout.slots[:cards]
    lines = cut_lines(layout, cards)
    for piece, slot in zip(layout.cut_units, used, strict=False):  # a pair is one piece
        assert not any(on(line, slot.front) or on(line, piece) for line in lines)
        for edge in (piece.x, piece.right):
            assert any(line.axis == "vertical" and abs(line.at_mm - edge) < 1e-6 for line in lines)
        for edge in (piece.y, piece.bottom):
            assert any(line.axis == "horizontal" and abs(line.at_mm - edge) < 1e-6 for line in lines)
    for tick in cut_ticks(layout, cards):
        assert not any(on(tick, slot.front) for slot in used)


def test_ticks_stay_half_a_millimetre_off_every_card() -> None:
    layout = nine_up().layout
    for tick in cut_ticks(layout):
        box = bounds((tick.start, tick.end))
        for slot in layout.slots:
            gap_x = max(slot.front.x - box.right, box.x - slot.front.right)
            gap_y = max(slot.front.y - box.bottom, box.y - slot.front.bottom)
            assert max(gap_x, gap_y) >= 0.5 - 1e-9


def test_a_short_sheet_is_cut_only_where_cards_lie() -> None:
    upright, level = cut_positions(nine_up().layout, 2)
    assert (len(upright), len(level)) == (3, 2)


def spots(mark: Mark) -> list[tuple[float, float]]:
    points = [point for line in mark.lines for point in (line.start, line.end)]
    points += [point for polygon in mark.polygons for point in polygon]
    points += list(mark.outline[0].corners) if mark.outline else []
    points += [(x + u * r, y + v * r) for (x, y), r in mark.discs for u, v in ((-1, 0), (1, 0), (0, -1), (0, 1))]
    return points + [text.at for text in mark.texts]


def check_camera_marks(plan: SheetPlan) -> None:
    """A ring and its disc lie at one place through the front, with nothing else of either face there."""
    layout = plan.layout
    for face in (face for face in plan.faces if layout.camera_marks):
        assert layout.through and layout.has_backs and not layout.one_face
        around = [mark.box if face.name == "front" else layout.through.rect(mark.box)
                  for mark in marks_for(plan, face) if mark.kind != "camera"]
        lines = [bounds((line.start, line.end)) for line in cut_lines(layout)]
        for one in layout.camera_marks:
            assert not any(one.box.overlaps(other, 0.01) for other in (*around, *lines))
        places = [mark.discs for mark in marks_for(plan, face) if mark.kind == "camera"]
        assert len(places) == len(layout.camera_marks) >= 2
        if face.name == "back":
            discs = [discs[0][0] for discs in places]
            assert [layout.through(at) for at in discs] == [pytest.approx(one.centre) for one in layout.camera_marks]


@settings(max_examples=60, deadline=None)
@given(requests(), st.integers(1, 30))
@example(PlanRequest("two-sheet", Paper("own", "own", 205.43, 205.43, "test"), CardSize("own", "own", 30.13, 41.58),
                     bleed_mm=0.0, gutter_mm=2.13, margins=Edges(0.0, 0.0, 0.01, 0.0)), 6)
def test_marks_lie_on_printable_waste_and_on_nothing_else(request: PlanRequest, cards: int) -> None:
    try:
        layout = search(request, cards)[0].layout
    except DoesNotFit:
        assume(False)
        raise
    layout = replace(layout, camera_marks=next(places_for(layout), ()))
    plan = SheetPlan(layout, tuple(range(cards)), "Harbour Lamps")
    check_camera_marks(plan)
    for face in plan.faces:
        inked = [one.trim.grown(one.bleed) for one in plan.placements(face)]
        marks = [mark for mark in marks_for(plan, face) if mark.kind != "hinge"]
        for mark in marks:
            room = layout.printable.grown(Edges.all(-request.headroom_mm))  # so that a correction clips no mark
            assert room.contains(mark.box, 0.01), mark.kind
            assert not any(mark.box.overlaps(ink, 0.01) for ink in inked), mark.kind
            for spot in spots(mark):
                assert mark.box.contains(Rect(*spot, 0, 0), 0.01), mark.kind
        for one, other in combinations(marks, 2):
            assert not one.box.overlaps(other.box, 0.01), (one.kind, other.kind)


def test_the_gauges_have_their_lengths() -> None:
    """50 mm, and ISO/IEC 7810's ID-1: 85.60 x 53.98 mm."""
    plan = nine_up(10)
    marks = [mark for face in plan.faces for mark in marks_for(plan, face)]
    ruler = next(mark for mark in marks if mark.kind == "ruler")
    ends = bounds(point for line in ruler.lines for point in (line.start, line.end))
    assert max(ends.width, ends.height) == pytest.approx(50)
    whole = next(mark for mark in marks if mark.outline)
    assert whole.outline
    assert sorted((whole.outline[0].width, whole.outline[0].height)) == pytest.approx([53.98, 85.60])
    assert (ID1_WIDTH_MM, ID1_HEIGHT_MM) == (85.60, 53.98)


def test_every_face_says_what_it_is_and_the_arrow_points_at_the_head() -> None:
    plan = nine_up()
    for face in plan.faces:
        marks = marks_for(plan, face)
        words = " ".join(text.text for mark in marks for text in mark.texts)
        assert f"sheet 1 of 1, {face.name}" in words and "Harbour Lamps" in words
        assert "flip on the long edge" in words and "feed" in words
        head, *feet = next(mark for mark in marks if mark.kind == "feed").polygons[0]
        assert all(head[1] < foot[1] for foot in feet)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_two_sheet_targets_meet_through_the_paper(paper: str, arrangement: str) -> None:
    """Laid back to back with both heads up, x counts from the other side: x_front = W - x_back."""
    request = PlanRequest("two-sheet", PAPERS[paper], POKER, arrangement=arrangement)  # type: ignore[arg-type]
    plan = SheetPlan(search(request, 9)[0].layout, tuple(range(9)))
    front, back = (
        sorted(mark.rings[0][0] for mark in marks_for(plan, face) if mark.kind == "target") for face in plan.faces[:2])
    assert len(front) == 4
    width = plan.layout.paper.width_mm
    assert sorted((width - x, y) for x, y in back) == [pytest.approx(spot) for spot in front]
    across = max(x for x, _ in front) - min(x for x, _ in front)
    down = max(y for _, y in front) - min(y for _, y in front)
    assert across > 80 and down > 150  # far apart, so that a turn shows
