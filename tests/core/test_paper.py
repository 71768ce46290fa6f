"""Paper against the standards that fix it."""

from __future__ import annotations

import math

import pytest

from server.core.sizes import PAPERS, paper_named
from server.core.units import POINTS_PER_MM
from server.errors import BadValue


@pytest.mark.parametrize(("name", "width", "height"), [
    ("a3", 297, 420), ("a4", 210, 297), ("a5", 148, 210),  # ISO 216:2007
    ("letter", 8.5 * 25.4, 11 * 25.4), ("tabloid", 11 * 25.4, 17 * 25.4),  # ASME Y14.1-2020, sizes A and B
    ("legal", 8.5 * 25.4, 14 * 25.4),  # common practice
])
def test_sizes(name: str, width: float, height: float) -> None:
    paper = PAPERS[name]
    assert (paper.width_mm, paper.height_mm) == pytest.approx((width, height), abs=1e-9)
    assert paper.source


# A size in mm over 25.4 times 72 (ISO 32000-1, 8.3.2.3); Letter is 612 x 792 by whole inches.
@pytest.mark.parametrize(("name", "points"), [
    ("a4", (595.2756, 841.8898)), ("a3", (841.8898, 1190.5512)), ("a5", (419.5276, 595.2756)), ("letter", (612, 792)),
])
def test_sizes_in_points(name: str, points: tuple[float, float]) -> None:
    paper = PAPERS[name]
    assert (paper.width_mm * POINTS_PER_MM, paper.height_mm * POINTS_PER_MM) == pytest.approx(points, abs=5e-5)


@pytest.mark.parametrize("name", ["a3", "a4", "a5"])
def test_the_a_series_keeps_its_proportion(name: str) -> None:
    paper = PAPERS[name]
    assert paper.height_mm / paper.width_mm == pytest.approx(math.sqrt(2), abs=0.006)  # ISO 216: 1 to the root of 2


def test_each_a_size_is_half_the_one_before_it() -> None:
    for larger, smaller in (("a3", "a4"), ("a4", "a5")):  # ISO 216: by halving, rounded down to a whole mm
        assert PAPERS[smaller].height_mm == PAPERS[larger].width_mm
        assert PAPERS[smaller].width_mm == PAPERS[larger].height_mm // 2


def test_every_paper_is_portrait_and_known_by_its_own_name() -> None:
    for name, paper in PAPERS.items():
        assert paper.name == name
        assert paper.width_mm < paper.height_mm
        assert paper_named(f" {name.upper()} ") == paper


def test_a_size_as_given_is_turned_to_portrait() -> None:
    assert (paper_named("297x210").width_mm, paper_named("297x210").height_mm) == (210, 297)
    sheet = paper_named("11x8.5in")
    assert (sheet.width_mm, sheet.height_mm) == pytest.approx((PAPERS["letter"].width_mm, PAPERS["letter"].height_mm))
    assert sheet.source == "as given"


@pytest.mark.parametrize("text", ["a44", "foolscap", "", "210", "10x20", "3000x4000"])
def test_other_paper_is_refused_with_a_way_out(text: str) -> None:
    with pytest.raises(BadValue) as caught:
        paper_named(text)
    assert caught.value.message.startswith("paper: ")
    assert repr(text) in caught.value.message
    assert caught.value.fix
