"""Leeway on whole sheets: outer edges, shared cuts, gutters, floods and turned cards, each worked out by hand."""

from __future__ import annotations

import pytest

from server.core.art import Art, Card, Deck
from server.core.geometry import bounds
from server.core.leeway import BackProfile, EdgeLook, Sides
from server.core.leeway_plan import placed_backs, plan_leeways
from server.core.plan import Face
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings

BLUE, GOLD, WHITE = (EdgeLook(rgb, 0) for rgb in ((20, 40, 120), (230, 180, 40), (255, 255, 255)))
NONE: Sides[float | None] = Sides(None, None, None, None)


def plain(look: EdgeLook) -> BackProfile:
    return BackProfile(Sides(look, look, look, look), NONE, NONE)


def sheet(cards: int = 9, backs: str = "a" * 9, **settings: object) -> Planned:
    """Cards of 63 x 88 mm whose backs are named by letters, one for each card; "-" has none."""
    made = tuple(Card(f"c{n}", Art(f"fronts/{n}.png", f"f{n}", "png", 630, 880),
                      None if backs[n] == "-" else Art(f"backs/{backs[n]}.png", backs[n], "png", 630, 880))
                 for n in range(cards))
    return plan_deck(Deck("Harbour", made), DeckSettings().changed(settings))


def values(sides: Sides[float | None]) -> list[float | None]:
    return [sides.left, sides.right, sides.top, sides.bottom]


def test_one_back_for_all_shows_paper_only_at_the_blocks_edge() -> None:
    """Nine cards share their cuts: what lies beyond an inner cut is the same back again."""
    plan = sheet(gutter_mm=0, margin_mm=5)
    face = Face(0, "back")
    looks = {placed.placement.slot: placed.look for placed in placed_backs(plan, face, {"a": plain(BLUE)})}
    # Columns are mirrored on the back: the middle card of the nine has no edge outside.
    assert values(looks[4].reach_mm) == [None] * 4 and values(looks[4].next_mm) == [None] * 4
    left, top = plan.plan.layout.outer_bleed.left, plan.plan.layout.outer_bleed.top
    # Slot 0 lies at the front's left, so at the back page's right, and its back's right edge is outside.
    assert values(looks[0].reach_mm) == pytest.approx([None, left, top, None])
    assert plan_leeways(plan, {"a": plain(BLUE)})["a"].leeway_mm == pytest.approx(min(left, top))


def test_another_colour_next_door_shows_at_once() -> None:
    plan = sheet(9, "ababababa", gutter_mm=0)
    found = plan_leeways(plan, {"a": plain(BLUE), "b": plain(GOLD)})
    assert found["a"].first is not None and found["a"].first[:2] == (0, "neighbour_shows")
    same = plan_leeways(plan, {"a": plain(BLUE), "b": plain(BLUE)})
    assert values(same["a"].neighbour_shows_mm) == [None] * 4


@pytest.mark.parametrize(("gutter", "paper", "next_"), [(2.0, None, 1.0), (6.0, None, 3.0), (8.0, 3.0, 5.0)])
def test_a_gutter(gutter: float, paper: float | None, next_: float) -> None:
    """Two cards a gutter apart, 3 mm of bleed: bleeds take half of it each; what is wider leaves paper between."""
    plan = sheet(2, "ab", gutter_mm=gutter, paper="a5", margin_mm=5, card="50x120", arrangement="portrait",
                 card_turned="no")
    assert plan.plan.layout.columns == 2
    placed = placed_backs(plan, Face(0, "back"), {"a": plain(BLUE), "b": plain(GOLD)})
    look = placed[0].look  # the first card's back lies at the page's right; its left edge faces the other
    assert look.reach_mm.left == paper
    assert look.next_mm.left == pytest.approx(next_)
    assert look.reach_mm.right == 3.0 and look.next_mm.right is None


def test_a_flood_fills_gutters_and_the_margin() -> None:
    plan = sheet(2, "aa", gutter_mm=8, paper="a5", margin_mm=5, card="50x120", arrangement="portrait",
                 card_turned="no", back_flood="#142878")
    look = placed_backs(plan, Face(0, "back"), {"a": plain(BLUE)})[0].look
    block = bounds(corner for slot in plan.plan.layout.slots for corner in slot.back.corners)
    assert look.reach_mm.left is None
    assert look.reach_mm.right == pytest.approx(148 - 5 - block.right)
    assert look.reach_mm.top == pytest.approx(block.y - 5)


def test_white_edges_and_missing_neighbours() -> None:
    plan = sheet(3, "a-w", gutter_mm=0)
    looks = {placed.placement.slot: placed.look for placed in
             placed_backs(plan, Face(0, "back"), {"a": plain(BLUE), "w": plain(WHITE)})}
    assert set(looks) == {0, 2}
    assert looks[0].reach_mm.left == 0  # the card beside it prints no back: bare paper at the cut
    assert values(looks[2].reach_mm) == [None] * 4


@pytest.mark.parametrize("method", ["duplex", "vertical-fold", "side-fold", "two-sheet"])
@pytest.mark.parametrize("turned", ["no", "yes"])
def test_sides_are_told_as_the_back_is_held(method: str, turned: str) -> None:
    """One card alone, with the bleed made to differ by edge: whatever the page, left stays left as it is held."""
    plan = sheet(1, "a", method=method, card_turned=turned, edges="none")
    (placed,) = placed_backs(plan, Face(0, "spread" if "fold" in method else "back"), {
        "a": BackProfile(Sides(BLUE, GOLD, WHITE, BUSY), NONE, NONE)})
    look = placed.look
    assert look.looks.left == BLUE and look.looks.right == GOLD
    assert values(look.reach_mm) == [0, 0, None, 0]


BUSY = EdgeLook((120, 120, 120), 200)


def test_only_the_crease_side_is_short_where_the_fold_is_the_cut() -> None:
    """Side fold on the cutting edge: the crease is the fronts' right edge, so the backs' left, seen upright."""
    plan = sheet(1, "a", method="side-fold", fold_on_cut=True)
    (placed,) = placed_backs(plan, Face(0, "spread"), {"a": plain(BLUE)})
    if plan.plan.layout.arrangement == "portrait" and not plan.plan.layout.card_turned:
        assert values(placed.look.reach_mm) == [0, 3, 3, 3]
    assert sorted(value or 0 for value in values(placed.look.reach_mm)) == [0, 3, 3, 3]
