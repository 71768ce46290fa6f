"""How art lies on its card: readings from proportions, and made bleed that joins without a gap."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.art import Art
from server.core.bleed import decide, edges_say, stamps
from server.core.edge_bleed import ArtEdges, EdgeSeen, Flood, Stamp
from server.core.geometry import Edges, Rect, bounds
from server.core.settings import EdgeMode
from server.core.sizes import CARD_SIZES, CardSize

POKER = CARD_SIZES["poker-metric"]
UNIT = ((0.0, 0.0), (1.0, 0.0), (1.0, 1.0), (0.0, 1.0))


def art(width: int, height: int, **more: object) -> Art:
    return Art("a.png", "a", "png", width, height, **more)  # type: ignore[arg-type]


# 69 x 94 mm at 300 ppi is 815 x 1110 px; 63 x 88 mm is 744 x 1039 px (25.4 mm to the inch).
@pytest.mark.parametrize(("pixels", "carries", "turned"), [
    ((815, 1110), 3.0, False), ((744, 1039), 0.0, False), ((1110, 815), 3.0, True), ((1039, 744), 0.0, True),
])
def test_auto_reads_trim_or_bleed_from_proportions(pixels: tuple[int, int], carries: float, turned: bool) -> None:
    fit = decide(art(*pixels), POKER, 3.0, "auto")
    assert (fit.carries_mm, fit.turned, fit.cropped_mm) == (carries, turned, 0.0)
    assert fit.rect == Rect(0, 0, 63, 88).grown(Edges.all(carries))
    assert ("carries 3 mm" in fit.decision) == (carries == 3.0)
    assert ("trim size" in fit.decision) == (carries == 0.0)


@pytest.mark.parametrize("bleed_mm", [1.5, 2.0, 2.5, 3.0, 4.0])
def test_bleed_in_the_art_is_read_whatever_bleed_is_asked_for(bleed_mm: float) -> None:
    """69 x 94 mm is a card of 63 x 88 with 3 mm all round, also where the sheets want a little less or more."""
    fit = decide(art(815, 1110), POKER, bleed_mm, "auto")
    assert (fit.carries_mm, fit.cropped_mm) == (3.0, 0.0)


def test_an_eighth_of_an_inch_is_read_as_such() -> None:
    """A 2.5 x 3.5 in card with 1/8 in bleed at 300 ppi: 825 x 1125 px (common practice)."""
    fit = decide(art(825, 1125), CARD_SIZES["poker"], 3.175, "auto")
    assert fit.carries_mm == 3.175


def test_a_square_tells_by_its_own_size() -> None:
    square = CardSize("s", "s", 70, 70)
    assert decide(art(900, 900), square, 3.0, "auto").carries_mm == 0.0
    assert decide(art(900, 900, size_mm=(76.0, 76.0)), square, 3.0, "auto").carries_mm == 3.0
    assert decide(art(900, 900, size_mm=(70.0, 70.0)), square, 3.0, "auto").carries_mm == 0.0


def test_each_edge_says_how_its_bleed_comes_about() -> None:
    picture = EdgeSeen("picture", (0, 0, 0))
    seen = ArtEdges(EdgeSeen("flat", (9, 8, 7)), EdgeSeen("gradient", (0, 0, 0)), picture, picture)
    own = art(744, 1039, edges=seen)

    def says(what: Art, mode: EdgeMode = "auto", bleed_mm: float = 3.0) -> list[str]:
        fit = decide(what, POKER, bleed_mm, mode)
        return [one.says for one in edges_say(fit, POKER, bleed_mm, (1, 2, 3))]

    assert says(own) == ["one colour, run out", "its edge drawn out", "mirrored", "mirrored"]
    assert edges_say(decide(own, POKER, 3.0, "auto"), POKER, 3.0, None)[0].rgb == (9, 8, 7)
    assert says(art(815, 1110)) == ["its own bleed"] * 4
    assert says(art(815, 1110, edges=seen), bleed_mm=4.0)[0] == "its own 3 mm, then one colour, run out"
    assert says(art(1000, 2000), "mirror") == ["mirrored", "its own bleed", "mirrored", "its own bleed"]
    assert [says(own, mode)[0] for mode in ("stretch", "colour", "none")] == [
        "stretched", "one colour, run out", "none, so bare paper"]
    assert says(own, bleed_mm=0.0) == ["no bleed"] * 4


def test_odd_art_covers_the_trim_and_says_what_is_lost() -> None:
    fit = decide(art(1000, 2000), POKER, 3.0, "auto")
    assert fit.rect.width == pytest.approx(63) and fit.rect.height == pytest.approx(126)
    assert fit.cropped_mm == pytest.approx(38)
    assert "38 mm of the picture falls outside" in fit.decision


@pytest.mark.parametrize("edges", ["mirror", "stretch", "colour", "none"])
def test_made_bleed_takes_the_art_as_trim_size(edges: EdgeMode) -> None:
    fit = decide(art(744, 1039), POKER, 3.0, edges)
    assert fit.rect == Rect(0, 0, 63, 88) and fit.made == edges


def test_ppi_counts_the_size_as_printed() -> None:
    """815 px on 69 mm: 815 / (69 / 25.4) = 300.0 ppi."""
    picture = art(815, 1110)
    assert decide(picture, POKER, 3.0, "auto").ppi(picture) == pytest.approx(299.9, abs=0.2)
    turned = art(1110, 815)
    assert decide(turned, POKER, 3.0, "auto").ppi(turned) == pytest.approx(299.9, abs=0.2)


def test_turned_art_has_its_top_at_the_right() -> None:
    fit = decide(art(1039, 744), POKER, 3.0, "auto")
    assert fit.matrix((0, 0)) == pytest.approx((63, 0))  # its top-left corner, a quarter clockwise
    assert fit.matrix((1, 0)) == pytest.approx((63, 88))


@given(st.sampled_from(["mirror", "stretch", "colour"]), st.floats(0.5, 6), st.floats(0.5, 6), st.floats(0.5, 6),
       st.floats(0.5, 6))
def test_made_bleed_covers_the_whole_band(edges: EdgeMode, left: float, top: float, right: float,
                                          bottom: float) -> None:
    """Every point of the bleed band lies on some stamp's picture, inside its clip."""
    bleed = Edges(left, top, right, bottom)
    layers = stamps(decide(art(630, 880), POKER, 3.0, edges), POKER, bleed, (10, 20, 30))
    region = Rect(0, 0, 63, 88).grown(bleed)
    xs = [region.x + 0.01, -0.01, 0.01, 31, 62.99, 63.01, region.right - 0.01]
    ys = [region.y + 0.01, -0.01, 0.01, 44, 87.99, 88.01, region.bottom - 0.01]
    for x in xs:
        for y in ys:
            assert any(covers(layer, x, y) for layer in layers), (x, y)
    for layer in layers:
        shown = layer.rect if isinstance(layer, Flood) else layer.clip
        assert region.contains(shown)


def covers(layer: Stamp | Flood, x: float, y: float) -> bool:
    point = Rect(x, y, 0, 0)
    if isinstance(layer, Flood):
        return layer.rect.contains(point)
    return layer.clip.contains(point) and bounds(layer.matrix(corner) for corner in UNIT).contains(point)


def test_the_mirror_shows_what_lies_as_far_inside() -> None:
    """A point 2 mm outside the trim shows the picture 2 mm inside it, but for the 0.1 mm that the copies overlap."""
    layers = stamps(decide(art(630, 880), POKER, 3.0, "mirror"), POKER, Edges.all(3), None)
    left = next(layer for layer in reversed(layers) if covers(layer, -2.0, 44.0))
    assert isinstance(left, Stamp)
    shown = left.matrix.inverse()((-2.0, 44.0))
    assert shown == pytest.approx((2.1 / 63, 0.5))


def test_the_art_lies_on_top_and_stays_inside_its_trim() -> None:
    layers = stamps(decide(art(630, 880), POKER, 3.0, "mirror"), POKER, Edges.all(3), None)
    top = layers[-1]
    assert isinstance(top, Stamp) and top.clip == Rect(0, 0, 63, 88)
    assert top.matrix((0.5, 0.5)) == pytest.approx((31.5, 44))


def test_art_with_enough_bleed_is_stamped_once() -> None:
    layers = stamps(decide(art(815, 1110), POKER, 3.0, "auto"), POKER, Edges(3, 0, 1, 3), None)
    assert len(layers) == 1 and isinstance(layers[0], Stamp)
    assert layers[0].clip == Rect(0, 0, 63, 88).grown(Edges(3, 0, 1, 3))
