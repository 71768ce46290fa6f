"""The test sheet, read from what is drawn alone: lines on two pages, a turned sheet, and a pair of eyes."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest

from server.core.gauge_sheet import stations
from server.core.geometry import Rect
from server.core.sizes import PAPERS, paper_named
from server.drawing.gauge_sheet import draw_gauge_sheet, draw_station
from server.drawing.surface import Drawn, RecordingSurface
from server.drawing.svg_surface import SvgSurface
from server.errors import BadValue

FLIPS = ("long-edge", "short-edge")
A4 = paper_named("a4")


def sheet(paper=A4, flip="long-edge", **more) -> list[Drawn]:
    surface = RecordingSurface()
    draw_gauge_sheet(surface, paper, flip, **more)
    assert [page.size for page in surface.pages] == [Rect(0, 0, paper.width_mm, paper.height_mm)] * 2
    return surface.drawn


def turned(point, paper, flip):
    """A sheet in the hand, front up, turned over about its upright middle (long edge) or its level one (short)."""
    x, y = point
    return (paper.width_mm - x, y) if flip == "long-edge" else (x, paper.height_mm - y)


def through(drawn: list[Drawn], paper, flip) -> list[tuple]:
    """The back's lines as they are seen from the front against the light."""
    return [tuple(turned(point, paper, flip) for point in one.points)
            for one in drawn if one.page == 1 and one.kind == "lines"]


def near(line, x, y, reach=21.0) -> bool:
    return all(abs(px - x) <= reach and abs(py - y) <= reach for px, py in line)


def scale_lines(lines, x, y, outwards, across) -> list[tuple[float, float, float]]:
    """(distance from the centre outwards, and from where to where it runs across) of lines square to an arm."""
    found = []
    for (x0, y0), (x1, y1) in lines:
        u0, u1 = ((x0 - x) * outwards[0] + (y0 - y) * outwards[1], (x1 - x) * outwards[0] + (y1 - y) * outwards[1])
        v0, v1 = ((x0 - x) * across[0] + (y0 - y) * across[1], (x1 - x) * across[0] + (y1 - y) * across[1])
        if abs(u0 - u1) < 1e-9 and u0 > 3.0:
            found.append((u0, min(v0, v1), max(v0, v1)))
    return sorted(found)


ARMS = {"dx+": ((1, 0), (0, 1)), "dx-": ((-1, 0), (0, -1)), "dy+": ((0, 1), (-1, 0)), "dy-": ((0, -1), (1, 0))}


def seen_arms(front, back, x, y):
    """For each arm of one station: the main lines, the small ruler's long ticks and the back's lines, as distances
    outwards; the longest back line is the pointer's."""
    arms = {}
    for name, (outwards, across) in ARMS.items():
        fronts = scale_lines([line for line in front if near(line, x, y)], x, y, outwards, across)
        backs = scale_lines([line for line in back if near(line, x, y)], x, y, outwards, across)
        main = [u for u, low, high in fronts if -7.5 < low < -6.5]
        coarse = [u for u, low, high in fronts if low > 6.0 and high - low > 1.5]
        vernier = sorted(u for u, low, high in backs if high - low > 6.0)
        arms[name] = main, coarse, vernier, max((high - low, u) for u, low, high in backs)[1]
    return arms


def read_arm(arm, moved_mm) -> tuple[float, float]:
    """(whole mm, tenths) of one arm by eye: which tick the longest back line has passed, and which back line meets a
    front line best, the back having moved outwards by ``moved_mm``; whole is -1 where it is short of 0."""
    main, coarse, vernier, zero = arm
    passed = [tick for tick in coarse if tick <= zero + moved_mm + 1e-6]
    least = min(vernier, key=lambda u: min(abs(u + moved_mm - line) for line in main))
    return (max(passed) - coarse[0] if passed else -1.0), float(vernier.index(least))


@pytest.mark.parametrize("flip", FLIPS)
@pytest.mark.parametrize("axis", ["dx", "dy"])
def test_every_tenth_is_read_from_the_drawn_lines(flip, axis):
    """For each 0.1 mm from -3.9 to 3.9 the line that coincides tells the number, on the arm of its sign alone."""
    drawn = sheet(flip=flip)
    front = [one.points for one in drawn if one.page == 0 and one.kind == "lines"]
    back = through(drawn, A4, flip)
    for station in stations(A4):
        arms = seen_arms(front, back, *station.point)
        for tenths in range(-39, 40):
            value = tenths / 10
            whole, tenth = read_arm(arms[f"{axis}{'-' if tenths < 0 else '+'}"], abs(value))
            assert whole + tenth / 10 == pytest.approx(abs(value)), (station, value)
            if tenths:
                assert read_arm(arms[f"{axis}{'+' if tenths < 0 else '-'}"], -abs(value))[0] == -1.0


@pytest.mark.parametrize("flip", FLIPS)
def test_lines_still_meet_when_the_other_axis_is_off_by_3_mm(flip):
    drawn = sheet(flip=flip)
    front = [one.points for one in drawn if one.page == 0 and one.kind == "lines"]
    for x, y in (station.point for station in stations(A4)):
        for outwards, across in ARMS.values():
            main = [(low, high) for _, low, high in
                    scale_lines([line for line in front if near(line, x, y)], x, y, outwards, across)
                    if -7.5 < low < -6.5]
            vernier = [(low, high) for _, low, high in
                       scale_lines([line for line in through(drawn, A4, flip) if near(line, x, y)], x, y, outwards,
                                   across) if high - low > 6.0]
            for low, high in vernier:
                for off in (-3.0, 3.0):
                    assert min(high + off, main[0][1]) - max(low + off, main[0][0]) > -1e-9  # they touch or overlap
                    assert high + off > main[0][1] + 0.9  # and some of the back line stands alone


def test_the_least_count_is_a_tenth_of_the_main_division():
    # vernier principle: n vernier divisions take n - 1 main ones; least count = main division / n
    drawn = sheet()
    front = [one.points for one in drawn if one.page == 0 and one.kind == "lines"]
    main, _, vernier, _ = seen_arms(front, through(drawn, A4, "long-edge"), *stations(A4)[0].point)["dx+"]
    pitch = {round(b - a, 6) for a, b in pairwise(main)}
    assert pitch == {1.0}
    assert {round(b - a, 6) for a, b in pairwise(vernier)} == {0.9}
    assert len(vernier) == 10 and main[1] - main[0] - (vernier[1] - vernier[0]) == pytest.approx(1.0 / 10)


@pytest.mark.parametrize("flip", FLIPS)
@pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS)
def test_stations_of_both_faces_come_together(paper, flip):
    drawn = sheet(paper, flip)
    placed = stations(paper)
    assert len(placed) >= 5
    points = {station.point for station in placed}
    assert {(x, y) for x in (31.0, paper.width_mm - 31) for y in (31.0, paper.height_mm - 31)} <= points
    for x, y in points:  # a back turned by 180 degrees shows its marks in the stations all the same
        assert any(math.dist((paper.width_mm - x, paper.height_mm - y), other) < 1e-9 for other in points)
    assert any(math.dist(station.point, (paper.width_mm / 2, paper.height_mm / 2)) < 1e-9 for station in placed)
    discs = [turned(middle(one), paper, flip) for one in drawn
             if one.page == 1 and one.kind == "fill" and reach(one) == pytest.approx(1.2)]
    assert discs == [pytest.approx(station.point) for station in placed]
    numbers = [one for one in drawn if one.page == 1 and one.kind == "text" and one.size_mm == 4.0]
    for station, number in zip(placed, numbers, strict=True):
        # mirrored on its own page, so that the light shows it upright beside the front's own number
        assert number.text == str(station.number) and number.matrix.determinant < 0
        assert math.dist(turned(number.points[0], paper, flip), station.point) < 26


@pytest.mark.parametrize("flip", FLIPS)
def test_a_wrong_flip_shows_in_the_other_box(flip):
    drawn = sheet(flip=flip)
    boxes = [one.points for one in drawn if one.page == 0 and one.kind == "outline" and one.size_mm == 0.0]
    ring = next(one for one in drawn if one.page == 1 and one.kind == "ring" and one.size_mm == 3.0).points[0]

    def inside(point, corners):
        return corners[0][0] < point[0] < corners[2][0] and corners[0][1] < point[1] < corners[2][1]

    other = FLIPS[1 - FLIPS.index(flip)]
    assert [inside(turned(ring, A4, flip), box) for box in boxes] == [True, False]
    assert [inside(turned(ring, A4, other), box) for box in boxes] == [False, True]


def test_rulers_on_both_faces_and_the_id1_outline():
    for flip in FLIPS:
        drawn = sheet(flip=flip)
        outline, = [one for one in drawn if one.kind == "outline" and one.size_mm > 0]
        (x0, y0), _, (x1, y1), _ = outline.points
        # ISO/IEC 7810, ID-1: 85.60 x 53.98 mm, corner radius 3.18 mm
        assert (x1 - x0, y1 - y0, outline.size_mm) == pytest.approx((85.60, 53.98, 3.18))
        for page in (0, 1):
            lengths = sorted(round(math.dist(*one.points), 6) for one in drawn
                             if one.page == page and one.kind == "lines")[-2:]
            assert lengths == [190.0, 270.0]
            numbers = {one.text for one in drawn if one.page == page and one.kind == "text"}
            assert {"0", "190", "270"} <= numbers


def test_rulers_lie_apart_against_the_light():
    for flip in FLIPS:
        drawn = sheet(flip=flip)
        front = [one.points for one in drawn if one.page == 0 and one.kind == "lines"
                 and math.dist(*one.points) > 100]
        back = [line for line in through(drawn, A4, flip) if math.dist(*line) > 100]
        assert all(min(x for x, _ in line) < 10.1 and min(y for _, y in line) < 14 for line in front)
        assert all(max(x for x, _ in line) > 199 and max(y for _, y in line) > 283 for line in back)


@pytest.mark.parametrize("flip", FLIPS)
@pytest.mark.parametrize("paper", PAPERS.values(), ids=PAPERS)
def test_everything_is_inside_what_printers_reach(paper, flip):
    area = Rect(5, 5, paper.width_mm - 10, paper.height_mm - 10)
    for one in sheet(paper, flip):
        for x, y in one.points:
            assert area.contains(Rect(x, y, 0, 0)), one


def middle(one):
    return tuple(sum(axis) / len(one.points) for axis in zip(*one.points, strict=True))


def reach(one):
    return max(math.dist(middle(one), point) for point in one.points)


def test_lines_are_thin_and_the_backs_disc_has_room_in_the_ring():
    drawn = sheet()
    assert {one.stroke.width_mm for one in drawn if one.stroke} == {0.15}
    assert all(one.page == 0 or math.dist(one.points[0], one.points[1]) < 4 for one in drawn if one.kind == "fill")
    dots = [one for one in drawn if one.page == 0 and one.kind == "fill" and len(one.points) > 10]
    assert len(dots) == 14 * len(stations(A4))
    for dot in dots:  # the disc's radius is 1.2 mm: it may drift as far as the verniers are read to a tenth
        assert min(math.dist(point, station.point) for point in dot.points for station in stations(A4)) > 1.2 + 3.8


def test_the_screens_station_shows_what_was_entered():
    surface = RecordingSurface()
    draw_station(surface, 1.3, -0.8, 4)
    disc = next(one for one in surface.drawn if one.kind == "fill" and reach(one) == pytest.approx(1.2))
    assert middle(disc) == pytest.approx((22 + 1.3, 22 - 0.8))
    svg = SvgSurface(lambda art: "")
    draw_station(svg, 1.3, -0.8, 4)
    assert 'transform="matrix(1 0 0 1 1.3 -0.8)"' in svg.svg() and "style" not in svg.svg()


def test_paper_that_is_too_small():
    with pytest.raises(BadValue, match="too small for a test sheet"):
        draw_gauge_sheet(RecordingSurface(), paper_named("105x148"), "long-edge")
