"""Stock: what the cards are printed on, by grammage, bulk and caliper, with the range that a packet may have.

Grammage is mass per area (ISO 536), caliper the thickness of a single sheet (ISO 534), and caliper in micrometres is
grammage times bulk in cm3/g. A home user knows the grammage on the packet, or has a caliper gauge and ten sheets.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

from server.core.units import mm_text, parse_length
from server.errors import BadValue


@dataclass(frozen=True, slots=True)
class Stock:
    """A kind of paper. ``caliper_mm`` is the likely thickness of a sheet, ``thinnest_mm`` and ``thickest_mm`` what a
    packet of that name may have; ``show_through`` is the share of the back's ink seen through it against a light."""

    name: str
    label: str
    grammage_gsm: float
    caliper_mm: float
    thinnest_mm: float
    thickest_mm: float
    source: str

    @property
    def bulk(self) -> float:
        """Volume per mass in cm3/g: caliper in micrometres over grammage (ISO 534, ISO 536)."""
        return self.caliper_mm * 1000.0 / self.grammage_gsm

    @property
    def show_through(self) -> float:
        return show_through(self.grammage_gsm)


def show_through(grammage_gsm: float) -> float:
    """How much of the back is seen through the sheet against a light, 0 to 1.

    A rule for the screen, not a measurement: an exponential fall, 0.75 at 80 g/m2, near 0.35 at 300 (common
    practice: office paper reads well against a window, heavy card barely).
    """
    return min(0.95, 0.75 * math.exp(-(grammage_gsm - 80.0) / 290.0))


# Basis sizes in inches; a ream of 500 sheets of that size weighs the named pounds (a printer's manual).
BASIS_SIZES_IN: dict[str, tuple[float, float]] = {
    "bond": (17.0, 22.0), "text": (25.0, 38.0), "cover": (20.0, 26.0), "index": (25.5, 30.5),
    "bristol": (22.5, 28.5), "tag": (24.0, 36.0),
}
_GSM_PER_LB_IN2 = 0.45359237 * 1000 / (500 * 0.0254**2)  # 1406.139: exact pound and inch, 500 sheets
# Least, likely and most bulk in cm3/g, common practice: bond, cover and index by their usual calipers (20 lb bond
# 0.0038 in; 65 lb cover 8 pt, 80 lb 9.5 pt, 100 lb 11 pt; 110 lb index about 9 pt).
BASIS_BULKS: dict[str, tuple[float, float, float]] = {
    "bond": (1.15, 1.29, 1.40), "text": (0.80, 1.10, 1.35), "cover": (0.95, 1.13, 1.30), "index": (1.05, 1.15, 1.25),
    "bristol": (1.05, 1.20, 1.40), "tag": (1.00, 1.15, 1.30),
}


def pounds_to_grammage(pounds: float, basis: str) -> float:
    """Grammage in g/m2 of paper sold as ``pounds`` of a basis such as "cover". Raises BadValue."""
    if basis not in BASIS_SIZES_IN:
        raise BadValue(f"basis: {basis!r} is not known.", f"Use {', '.join(BASIS_SIZES_IN)}.")
    width, height = BASIS_SIZES_IN[basis]
    return pounds * _GSM_PER_LB_IN2 / (width * height)


def sheet_weight_g(grammage_gsm: float, width_mm: float, height_mm: float) -> float:
    """What one sheet weighs (ISO 536: grammage is mass per area); A4 at 80 g/m2 weighs 4.99 g."""
    return grammage_gsm * width_mm * height_mm / 1e6


_COMMON = "common practice"
STOCKS: dict[str, Stock] = {
    stock.name: stock
    for stock in (
        Stock("office-80", "Office paper, 80 g/m²", 80.0, 0.100, 0.086, 0.110, _COMMON),
        Stock("bond-20", "20 lb bond, 75 g/m²", pounds_to_grammage(20, "bond"), 0.097, 0.092, 0.102, _COMMON),
        Stock("office-100", "Heavy office paper, 100 g/m²", 100.0, 0.125, 0.110, 0.135, _COMMON),
        Stock("card-160", "Light card, 160 g/m²", 160.0, 0.160, 0.150, 0.170, _COMMON),
        Stock("cover-65", "65 lb cover, 176 g/m²", pounds_to_grammage(65, "cover"), 0.203, 0.193, 0.216, _COMMON),
        Stock("card-200", "Card, 200 g/m²", 200.0, 0.195, 0.180, 0.210, _COMMON),
        Stock("index-110", "110 lb index, 199 g/m²", pounds_to_grammage(110, "index"), 0.229, 0.216, 0.241, _COMMON),
        Stock("cover-80", "80 lb cover, 216 g/m²", pounds_to_grammage(80, "cover"), 0.241, 0.229, 0.254, _COMMON),
        Stock("card-250", "Heavy card, 250 g/m²", 250.0, 0.245, 0.230, 0.260, _COMMON),
        Stock("cover-100", "100 lb cover, 270 g/m²", pounds_to_grammage(100, "cover"), 0.279, 0.267, 0.292, _COMMON),
        Stock("card-300", "Board, 300 g/m²", 300.0, 0.300, 0.280, 0.320, _COMMON),
    )
}
DEFAULT_STOCK = "card-200"

_FORMS = "or your own: 200gsm, 65lb cover, 10 sheets 1.02mm"
_NUMBER = r"(\d+(?:[.,]\d+)?)"
_GRAMS = re.compile(rf"{_NUMBER}\s*(?:g|gsm|g/m2|g/m²)", re.IGNORECASE)
_POUNDS = re.compile(rf"{_NUMBER}\s*(?:lbs?|#)\s*([a-z]+)", re.IGNORECASE)
_MEASURED = re.compile(rf"(\d+)\s*(?:sheets?|x)[\s:=,]*(?:measure\s+|are\s+)?([\d.,]+\s*(?:mm|in|\")?)"
                       rf"(?:[\s,]+{_NUMBER}\s*(?:g|gsm|g/m2|g/m²))?", re.IGNORECASE)
# Office paper and card from smooth to rough (common practice), where nothing else is known.
_ANY_BULK = (0.90, 1.10, 1.35)
_GAUGE_MM = 0.02  # what a caliper gauge in a home reads to (common practice)


def stock_named(text: str) -> Stock:
    """A stock by its name, by a grammage ("220gsm"), by US pounds ("65lb cover"), or by a measured pack ("10 sheets
    1.02mm", with "90gsm" after it where that is known). Raises BadValue, naming what is known.

    A pack measured whole is the bulking thickness of ISO 534, which may differ a little from a single sheet's caliper.
    """
    plain = text.strip().lower()
    known = STOCKS.get(plain)
    if known:
        return known
    for form, read in ((_MEASURED, _measured), (_POUNDS, _by_pounds), (_GRAMS, _by_grams)):
        found = form.fullmatch(plain)
        if found:
            stock = read(found)
            if not (0.03 <= stock.caliper_mm <= 2.0 and 30.0 <= stock.grammage_gsm <= 1500.0):
                raise BadValue(f"stock: {text!r} is {mm_text(stock.caliper_mm, 3)} mm thick at "
                               f"{stock.grammage_gsm:.0f} g/m², which no paper is.",
                               "Give 30 to 1500 g/m², or sheets of 0.03 to 2 mm.")
            return stock
    raise BadValue(f"stock: {text!r} is not known.", f"Use one of {', '.join(STOCKS)}, {_FORMS}.")


def _value(text: str) -> float:
    return float(text.replace(",", "."))


def _of_bulk(name: str, label: str, grammage_gsm: float, bulk: tuple[float, float, float], source: str) -> Stock:
    thin, likely, thick = (round(grammage_gsm * one / 1000.0, 4) for one in bulk)
    return Stock(name, label, grammage_gsm, likely, thin, thick, source)


def _by_grams(found: re.Match[str]) -> Stock:
    grammage = _value(found[1])
    return _of_bulk(f"{grammage:g}gsm", f"{grammage:g} g/m²", grammage, _ANY_BULK, "usual bulk, common practice")


def _by_pounds(found: re.Match[str]) -> Stock:
    pounds, basis = _value(found[1]), found[2].lower()
    grammage = pounds_to_grammage(pounds, basis)
    return _of_bulk(f"{pounds:g}lb {basis}", f"{pounds:g} lb {basis}, {grammage:.0f} g/m²", grammage,
                    BASIS_BULKS[basis], f"the usual bulk of {basis}, {_COMMON}")


def _measured(found: re.Match[str]) -> Stock:
    sheets = int(found[1])
    if sheets == 0:
        raise BadValue("stock: a pack of 0 sheets can't be measured.", "Measure ten, such as 10 sheets 1.02mm.")
    pack = parse_length(found[2], "stock")
    each, off = pack / sheets, _GAUGE_MM / sheets
    grammage = _value(found[3]) if found[3] else each * 1000.0 / _ANY_BULK[1]
    grams = f", {grammage:g} g/m²" if found[3] else ""
    name = f"{sheets} sheets {mm_text(pack, 3)}mm" + (f" {grammage:g}gsm" if found[3] else "")
    return Stock(name, f"Measured, {mm_text(each, 3)} mm{grams}", grammage, each, each - off, each + off,
                 f"{sheets} sheets measured {mm_text(pack, 3)} mm, read to {_GAUGE_MM} mm")


def spine_mm(core_mm: float, caliper_mm: float) -> float:
    """Width of paper between the two panels around a core: two quarter turns about its edges, T + pi c / 2.

    Mid-plane neutral. With no core there is one crease and no spine: 0.
    """
    return core_mm + math.pi * caliper_mm / 2 if core_mm > 0 else 0.0


# Above these, in g/m2, home printers and bare folds tend to give up. All common practice: a printer's own manual rules.
DUPLEXER_GSM, TRAY_GSM, STRAIGHT_GSM = 160.0, 220.0, 300.0
SCORE_GSM, CRACKS_GSM = 200.0, 300.0


def limits_of(stock: Stock, *, turned: bool, folded: bool) -> tuple[str, ...]:
    """What feeds and creases may not take of a stock: ``turned`` where a duplexer turns it, ``folded`` where it is
    creased. Each a sentence; none where it is ordinary paper."""
    grams, said = stock.grammage_gsm, []
    if grams > STRAIGHT_GSM:
        said.append(f"Many home printers take no more than {STRAIGHT_GSM:.0f} g/m² even by the straight feed.")
    elif grams > TRAY_GSM:
        said.append(f"Over {TRAY_GSM:.0f} g/m² it usually has to go by the straight feed, one sheet at a time.")
    if turned and grams > DUPLEXER_GSM:
        said.append(f"Many duplexers take no more than {DUPLEXER_GSM:.0f} g/m²; turn the sheets by hand.")
    if folded and grams > CRACKS_GSM:
        said.append(f"Over {CRACKS_GSM:.0f} g/m² a crease cracks unless it is scored, and even then across the grain.")
    elif folded and grams >= SCORE_GSM:
        said.append(f"From {SCORE_GSM:.0f} g/m² on it wants a scored line before it is folded.")
    return tuple(f"{sentence} (Common practice; the printer's manual decides.)" for sentence in said)
