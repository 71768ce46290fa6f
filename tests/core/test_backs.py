"""Made backs as shapes: the same after half a turn, cut off where they should be, and refused where they can't be."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.back_designs import (
    FINISHES,
    PATTERNS,
    BackDesign,
    Finish,
    PatternName,
    Polygon,
    Ring,
    Shape,
    Title,
    colour_from,
    design_shapes,
    half_turned,
)
from server.core.geometry import Rect, bounds
from server.core.sizes import CARD_SIZES
from server.errors import BadValue

CARDS = list(CARD_SIZES.values())


def mark(shape: Shape) -> tuple[object, ...]:
    """A shape as something that can be compared, whatever point its outline starts from."""
    if isinstance(shape, Polygon):
        return "polygon", frozenset((round(x, 6), round(y, 6)) for x, y in shape.points), shape.rgb
    if isinstance(shape, Ring):
        return "ring", round(shape.centre[0], 6), round(shape.centre[1], 6), round(shape.radius_mm, 6), shape.rgb
    return "title", round(shape.at[0], 6), round(shape.at[1], 6), shape.text, shape.rotation_deg


def shows(shape: Shape, clip: Rect) -> bool:
    if isinstance(shape, Title):
        return True
    if isinstance(shape, Ring):
        r = shape.radius_mm + shape.width_mm
        return Rect(shape.centre[0] - r, shape.centre[1] - r, 2 * r, 2 * r).overlaps(clip)
    return bounds(shape.points).overlaps(clip)


@pytest.mark.parametrize("finish", FINISHES)
@pytest.mark.parametrize("pattern", PATTERNS)
@pytest.mark.parametrize("card", CARDS, ids=lambda card: card.name)
def test_half_a_turn_changes_nothing(finish: Finish, pattern: PatternName, card: object) -> None:
    assert isinstance(card, type(CARDS[0]))
    for clip, shapes in design_shapes(BackDesign(finish, pattern, title="Tide"), card, 3.0):
        assert clip.centre == pytest.approx((card.width_mm / 2, card.height_mm / 2))
        seen = [shape for shape in shapes if shows(shape, clip)]
        assert {mark(shape) for shape in seen} == {mark(half_turned(shape, card)) for shape in seen}


@given(st.floats(0, 10), st.sampled_from(list(PATTERNS)))
def test_the_buffer_is_bare_paper(buffer_mm: float, pattern: PatternName) -> None:
    card = CARD_SIZES["poker-metric"]
    (whole, (paper,)), *rest = design_shapes(BackDesign("inset", pattern, buffer_mm=buffer_mm), card, 3.0)
    assert isinstance(paper, Polygon) and paper.rgb == (255, 255, 255)
    assert whole == Rect(-3, -3, 69, 94)
    for clip, _ in rest:
        assert clip.x >= buffer_mm - 1e-9 and clip.right <= 63 - buffer_mm + 1e-9
        assert clip.y >= buffer_mm - 1e-9 and clip.bottom <= 88 - buffer_mm + 1e-9


def test_a_flooded_back_has_one_colour_along_its_cut() -> None:
    design = BackDesign("flooded", "beams", ground=(10, 20, 30))
    (whole, (ground,)), (field, _) = design_shapes(design, CARD_SIZES["poker-metric"], 3.0)
    assert isinstance(ground, Polygon) and ground.rgb == (10, 20, 30)
    assert whole.contains(field) and field.x > 8


def test_a_long_title_is_set_smaller_so_that_it_fits() -> None:
    card = CARD_SIZES["mini"]
    groups = design_shapes(BackDesign("inset", title="The Lighthouse Keeper's Second Almanac"), card, 3.0)
    plate, shapes = groups[-1]
    titles = [shape for shape in shapes if isinstance(shape, Title)]
    assert [title.rotation_deg for title in titles] == [0, 180]
    assert plate.width <= card.width_mm - 4 and titles[0].size_mm < 3


@pytest.mark.parametrize(("design", "says"), [
    (BackDesign("inset", buffer_mm=40), "buffer: 40 mm is no width"),
    (BackDesign("inset", buffer_mm=float("nan")), "buffer: nan mm is no width"),
    (BackDesign("torn"), "finish: 'torn' is not known"),  # type: ignore[arg-type]
    (BackDesign(pattern="knots"), "pattern: 'knots' is not known"),  # type: ignore[arg-type]
    (BackDesign(title="x" * 41), "title: 41 letters"),
])
def test_what_cannot_be_drawn_is_refused(design: BackDesign, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        design.checked(CARD_SIZES["poker-metric"])


def test_a_title_is_one_clean_line() -> None:
    assert BackDesign(title=" Lamp\n fold\t").checked(CARD_SIZES["poker"]).title == "Lamp fold"


@pytest.mark.parametrize(("text", "rgb"), [("#1f5f6b", (31, 95, 107)), ("FFFFFF", (255, 255, 255))])
def test_colours(text: str, rgb: tuple[int, int, int]) -> None:
    assert colour_from(text, "ground") == rgb


@pytest.mark.parametrize("text", ["", "#fff", "#12345g", "red", "#1234567"])
def test_what_is_no_colour_is_refused(text: str) -> None:
    with pytest.raises(BadValue, match="ground: "):
        colour_from(text, "ground")
