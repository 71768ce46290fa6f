"""Stock: what the cards are printed on, by grammage and caliper.

Grammage is mass per area (ISO 536), caliper the thickness of a single sheet (ISO 534). A home user knows the
grammage on the packet; the caliper follows from the kind of paper, so both stand here together.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from server.errors import BadValue


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of paper. ``show_through`` is the share of the back's ink seen through it against a light, 0 to 1."""

    name: str
    label: str
    grammage_gsm: float
    caliper_mm: float
    show_through: float
    source: str


def show_through(grammage_gsm: float) -> float:
    """How much of the back is seen through the sheet against a light, 0 to 1.

    A rule for the screen, not a measurement: an exponential fall, 0.75 at 80 g/m2, near 0.35 at 300 (common
    practice: office paper reads well against a window, heavy card barely).
    """
    return min(0.95, 0.75 * math.exp(-(grammage_gsm - 80.0) / 290.0))


def _stock(name: str, label: str, grammage: float, caliper_mm: float, source: str) -> Stock:
    return Stock(name, label, grammage, caliper_mm, show_through(grammage), source)


# Calipers: office paper by a printer maker's paper guide (70 to 90 g/m2: 0.086 to 0.110 mm); 65 lb cover 8 pt and
# 110 lb index about 9 pt by a merchant's chart; smooth card from memory of merchants' tables (middle of each range).
STOCKS: dict[str, Stock] = {
    stock.name: stock
    for stock in (
        _stock("office-80", "Office paper, 80 g/m²", 80.0, 0.100, "printer maker's paper guide"),
        _stock("office-100", "Heavy office paper, 100 g/m²", 100.0, 0.125, "bulk about 1.25 cm3/g, common practice"),
        _stock("card-160", "Light card, 160 g/m²", 160.0, 0.160, "from memory of merchants' tables"),
        _stock("cover-65", "65 lb cover, 176 g/m²", 175.77, 0.203, "merchant's chart: 8 pt"),
        _stock("card-200", "Card, 200 g/m²", 200.0, 0.195, "from memory of merchants' tables"),
        _stock("index-110", "110 lb index, 199 g/m²", 198.88, 0.229, "merchant's chart: about 9 pt"),
        _stock("card-250", "Heavy card, 250 g/m²", 250.0, 0.245, "from memory of merchants' tables"),
        _stock("card-300", "Board, 300 g/m²", 300.0, 0.300, "from memory of merchants' tables"),
    )
}
DEFAULT_STOCK = "card-200"

# Basis sizes in inches; a ream of 500 sheets of that size weighs the named pounds (printer manual).
BASIS_SIZES_IN: dict[str, tuple[float, float]] = {
    "bond": (17.0, 22.0), "text": (25.0, 38.0), "cover": (20.0, 26.0), "index": (25.5, 30.5),
    "bristol": (22.5, 28.5), "tag": (24.0, 36.0),
}
_GSM_PER_LB_IN2 = 0.45359237 * 1000 / (500 * 0.0254**2)  # 1406.139: exact pound and inch, 500 sheets


def pounds_to_grammage(pounds: float, basis: str) -> float:
    """Grammage in g/m2 of paper sold as ``pounds`` of a basis such as "cover". Raises BadValue."""
    if basis not in BASIS_SIZES_IN:
        raise BadValue(f"basis: {basis!r} is not known.", f"Use {', '.join(BASIS_SIZES_IN)}.")
    width, height = BASIS_SIZES_IN[basis]
    return pounds * _GSM_PER_LB_IN2 / (width * height)


def stock_named(text: str) -> Stock:
    """A stock by its name. Raises BadValue, naming those that are known."""
    try:
        return STOCKS[text.strip().lower()]
    except KeyError:
        raise BadValue(f"stock: {text!r} is not known.", f"Use one of {', '.join(STOCKS)}.") from None


def spine_mm(core_mm: float, caliper_mm: float) -> float:
    """Width of paper between the two panels around a core: two quarter turns about its edges, T + pi c / 2.

    Mid-plane neutral. With no core there is one crease and no spine: 0.
    """
    return core_mm + math.pi * caliper_mm / 2 if core_mm > 0 else 0.0
