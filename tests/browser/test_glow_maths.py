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
from server.core.plan import Face
from server.core.planning import Planned, plan_deck
from server.core.registration.drift import Drift
from server.core.settings import DeckSettings
from server.core.sizes import PAPERS

FOLDS = [("vertical-fold", 0.0), ("vertical-fold", 1.5), ("side-fold", 0.0), ("side-fold", 2.0), ("card-fold", 0.0),
         ("card-fold", 1.5)]


def planned(**settings: Any) -> Planned:
    back = Art("backs/b.png", "b", "png", 630, 880)
    cards = tuple(Card(f"c{n}", Art(f"fronts/{n}.png", f"f{n}", "png", 630, 880), back) for n in range(4))
    return plan_deck(Deck("Harbour", cards), DeckSettings().changed(settings))


def rect(value: Rect) -> dict[str, float]:
    return {"x": value.x, "y": value.y, "width": value.width, "height": value.height}


def sheet_data(plan: Planned, number: int = 0) -> dict[str, Any]:
    """What the API gives of a sheet and of one card's fold, as far as the geometry needs it."""
    layout = plan.plan.layout
    page, slot = layout.page, layout.slots[number]
    assert slot.through
    data = {"page": rect(page), "through": {"axis": slot.through.axis, "at": slot.through.at_mm},
            "creases": [{"start": line.start, "end": line.end} for line in slot.folds]}
    paper, upright = page, slot.through.axis == "vertical"
    if layout.in_pairs:
        left, top = min(slot.front.x, slot.back.x), min(slot.front.y, slot.back.y)
        paper = Rect(left, top, max(slot.front.right, slot.back.right) - left,
                     max(slot.front.bottom, slot.back.bottom) - top)
    if slot.folds:
        near = slot.folds[0].at_mm
        before = slot.front.centre[0 if upright else 1] < near
        low, high = (paper.x, paper.right) if upright else (paper.y, paper.bottom)
        low, high = (low, near) if before else (near, high)
        data["panel"] = rect(Rect(low, paper.y, high - low, paper.height) if upright
                             else Rect(paper.x, low, paper.width, high - low))
    return {**data, "paper": rect(paper)}


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


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "side-fold", "card-fold", "two-sheet"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_a_back_lands_where_the_plan_says(run: Any, method: str, flip: str, arrangement: str) -> None:
    planned_deck = planned(method=method, flip=flip, arrangement=arrangement, core_mm=1.0)
    plan, last = planned_deck.plan, len(planned_deck.plan.layout.slots) - 1
    chance = random.Random(9)
    points = [(chance.uniform(0, 210), chance.uniform(0, 297)) for _ in range(12)]
    found = run("const lands = g.landing(given.sheet, g.IDENTITY); return given.points.map((p) => g.apply(lands, p));",
                {"sheet": sheet_data(planned_deck, last), "points": points})
    for point, landed in zip(points, found, strict=True):
        assert landed == pytest.approx(plan.behind(point, last), abs=1e-9)


@pytest.mark.parametrize(("method", "core"), FOLDS)
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_the_folded_backs_project_behind_their_fronts(run: Any, method: str, core: float, arrangement: str) -> None:
    """Folded by 180 degrees and seen straight from the front, each back's corners lie where the plan's own
    through-the-front frame says; the panels are parallel, a spine apart, the backs behind."""
    plan = planned(method=method, core_mm=core, arrangement=arrangement)
    layout = plan.plan.layout
    for number, slot in enumerate(layout.slots):
        found = run("return given.points.map((p) => g.foldPoint(given.sheet, given.sheet.creases.length, 180, p));",
                    {"sheet": sheet_data(plan, number), "points": slot.back.corners})
        assert slot.through
        for corner, (x, y, z) in zip(slot.back.corners, found, strict=True):
            assert (x, y) == pytest.approx(slot.through(corner), abs=1e-6)
            assert z == pytest.approx(-layout.spine_mm, abs=1e-6)


@pytest.mark.parametrize(("method", "core"), FOLDS)
def test_the_fold_keeps_lengths_and_goes_away_from_the_eye(run: Any, method: str, core: float) -> None:
    plan = planned(method=method, core_mm=core)
    layout, data = plan.plan.layout, sheet_data(plan)
    back, crease = layout.slots[0].back, layout.slots[0].folds[-1]
    given = {"sheet": data, "points": back.corners, "end": crease.start, "degrees": [0, 30, 90, 150, 180]}
    found = run("""const last = given.sheet.creases.length;
      const at = (part, degrees, point) => g.foldPoint(given.sheet, part, degrees, point);
      return given.degrees.map((degrees) => [given.points.map((point) => at(last, degrees, point)),
        at(last - 1, degrees, given.end), at(last, degrees, given.end)]);""", given)
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


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "two-sheet", "card-fold"])
@pytest.mark.parametrize("flip", ["long-edge", "short-edge"])
@pytest.mark.parametrize("turned", ["no", "yes"])
def test_verdicts_are_those_of_the_leeway(run: Any, method: str, flip: str, turned: str) -> None:
    """At random shifts of the back behind the front, what the page says of each card is what the server's leeway says
    of that card, moved as the back is seen: for every build method, flip and way of lying. A card that is folded by
    itself can only move across its crease."""
    plan = planned(method=method, flip=flip, card_turned=turned, gutter_mm=6, core_mm=1.5)
    lines: Sides[float | None] = Sides(4 / 63, 58 / 63, 6 / 88, 80.5 / 88)
    profile = BackProfile(Sides(BLUE, BLUE, BLUE, BLUE), lines, lines)
    placed = placed_backs(plan, Face(0, "spread" if "fold" in method else "back"), {"b": profile})
    fronts = {one.slot: one for one in plan.plan.placements(Face(0, "spread" if "fold" in method else "front"))
              if one.side == "front"}
    cards = [{"front": rect(fronts[one.placement.slot].trim), "front_rotation": fronts[one.placement.slot].rotation_deg,
              "back": rect(one.placement.trim), "back_rotation": one.placement.rotation_deg,
              "look": {name: dict(getattr(one.look, name).items())
                       for name in ("reach_mm", "next_mm", "art_mm", "border_mm")} | {"fold_side": one.look.fold_side},
              "through": sheet_data(plan, one.placement.slot)["through"]} for one in placed]
    chance = random.Random(3)
    # Never just at a limit, where the last bit of a number would decide.
    shifts = [(round(chance.uniform(-6, 6), 1) + 0.03, round(chance.uniform(-9, 9), 1) + 0.03) for _ in range(40)]
    if plan.plan.layout.in_pairs:
        upright = plan.plan.layout.slots[0].folds[0].axis == "vertical"
        shifts = [(dx, 0.0) if upright else (0.0, dy) for dx, dy in shifts]
    found = run("""return given.shifts.map(([dx, dy]) => given.cards.map((card) => {
        const lands = g.landing(card, g.moved({ dx, dy, turn: 0, scale: 100 }, given.sheet.page));
        const on = g.artOnCut(card, lands);
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
