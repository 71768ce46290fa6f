"""The page's own geometry, run in a real browser, against the server's: landing, verdicts and the fold."""

from __future__ import annotations

import math
import random
from typing import Any

import pytest
from playwright.sync_api import Page

from server.core.art import Art, Card, Deck
from server.core.geometry import Rect
from server.core.leeway import BackProfile, EdgeLook, Sides, leeway
from server.core.leeway_plan import placed_backs
from server.core.paper import PAPERS
from server.core.plan import Face
from server.core.planning import Planned, plan_deck
from server.core.registration.drift import Drift
from server.core.settings import DeckSettings

FOLDS = [("vertical-fold", 0.0), ("vertical-fold", 1.5), ("side-fold", 0.0), ("side-fold", 2.0)]


def planned(**settings: Any) -> Planned:
    back = Art("backs/b.png", "b", "png", 630, 880)
    cards = tuple(Card(f"c{n}", Art(f"fronts/{n}.png", f"f{n}", "png", 630, 880), back) for n in range(4))
    return plan_deck(Deck("Harbour", cards), DeckSettings().changed(settings))


def rect(value: Rect) -> dict[str, float]:
    return {"x": value.x, "y": value.y, "width": value.width, "height": value.height}


def sheet_data(plan: Planned) -> dict[str, Any]:
    """What the API gives of a sheet, as far as the geometry needs it."""
    layout = plan.plan.layout
    page, block = layout.page, layout.block
    through = layout.through
    assert through is not None
    ats = [line.at_mm for line in layout.creases]
    panel = None
    if ats and through.axis == "vertical":
        panel = {"x": 0, "y": 0, "width": min(ats), "height": page.height}
        assert block.right <= min(ats) + 1e-6 or block.x >= max(ats) - 1e-6
        if block.x >= max(ats) - 1e-6:
            panel = {"x": max(ats), "y": 0, "width": page.width - max(ats), "height": page.height}
    elif ats:
        panel = {"x": 0, "y": 0, "width": page.width, "height": min(ats)}
        if block.y >= max(ats) - 1e-6:
            panel = {"x": 0, "y": max(ats), "width": page.width, "height": page.height - max(ats)}
    return {"page": rect(page), "panel": panel, "through": {"axis": through.axis, "at": through.at_mm},
            "creases": [{"start": line.start, "end": line.end} for line in layout.creases]}


@pytest.fixture
def run(script_page: Page) -> Any:
    def call(body: str, given: Any) -> Any:
        return script_page.evaluate(f"""async (given) => {{
          const g = await import("/static/js/glow/geometry.js");
          const v = await import("/static/js/glow/verdicts.js");
          {body}
        }}""", given)

    return call


def test_a_move_is_the_drift_of_the_same_numbers(run: Any) -> None:
    """Shift, turn and scale about the paper's centre, signs and all, as True-up tells a drift."""
    chance, paper = random.Random(4), PAPERS["a4"]
    page = Rect(0, 0, paper.width_mm, paper.height_mm)
    moves = [{"dx": chance.uniform(-5, 5), "dy": chance.uniform(-5, 5), "turn": chance.uniform(-2, 2),
              "scale": chance.uniform(98, 102)} for _ in range(20)]
    found = run("return given.moves.map((one) => [g.moved(one, given.page), g.moveOf(g.moved(one, given.page), "
                "given.page)]);", {"moves": moves, "page": rect(page)})
    for move, (matrix, back) in zip(moves, found, strict=True):
        drift = Drift.of(page.centre, move["dx"], move["dy"], move["turn"], move["scale"] / 100, move["scale"] / 100)
        m = drift.matrix
        assert matrix == pytest.approx([m.a, m.b, m.c, m.d, m.e, m.f], abs=1e-9)
        assert back == pytest.approx(move, abs=1e-9)


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "side-fold", "two-sheet"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_a_back_lands_where_the_plan_says(run: Any, method: str, flip: str, arrangement: str) -> None:
    plan = planned(method=method, flip=flip, arrangement=arrangement, core_mm=1.0).plan
    through = plan.layout.through
    assert through is not None
    chance = random.Random(9)
    points = [(chance.uniform(0, 210), chance.uniform(0, 297)) for _ in range(12)]
    found = run("const lands = g.landing(given.sheet, g.IDENTITY); return given.points.map((p) => g.apply(lands, p));",
                {"sheet": {"through": {"axis": through.axis, "at": through.at_mm}},
                 "points": points})
    for point, landed in zip(points, found, strict=True):
        assert landed == pytest.approx(plan.behind(point), abs=1e-9)


@pytest.mark.parametrize(("method", "core"), FOLDS)
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_the_folded_backs_project_behind_their_fronts(run: Any, method: str, core: float, arrangement: str) -> None:
    """Folded by 180 degrees and seen straight from the front, each back's corners lie where the plan's own
    through-the-front frame says; the panels are parallel, a spine apart, the backs behind."""
    plan = planned(method=method, core_mm=core, arrangement=arrangement)
    layout, data = plan.plan.layout, sheet_data(plan)
    assert layout.through is not None
    corners = [corner for slot in layout.slots for corner in slot.back.corners]
    found = run("return given.points.map((p) => g.foldPoint(given.sheet, 'back', 180, p));",
                {"sheet": data, "points": corners})
    for corner, (x, y, z) in zip(corners, found, strict=True):
        assert (x, y) == pytest.approx(layout.through(corner), abs=1e-6)
        assert z == pytest.approx(-layout.spine_mm, abs=1e-6)


@pytest.mark.parametrize(("method", "core"), FOLDS)
def test_the_fold_keeps_lengths_and_goes_away_from_the_eye(run: Any, method: str, core: float) -> None:
    plan = planned(method=method, core_mm=core)
    layout, data = plan.plan.layout, sheet_data(plan)
    back, crease = layout.back_block, layout.creases[-1]
    given = {"sheet": data, "points": back.corners, "end": crease.start, "degrees": [0, 30, 90, 150, 180]}
    found = run("""const at = (part, degrees, point) => g.foldPoint(given.sheet, part, degrees, point);
      return given.degrees.map((degrees) => [given.points.map((point) => at("back", degrees, point)),
        at("spine", degrees, given.end), at("back", degrees, given.end)]);""", given)
    for degrees, (points, on_spine, on_back) in zip(given["degrees"], found, strict=True):
        first, second, third, _ = points
        assert math.dist(first, second) == pytest.approx(back.width) and math.dist(second, third) == \
            pytest.approx(back.height)
        assert on_spine == pytest.approx(on_back, abs=1e-9)  # the paper doesn't tear at the crease
        if degrees == 0:
            assert [(x, y) for x, y, _ in points] == [pytest.approx(corner) for corner in back.corners]
            assert all(z == 0 for _, _, z in points)
        else:
            assert all(z <= 1e-9 for _, _, z in points)


BLUE = EdgeLook((20, 40, 120), 0)


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "two-sheet"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
@pytest.mark.parametrize("turned", ["no", "yes"])
def test_verdicts_are_those_of_the_leeway(run: Any, method: str, flip: str, turned: str) -> None:
    """At random shifts of the back behind the front, what the page says of each card is what the server's leeway says
    of that card, moved as the back is seen: for every build method, flip and way of lying."""
    plan = planned(method=method, flip=flip, card_turned=turned, gutter_mm=6)
    lines: Sides[float | None] = Sides(4 / 63, 58 / 63, 6 / 88, 80.5 / 88)
    profile = BackProfile(Sides(BLUE, BLUE, BLUE, BLUE), lines, lines)
    placed = placed_backs(plan, Face(0, "spread" if "fold" in method else "back"), {"b": profile})
    fronts = {one.slot: one for one in plan.plan.placements(Face(0, "spread" if "fold" in method else "front"))
              if one.side == "front"}
    cards = [{"front": rect(fronts[one.placement.slot].trim), "front_rotation": fronts[one.placement.slot].rotation_deg,
              "back": rect(one.placement.trim), "back_rotation": one.placement.rotation_deg,
              "look": {name: dict(getattr(one.look, name).items())
                       for name in ("reach_mm", "next_mm", "art_mm", "border_mm")}} for one in placed]
    chance = random.Random(3)
    # Never just at a limit, where the last bit of a number would decide.
    shifts = [(round(chance.uniform(-6, 6), 1) + 0.03, round(chance.uniform(-9, 9), 1) + 0.03) for _ in range(40)]
    found = run("""return given.shifts.map(([dx, dy]) => given.cards.map((card) => {
        const lands = g.landing(given.sheet, g.moved({ dx, dy, turn: 0, scale: 100 }, given.sheet.page));
        const on = g.artOnCut(given.sheet, card, lands);
        return [on, v.faultsOf(card.look, on, 63, 88)];
      }));""", {"sheet": sheet_data(plan), "cards": cards, "shifts": shifts})
    opposite = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}
    for row in found:
        for one, (on, faults) in zip(placed, row, strict=True):
            assert on[:4] == pytest.approx([1, 0, 0, 1], abs=1e-9)
            dx, dy = on[4], on[5]  # how the back has moved, as it is seen
            told = leeway(one.look)
            # The page passes over what is under 0.05 mm, so the limits are tried a little further out.
            spare = 0.05
            wanted = {(rule, side) for rule, side in told.broken_by(dx, dy)
                      if rule == "uneven" or not _near(told.rule(rule)[side], side, dx, dy, spare)}
            # The page names the edge of the card where it shows, the leeway the way that the back moves.
            named = {(fault["rule"], opposite[fault["side"]] if fault["rule"] in ("paper_shows", "neighbour_shows")
                      else fault["side"]) for fault in faults}
            assert named == wanted, (dx, dy)


def _near(limit: float | None, side: str, dx: float, dy: float, spare: float) -> bool:
    move = {"left": -dx, "right": dx, "top": -dy, "bottom": dy}[side]
    return limit is not None and move - limit <= spare + 1e-6
