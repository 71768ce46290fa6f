"""Stock: grammage from pounds, calipers within published ranges, and the spine around a core."""

from __future__ import annotations

import math
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.stock import (
    BASIS_SIZES_IN,
    DEFAULT_STOCK,
    STOCKS,
    limits_of,
    pounds_to_grammage,
    sheet_weight_g,
    show_through,
    spine_mm,
    stock_named,
)
from server.errors import BadValue


# g/m2 to the pound: 1406.139 over the basis area in square inches. Computed from the exact pound (0.45359237 kg) and
# inch for 500 sheets; printed tables give the same rounded to 3.76, 1.48, 2.70, 1.81, 2.19 and 1.63.
@pytest.mark.parametrize(("basis", "size", "factor"), [
    ("bond", (17, 22), 3.7597), ("text", (25, 38), 1.4801), ("cover", (20, 26), 2.7041),
    ("index", (25.5, 30.5), 1.8080), ("bristol", (22.5, 28.5), 2.1928), ("tag", (24, 36), 1.6275),
])
def test_factors_to_the_pound(basis: str, size: tuple[float, float], factor: float) -> None:
    assert BASIS_SIZES_IN[basis] == size  # a printer's manual
    assert pounds_to_grammage(1, basis) == pytest.approx(factor, abs=5e-5)
    assert pounds_to_grammage(1, basis) * size[0] * size[1] == pytest.approx(1406.139, abs=5e-4)


# Computed; printed on packets as 75, 176, 199 and 216 g/m2.
@pytest.mark.parametrize(("pounds", "basis", "gsm", "printed"), [
    (20, "bond", 75.19, 75), (65, "cover", 175.77, 176), (110, "index", 198.88, 199), (80, "cover", 216.33, 216),
])
def test_usual_packets(pounds: float, basis: str, gsm: float, printed: int) -> None:
    assert pounds_to_grammage(pounds, basis) == pytest.approx(gsm, abs=0.005)
    assert round(pounds_to_grammage(pounds, basis)) == printed


def test_an_unknown_basis_is_refused_by_name() -> None:
    with pytest.raises(BadValue, match=r"basis: 'foolscap' is not known\. Use bond"):
        pounds_to_grammage(65, "foolscap")


# Ranges in mm: a printer maker's paper guide for 70 to 90 g/m2; a guide chart in thousandths of an inch for US card
# (8 pt, about 9 pt); merchants' tables from memory for smooth card of 160, 200, 250 and 300 g/m2.
@pytest.mark.parametrize(("name", "lowest", "highest"), [
    ("office-80", 0.086, 0.110), ("cover-65", 7.9 * 0.0254, 8.1 * 0.0254), ("index-110", 8.5 * 0.0254, 9.5 * 0.0254),
    ("card-160", 0.15, 0.17), ("card-200", 0.18, 0.21), ("card-250", 0.23, 0.26), ("card-300", 0.28, 0.32),
])
def test_calipers_lie_in_published_ranges(name: str, lowest: float, highest: float) -> None:
    assert lowest <= STOCKS[name].caliper_mm <= highest


def test_bulk_is_what_paper_has() -> None:
    # Caliper in micrometres is grammage times bulk in cm3/g (ISO 534, ISO 536: 100 g/m2 x 1.3 = 130); common practice
    # for office paper and card is 0.9 to 1.4.
    for stock in STOCKS.values():
        assert 0.9 <= stock.caliper_mm * 1000 / stock.grammage_gsm <= 1.4, stock.name


def test_every_stock_is_known_by_its_own_name_and_says_where_it_is_from() -> None:
    assert DEFAULT_STOCK in STOCKS
    for name, stock in STOCKS.items():
        assert stock_named(f" {name.upper()} ") == stock
        assert stock.name == name
        assert stock.source
    with pytest.raises(BadValue, match=r"stock: 'felt' is not known\. Use one of office-80"):
        stock_named("felt")


def test_the_spine_around_a_core() -> None:
    # T + pi c / 2, mid-plane neutral: two quarter turns of radius c / 2 (own geometry). 1.00 and 0.10 give 1.157 mm.
    assert spine_mm(1.00, 0.10) == pytest.approx(1.157, abs=5e-4)
    assert spine_mm(0.0, 0.10) == 0.0  # one crease


@given(st.floats(0.01, 20), st.floats(0.02, 1))
def test_the_spine_is_the_length_of_the_mid_plane(core: float, caliper: float) -> None:
    steps = 2000
    corner = [(caliper / 2 * math.cos(a), caliper / 2 * math.sin(a))
              for a in (math.pi / 2 * step / steps for step in range(steps + 1))]
    quarter = sum(math.dist(one, other) for one, other in pairwise(corner))
    assert spine_mm(core, caliper) == pytest.approx(core + 2 * quarter, rel=1e-6)


@given(st.floats(60, 400), st.floats(60, 400))
def test_heavier_paper_shows_less_through(one: float, other: float) -> None:
    lighter, heavier = sorted((one, other))
    assert 0 < show_through(heavier) <= show_through(lighter) < 1


def test_a_sheet_weighs_its_grammage_times_its_area() -> None:
    # ISO 536: A4 is 210 x 297 mm, so at 80 g/m2 a sheet weighs 80 x 0.06237 = 4.99 g.
    assert sheet_weight_g(80, 210, 297) == pytest.approx(4.99, abs=0.005)


def test_ranges_hold_the_likely_caliper_and_the_published_ones() -> None:
    for stock in STOCKS.values():
        assert stock.thinnest_mm < stock.caliper_mm < stock.thickest_mm, stock.name
    # A printer maker's paper guide: 70 to 90 g/m2 is 0.086 to 0.110 mm; a chart: 80 lb cover 9.5 pt, 100 lb 11 pt.
    assert (STOCKS["office-80"].thinnest_mm, STOCKS["office-80"].thickest_mm) == (0.086, 0.110)
    assert STOCKS["bond-20"].caliper_mm == pytest.approx(0.0038 * 25.4, abs=5e-4)  # a merchant's table
    assert STOCKS["cover-80"].caliper_mm == pytest.approx(9.5 * 0.0254, abs=5e-4)
    assert STOCKS["cover-100"].caliper_mm == pytest.approx(11 * 0.0254, abs=5e-4)


def test_own_stocks() -> None:
    ten = stock_named("10 sheets 1.02mm")
    assert ten.caliper_mm == pytest.approx(0.102) and ten.thinnest_mm < 0.102 < ten.thickest_mm
    assert stock_named("10 sheets measure 1.02 mm, 90 g/m²").grammage_gsm == 90
    assert stock_named("20 x 0.16in").caliper_mm == pytest.approx(0.16 * 25.4 / 20)
    assert stock_named("65lb cover").grammage_gsm == pytest.approx(175.77, abs=0.01)
    assert stock_named("65 lb cover").caliper_mm == pytest.approx(8 * 0.0254, rel=0.03)  # 8 pt, a merchant's chart
    assert stock_named("220 g/m²").bulk == pytest.approx(1.1, abs=0.01)
    for stock in (ten, stock_named("65lb cover"), stock_named("220gsm")):
        assert stock_named(stock.name) == stock  # what is kept reads back as itself
    for text in ("0 sheets 1mm", "10 sheets 90mm", "5000gsm", "65lb foolscap", "10 sheets"):
        with pytest.raises(BadValue, match=r"stock: |basis: "):
            stock_named(text)


def test_feeds_and_creases_say_what_they_may_not_take() -> None:
    assert limits_of(STOCKS["office-80"], turned=True, folded=True) == ()
    said = " ".join(limits_of(STOCKS["card-250"], turned=True, folded=True))
    assert "duplexers" in said and "scored" in said and "ommon practice" in said
    assert limits_of(STOCKS["card-200"], turned=False, folded=False) == ()
