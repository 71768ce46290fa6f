"""Leeway from measured numbers: every case worked out by hand on a card of 63 x 88 mm."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.art import Art
from server.core.bleed import ArtFit, decide
from server.core.geometry import Edges, Rect
from server.core.leeway import (
    CUT_SPARE_MM,
    RULES,
    BackProfile,
    EdgeLook,
    Leeway,
    Sides,
    leeway,
    on_card,
    trim_window,
    verdict,
)
from server.core.sizes import CARD_SIZES

CARD = CARD_SIZES["poker-metric"]
BLUE = EdgeLook((20, 40, 120), 0)
WHITE = EdgeLook((255, 255, 255), 0)
BUSY = EdgeLook((120, 120, 120), 200)
NONE: Sides[float | None] = Sides(None, None, None, None)
TRIM_FIT = ArtFit(Rect(0, 0, 63, 88), False, "mirror", 0.0, 0.0, "")
BLEED_FIT = ArtFit(Rect(-3, -3, 69, 94), False, "mirror", 3.0, 0.0, "")


def profile(left: float, right: float, top: float, bottom: float, look: EdgeLook = BLUE) -> BackProfile:
    """Art of trim size whose motif stands that many mm inside each cut edge."""
    lines: Sides[float | None] = Sides(left / 63, (63 - right) / 63, top / 88, (88 - bottom) / 88)
    return BackProfile(Sides(look, look, look, look), lines, lines)


def of(back: BackProfile, bleed: Edges = Edges.all(3), fit: ArtFit = TRIM_FIT, beyond: Edges = Edges()) -> Leeway:
    return leeway(on_card(back, fit, CARD, bleed, beyond))


def values(sides: Sides[float | None]) -> list[float | None]:
    return [sides.left, sides.right, sides.top, sides.bottom]


def test_each_side_by_hand() -> None:
    """Borders of 4, 5, 6, 8 mm; bleeds of 1, 2, 2.5 and 3 mm. A move to the left uncovers the right edge."""
    found = of(profile(4, 5, 6, 8), Edges(left=1, top=2, right=2.5, bottom=3))
    assert values(found.paper_shows_mm) == [2.5, 1, 3, 2]
    assert values(found.art_cut_mm) == pytest.approx([4, 5, 6, 8])
    # 2:1 once 5 + d = 2 (4 - d), and so on: d = (2 narrow - wide) / 3.
    assert values(found.uneven_mm) == pytest.approx([1, 2, 4 / 3, 10 / 3])
    assert found.leeway_mm == pytest.approx(1)
    assert found.first is not None and found.first[1:] == ("paper_shows", "right")


def test_a_white_buffer_without_a_cut_line_survives_two_millimetres() -> None:
    """Common practice: with 2 mm of white around the back and no line on it, 1 mm and 2 mm of offset in every
    direction show neither paper nor lost art. (Its white border stops looking even earlier, at 2/3 mm.)"""
    found = of(profile(2, 2, 2, 2, WHITE))
    assert values(found.paper_shows_mm) == [None] * 4
    assert found.clean_mm == pytest.approx(2)
    for step in range(16):
        angle = step * math.pi / 8
        for offset in (1.0, 2.0):
            broken = found.broken_by(offset * math.cos(angle), offset * math.sin(angle))
            assert {rule for rule, _ in broken} <= {"uneven"}
    assert ("art_cut", "left") in found.broken_by(-2.1, 0)
    assert values(found.uneven_mm) == pytest.approx([2 / 3] * 4)


def test_art_that_runs_over_the_cut_is_background() -> None:
    found = of(BackProfile(Sides(BUSY, BUSY, BUSY, BUSY), NONE, NONE))
    assert values(found.art_cut_mm) == values(found.uneven_mm) == [None] * 4
    assert found.leeway_mm == 3


def test_plain_white_never_shows() -> None:
    found = of(BackProfile(Sides(WHITE, WHITE, WHITE, WHITE), NONE, NONE))
    assert found.leeway_mm is None and found.first is None and found.clean_mm is None
    assert "doesn't show" in found.says()


def test_borders_that_are_2_to_1_from_the_start_were_never_even() -> None:
    found = of(profile(4, 8, 5, 9.9))
    assert (found.uneven_mm.left, found.uneven_mm.right) == (None, None)
    assert found.uneven_mm.top == pytest.approx(0.1 / 3)


def test_ornament_in_the_border_leaves_the_border_even() -> None:
    """A frame 6 mm in on all sides, and a small mark in the border 2 mm from the left edge."""
    back = profile(6, 6, 6, 6)
    found = of(replace(back, nearest=replace(back.nearest, left=2 / 63)))
    assert found.art_cut_mm.left == pytest.approx(2)
    assert found.uneven_mm.left == pytest.approx(2)


@pytest.mark.parametrize(("edges", "shows"), [("none", 0.0), ("mirror", 3.0), ("stretch", 3.0), ("colour", 3.0)])
def test_bleed_that_is_made_counts_and_none_does_not(edges: str, shows: float) -> None:
    fit = replace(TRIM_FIT, made=edges)  # type: ignore[arg-type]
    assert values(of(profile(9, 9, 9, 9), fit=fit).paper_shows_mm) == [shows] * 4


def test_bleed_of_a_white_colour_is_no_bleed() -> None:
    """Art whose edge is mostly white, with lines that run off it: flooded in white, paper shows beside each line."""
    fit = replace(TRIM_FIT, made="colour")
    busy = BackProfile(Sides(BUSY, BUSY, BUSY, BUSY), NONE, NONE)
    white, grey = (on_card(busy, fit, CARD, Edges.all(3), edge_rgb=(level,) * 3) for level in (255, 200))
    assert values(leeway(white).paper_shows_mm) == [0] * 4
    assert values(leeway(grey).paper_shows_mm) == [3] * 4


def test_white_bleed_is_no_better_than_none() -> None:
    """Art that carries 3 mm of bleed, but is printed only to 1 mm beyond the trim on the left, and short on the top."""
    lines: Sides[float | None] = Sides(8 / 69, 61 / 69, 8 / 94, 86 / 94)
    ink: Sides[float | None] = Sides(2 / 69, None, 3.5 / 94, None)
    back = BackProfile(Sides(BLUE, BLUE, BLUE, BLUE), lines, lines, ink)
    found = of(back, fit=BLEED_FIT)
    assert values(found.paper_shows_mm) == pytest.approx([3, 1, 3, 0])
    assert values(found.art_cut_mm) == pytest.approx([5, 5, 5, 5])


def test_a_flood_reaches_further_and_a_neighbour_leaves_no_paper() -> None:
    found = of(profile(9, 9, 9, 9), beyond=Edges(left=12, top=1, right=math.inf, bottom=0))
    assert values(found.paper_shows_mm) == [None, 12, 3, 3]


def test_turned_art_keeps_its_sides() -> None:
    """Landscape art, 88 x 63, turned clockwise onto the card: what was at its bottom is at the card's left."""
    art = Art("backs/a.png", "k", "png", 880, 630)
    fit = decide(art, CARD, 3.0, "mirror")
    assert fit.turned
    lines: Sides[float | None] = Sides(3 / 88, (88 - 4) / 88, 5 / 63, (63 - 6) / 63)
    paper_below = Sides(BLUE, BLUE, BLUE, WHITE)
    found = of(BackProfile(paper_below, lines, lines), fit=fit)
    assert values(found.art_cut_mm) == pytest.approx([6, 5, 3, 4])
    assert values(found.paper_shows_mm) == [3, None, 3, 3]  # the white edge is the left: uncovered by moving right


def test_the_window_is_the_trim_in_the_arts_own_square() -> None:
    window = trim_window(BLEED_FIT, CARD)
    assert (window.x, window.y, window.right, window.bottom) == pytest.approx((3 / 69, 3 / 94, 66 / 69, 91 / 94))
    turned = trim_window(replace(BLEED_FIT, turned=True), CARD)
    assert (turned.x, turned.y, turned.right, turned.bottom) == pytest.approx((3 / 94, 3 / 69, 91 / 94, 66 / 69))


WIDTH = st.floats(0.5, 20)


@given(WIDTH, WIDTH, WIDTH, WIDTH, st.floats(0, 6), st.floats(0, 2 * math.pi))
def test_no_direction_shows_before_the_leeway(left: float, right: float, top: float, bottom: float, bleed: float,
                                              angle: float) -> None:
    """The corners too: a diagonal move needs at least as far. And the least side does show just beyond it."""
    found = of(profile(left, right, top, bottom), Edges.all(bleed))
    assert found.leeway_mm is not None and found.first is not None
    radius = found.leeway_mm
    assert not found.broken_by(radius * math.cos(angle), radius * math.sin(angle))
    way = {"left": (-1, 0), "right": (1, 0), "top": (0, -1), "bottom": (0, 1)}[found.first[2]]
    assert found.broken_by(way[0] * (radius + 1e-3), way[1] * (radius + 1e-3))


@given(WIDTH, WIDTH)
def test_the_pair_is_two_to_one_at_its_limit(narrow: float, wide: float) -> None:
    move = of(profile(narrow, wide, 5, 5)).uneven_mm.left
    if move is not None:
        assert wide + move == pytest.approx(2 * (narrow - move))
    else:
        assert max(narrow, wide) >= 2 * min(narrow, wide) - 1e-6


@pytest.mark.parametrize(("leeway_mm", "wander_mm", "says"), [
    (None, 9.0, "holds"), (1.0, 1.0 - CUT_SPARE_MM, "holds"), (1.0, 0.9, "holds barely"), (1.0, 1.1, "will show"),
])
def test_verdict(leeway_mm: float | None, wander_mm: float, says: str) -> None:
    assert verdict(leeway_mm, wander_mm) == says


def test_every_rule_is_said_in_words() -> None:
    assert [rule.name for rule in RULES] == ["paper_shows", "neighbour_shows", "art_cut", "uneven"]
    assert all(len(rule.says) > 40 and rule.title for rule in RULES)
    assert of(profile(4, 4, 9, 9)).says().startswith("Moved 1.33 mm to the left, the border looks uneven")
    assert of(profile(4, 4, 9, 9), Edges()).says().startswith("With no leeway at all, unprinted paper shows")
