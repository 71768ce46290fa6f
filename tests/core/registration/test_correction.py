"""The correction, checked by carrying points through a printer that really drifts."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.geometry import Affine, Edges, Rect, ThroughFront
from server.core.plan import PlanRequest, SheetPlan
from server.core.registration import Drift, Reading
from server.core.registration.correction import Correction, corrected, correction_for, headroom_mm
from server.core.registration.printer import Printer
from server.core.search import search
from server.core.sizes import PAPERS, CardSize, paper_named
from server.errors import BadValue, DoesNotFit
from tests.strategies import requests

TODAY = date(2026, 11, 25)
A4 = paper_named("a4")
CARD = CardSize("poker", "poker", 63.5, 88.9)
STATIONS = [(30.0, 30.0), (180.0, 30.0), (105.0, 148.5), (30.0, 267.0), (180.0, 267.0)]

drifts = st.builds(
    lambda dx, dy, turn, across, down, square: (dx, dy, turn, across, down, square),
    st.floats(-3, 3), st.floats(-3, 3), st.floats(-0.5, 0.5), st.floats(0.99, 1.01), st.floats(0.99, 1.01),
    st.floats(-0.2, 0.2))


def printer(paper=A4, flip="long-edge", drift=(1.5, -1.0, 0.3, 0.995, 0.997, 0.1), **more) -> Printer:
    made = Printer("Harbour office", paper, flip, **more)
    return made.trued(Drift.of(made.centre, *drift), TODAY)


def planned(request: PlanRequest, cards: int = 9) -> SheetPlan:
    return SheetPlan(search(request, cards)[0].layout, tuple(range(cards)))


def rounded(points):
    return {(round(x, 6), round(y, 6)) for x, y in points}


@settings(max_examples=150, deadline=None)
@given(requests(), drifts)
def test_every_corrected_back_lands_behind_its_front(request, drift):
    """Carried through the plan, the printer's drift and nothing else, on any paper, flip and arrangement."""
    own = printer(request.paper, "long-edge" if request.method == "two-sheet" else request.flip, drift)
    head = headroom_mm(own, request.paper, request.method)
    try:
        plan = planned(replace(request, headroom_mm=head))
    except DoesNotFit:
        return
    made = corrected(plan, own)
    if plan.layout.one_face or not plan.layout.has_backs:
        return
    through = plan.layout.through
    assert through is not None and own.drift is not None
    for slot in plan.layout.slots:
        meant = [through(back) for back in slot.back.corners]
        landed = [own.drift.matrix(made.behind(back)) for back in slot.back.corners]
        assert landed == [pytest.approx(point, abs=1e-9) for point in meant]
        assert rounded(meant) == rounded(slot.front.corners)


@settings(max_examples=100, deadline=None)
@given(requests(), drifts)
def test_the_search_keeps_the_headroom(request, drift):
    """With the headroom asked for, no corrected plan is refused: no art leaves the page, no strip is lost."""
    own = printer(request.paper, "long-edge" if request.method == "two-sheet" else request.flip, drift)
    try:
        plan = planned(replace(request, headroom_mm=headroom_mm(own, request.paper, request.method)))
    except DoesNotFit:
        return
    made = corrected(plan, own)
    assert made.printer_note == "made for Harbour office, trued up 2026-11-25"


@pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS)
@pytest.mark.parametrize("method", ["duplex", "two-sheet", "vertical-fold", "side-fold", "card-fold", "fronts-only"])
def test_headroom_bounds_every_move(paper, method):
    own = printer(paper)
    found = correction_for(own, method, ThroughFront("vertical", paper.width_mm / 2))
    page = Rect(0, 0, paper.width_mm, paper.height_mm)
    inside = [(page.width * i / 7, page.height * j / 7) for i in range(8) for j in range(8)]
    furthest = max(math.dist(m(p), p) for m in (found.front, found.back) for p in inside)
    head = headroom_mm(own, paper, method)
    assert furthest <= head + 1e-9 <= furthest + 0.1 + 1e-9


def test_signs_by_hand():
    # Long-edge flip on A4: what is right through the front is left on the back's own page. A back that lands 1 mm
    # right must be drawn 1 mm left as seen, which is 1 mm right on its own page; low stays low.
    move = correction_for(printer(drift=(1.0, 0.5)), "duplex", ThroughFront("vertical", 105.0)).back
    assert (move.e, move.f) == pytest.approx((1.0, -0.5))
    own = printer(flip="short-edge", drift=(1.0, 0.5))
    move = correction_for(own, "duplex", ThroughFront("horizontal", 148.5)).back
    assert (move.e, move.f) == pytest.approx((-1.0, 0.5))
    # A clockwise turn through the front is anticlockwise on the back's own page, and undone by a clockwise one there.
    turn = correction_for(printer(drift=(0, 0, 0.5)), "duplex", ThroughFront("vertical", 105.0)).back
    assert math.degrees(math.atan2(turn.b, turn.a)) == pytest.approx(0.5)


def test_the_front_of_a_duplex_sheet_is_left_alone():
    made = corrected(planned(PlanRequest("duplex", A4, CARD, headroom_mm=5)), printer(front_scale=(0.99, 0.98)))
    assert made.front_correction == Affine() and made.back_correction != Affine()


@pytest.mark.parametrize("own_scale", [(1.0, 1.0), (0.997, 0.995)])
def test_two_sheets_meet_in_true_size(own_scale):
    """Fronts are printed at the printer's own scale F; the backs land at D of that; both shall come out in size."""
    own = printer(front_scale=own_scale)
    plan = planned(PlanRequest("two-sheet", A4, CARD, headroom_mm=headroom_mm(own, A4, "two-sheet")))
    made = corrected(plan, own)
    paper_from_front = Drift.of(own.centre, scale_x=own_scale[0], scale_y=own_scale[1]).matrix
    through = plan.layout.through
    assert through is not None and own.drift is not None
    for slot in plan.layout.slots:
        for back in slot.back.corners:
            meant = through(back)
            front_on_paper = paper_from_front(made.front_correction(meant))
            back_on_paper = paper_from_front(own.drift.matrix(made.behind(back)))
            assert front_on_paper == pytest.approx(meant, abs=1e-9)
            assert back_on_paper == pytest.approx(front_on_paper, abs=1e-9)


@pytest.mark.parametrize("method", ["vertical-fold", "side-fold"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
def test_a_fold_is_squared_and_sized_from_a_duplex_sheet(method, flip):
    """One engine prints both passes skewed by k and in its own scale. The drift that its duplex sheet shows must
    square the fold that it prints: each back behind its front, in true size."""
    centre = (105.0, 148.5)
    one_pass = Affine.shift(0.7, -0.4).after(
        Drift.of(centre, rotation_deg=0.2, scale_x=0.996, scale_y=0.998, squareness_deg=0.15).matrix)
    turn = ThroughFront("vertical", 105.0) if flip == "long-edge" else ThroughFront("horizontal", 148.5)
    seen = one_pass.inverse().after(turn.affine).after(one_pass).after(turn.affine)  # through the front, in its own mm
    readings = [Reading("1", *p, seen(p)[0] - p[0], seen(p)[1] - p[1]) for p in STATIONS]
    own, fit = Printer("Harbour office", A4, flip, front_scale=(0.996, 0.998)).fitted(readings, TODAY)
    assert fit.model == "affine"
    plan = planned(PlanRequest(method, A4, CARD, headroom_mm=headroom_mm(own, A4, method)), 4)
    uncorrected, made = _misfit(plan, one_pass), _misfit(corrected(plan, own), one_pass)
    assert uncorrected > 0.2 and made < 0.01  # second order in the skew is left


def _misfit(plan: SheetPlan, one_pass: Affine) -> float:
    """Print the spread, fold it at its printed crease, and compare where back and front lie; the worst in mm."""
    crease = plan.layout.creases[0]
    printed = one_pass.after(plan.front_correction)
    (x0, y0), (x1, y1) = printed(crease.start), printed(crease.end)
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length

    def fold(point):
        along = (point[0] - x0) * ux + (point[1] - y0) * uy
        return 2 * (x0 + along * ux) - point[0], 2 * (y0 + along * uy) - point[1]

    worst = 0.0
    through = plan.layout.through
    assert through is not None
    for slot in plan.layout.slots:
        for back in slot.back.corners:
            worst = max(worst, math.dist(fold(printed(back)), printed(through(back))))
    return worst


def test_art_that_would_leave_the_printable_area_is_refused_with_the_numbers():
    plan = planned(PlanRequest("duplex", A4, CardSize("wide", "wide", 194.0, 280.0), bleed_mm=3.0), 1)
    with pytest.raises(BadValue) as caught:
        corrected(plan, printer(drift=(1.5, 0.0)))
    assert "by 1.5 mm at the right of its page" in caught.value.message
    assert "1.5 mm more free" in caught.value.fix


def test_a_hinge_that_would_be_lost_is_refused_with_the_numbers():
    plan = planned(PlanRequest("two-sheet", A4, CARD, margins=Edges.all(3)), 6)
    layout = plan.layout
    strip = layout.hinge
    assert strip is not None
    # A back that lands right is moved left, as seen from the front: towards a strip at the left.
    towards = (layout.block.x - strip.right - layout.outer_bleed.left + 2.0, 0.0) if strip.width < strip.height \
        else (0.0, layout.block.y - strip.bottom - layout.outer_bleed.top + 2.0)
    with pytest.raises(BadValue, match="would take 2 of the 10 mm hinge strip"):
        corrected(plan, printer(drift=towards))


@pytest.mark.parametrize(("request_", "own", "says"), [
    (PlanRequest("duplex", paper_named("letter"), CARD), printer(), "measured on A4 (210 × 297 mm)"),
    (PlanRequest("duplex", A4, CARD, flip="short-edge"), printer(), "flip on the long edge"),
    (PlanRequest("two-sheet", A4, CARD), printer(flip="short-edge"), "as after a long-edge flip"),
])
def test_another_paper_or_flip_is_refused(request_, own, says):
    with pytest.raises(BadValue) as caught:
        corrected(planned(request_), own)
    assert says in caught.value.message and "test sheet" in caught.value.fix


def test_a_printer_that_nobody_read_corrects_nothing():
    own = Printer("Harbour office", A4)
    assert correction_for(own, "duplex", ThroughFront("vertical", 105.0)) == Correction()
    made = corrected(planned(PlanRequest("duplex", A4, CARD)), own)
    assert made.printer_note == "made for Harbour office, not trued up"
    assert headroom_mm(own, A4, "duplex") == 0
