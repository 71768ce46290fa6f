"""Drawings of steps: something is drawn for each, inside its frame, and it is drawn from the plan."""

from __future__ import annotations

import pytest

from server.core.cuts import cut_order
from server.core.guide import guide_steps
from server.core.methods import METHODS
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.drawing.sketch import ACT, CUT, DOING, HEIGHT_MM, TAPE, WIDTH_MM
from server.drawing.steps import draw_step
from server.drawing.surface import RecordingSurface
from tests.strategies import plain_deck


def planned(**settings: object) -> Planned:
    return plan_deck(plain_deck(9), DeckSettings().changed(settings))


@pytest.mark.parametrize("method", sorted(METHODS))
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_every_step_has_a_drawing_inside_its_frame(method: str, arrangement: str) -> None:
    plan = planned(method=method, arrangement=arrangement, core_mm=1, box="tuck", card="mini")
    steps = guide_steps(plan.plan.layout, plan.settings, plan.box)
    assert all(step.picture for step in steps)
    for step in steps:
        surface = RecordingSurface()
        draw_step(surface, plan, step.picture)
        assert not surface.pages and len(surface.drawn) > 4, step.title
        points = [point for one in surface.drawn if one.kind != "art" for point in one.points]
        inside = [0 <= x <= WIDTH_MM and 0 <= y <= HEIGHT_MM for x, y in points]
        assert sum(inside) > 0.85 * len(inside), step.title
        if step.picture not in ("print", "pair", "coat"):  # what the hand does is drawn in one colour
            assert any(one.rgb == ACT for one in surface.drawn), step.title


def test_cuts_are_drawn_where_the_order_has_them_and_tape_outside_them() -> None:
    plan = planned(method="two-sheet")
    layout, surface = plan.plan.layout, RecordingSurface()
    draw_step(surface, plan, "cut")
    lines = [one for one in surface.drawn if one.kind == "lines" and one.stroke == CUT]
    order = cut_order(layout, 9)
    assert len(lines) == len(order)
    sheet = next(one for one in surface.drawn if one.kind == "fill").points
    scale = (sheet[1][0] - sheet[0][0]) / layout.page.width
    for line, cut in zip(lines, order, strict=True):
        assert (line.points[0][0] - sheet[0][0]) / scale == pytest.approx(cut.line.start[0], abs=1e-6)
        assert (line.points[1][1] - sheet[0][1]) / scale == pytest.approx(cut.line.end[1], abs=1e-6)
    assert [one.text for one in surface.drawn if one.kind == "text"] == [str(cut.step) for cut in order]
    taped = RecordingSurface()
    draw_step(taped, plan, "hinge")
    tape = next(one for one in taped.drawn if one.kind == "fill" and one.rgb == TAPE).points
    first = next(one for one in taped.drawn
                 if one.kind == "lines" and one.stroke and one.stroke.dash_mm and one.rgb == ACT)
    assert max(x for x, _ in tape) < first.points[0][0]  # never inside a cut
    assert DOING.rgb == ACT
