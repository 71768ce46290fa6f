"""The flood under the backs: where it lies for each build method, and that nothing else changes."""

from __future__ import annotations

import pytest

from server.core.art import Art, Card, Deck
from server.core.back_designs import flood_of
from server.core.geometry import Rect, bounds
from server.core.plan import Face
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.drawing.sheet import draw_face
from server.drawing.surface import Drawn, RecordingSurface
from server.errors import BadValue

METHODS = ("duplex", "vertical-fold", "side-fold", "two-sheet")


def planned(method: str, flood: str, margin: float = 6.0) -> Planned:
    back = Art("backs/b.png", "b", "png", 690, 940)
    cards = tuple(Card(f"c{n}", Art(f"fronts/{n}.png", f"f{n}", "png", 690, 940), back) for n in range(4))
    settings = DeckSettings().changed({"method": method, "back_flood": flood, "margin_mm": margin})
    return plan_deck(Deck("Harbour", cards), settings)


def drawn(plan: Planned, face: Face) -> list[Drawn]:
    surface = RecordingSurface()
    draw_face(surface, plan, face)
    return surface.drawn


def floods(things: list[Drawn], rgb: tuple[int, int, int]) -> list[Rect]:
    return [bounds(thing.points) for thing in things if thing.kind == "fill" and thing.rgb == rgb]


@pytest.mark.parametrize("method", METHODS)
def test_it_fills_what_is_printed_behind_the_backs_and_nothing_else(method: str) -> None:
    plan = planned(method, "#102030")
    layout = plan.plan.layout
    *others, face = [face for face in plan.plan.faces if face.sheet == 0]
    (rect,) = floods(drawn(plan, face), (16, 32, 48))
    first = next(thing for thing in drawn(plan, face) if thing.layer == "art")
    assert first.kind == "fill"  # under the art, not over it
    assert layout.printable.contains(rect) and rect.contains(
        bounds(corner for slot in layout.slots for corner in slot.back.corners))
    for crease in layout.creases:  # not on the fronts' panel, nor on the spine
        at = crease.at_mm
        low, high = (rect.x, rect.right) if crease.axis == "vertical" else (rect.y, rect.bottom)
        assert at <= low + 1e-9 or at >= high - 1e-9
    assert not any(rect.overlaps(slot.front) for slot in layout.slots) or not layout.one_face
    if layout.hinge_back:
        assert not rect.overlaps(layout.hinge_back)
    for front in others:
        assert not floods(drawn(plan, front), (16, 32, 48))


def test_it_reaches_the_printable_edge() -> None:
    plan = planned("duplex", "#102030", margin=6.0)
    assert flood_of(plan, Face(0, "back")) == (Rect(6, 6, 198, 285), (16, 32, 48))
    assert flood_of(plan, Face(0, "front")) is None
    assert flood_of(planned("duplex", ""), Face(0, "back")) is None


@pytest.mark.parametrize(("flood", "ink"), [("#102030", (255, 255, 255)), ("#f3ddae", (0, 0, 0))])
def test_marks_stay_readable_on_it(flood: str, ink: tuple[int, int, int]) -> None:
    things = [thing for thing in drawn(planned("duplex", flood), Face(0, "back")) if thing.layer == "notes"]
    assert things and {thing.rgb for thing in things} == {ink}


@pytest.mark.parametrize("text", ["red", "#fff", "#12345g", "102030"])
def test_what_is_no_colour_is_refused(text: str) -> None:
    with pytest.raises(BadValue, match="back_flood: "):
        DeckSettings().changed({"back_flood": text})
