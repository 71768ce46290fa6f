"""What a deck costs to make: ink or toner by channel, time from sheets, cuts and folds, money by own prices.

Times are a rough guide for careful hands with a knife and a ruler (common practice, no standard); they serve to
compare one way of building with another, and drying isn't counted. A printer's own separation isn't known, so ink is
the mean cover of the whole page by the plain rule, for red, green and blue from 0 to 1: K = 1 - max(R, G, B),
C = 1 - R - K, M = 1 - G - K, Y = 1 - B - K.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from server.core.methods import method_named
from server.core.plan import SheetPlan
from server.core.sizes import paper_named

# With pale ink, white of this opacity lies over the art, so that it takes that share of ink less.
PALE = 0.5


@dataclass(frozen=True, slots=True)
class Ink:
    """Mean cover of a page by each channel, in percent."""

    cyan_percent: float = 0.0
    magenta_percent: float = 0.0
    yellow_percent: float = 0.0
    black_percent: float = 0.0

    @classmethod
    def seen(cls, red: float, green: float, blue: float, brightest: float) -> Ink:
        """From the means of R, G, B and of the largest of the three in each pixel, 0 to 1 each."""
        return cls(*(100.0 * max(0.0, part) for part in
                     (brightest - red, brightest - green, brightest - blue, 1.0 - brightest)))

    @property
    def total(self) -> float:
        """All channels together, in percent of the page."""
        return self.cyan_percent + self.magenta_percent + self.yellow_percent + self.black_percent

    def scaled(self, share: float) -> Ink:
        return Ink(self.cyan_percent * share, self.magenta_percent * share, self.yellow_percent * share,
                   self.black_percent * share)

    def plus(self, other: Ink) -> Ink:
        return Ink(self.cyan_percent + other.cyan_percent, self.magenta_percent + other.magenta_percent,
                   self.yellow_percent + other.yellow_percent, self.black_percent + other.black_percent)

    def as_mapping(self) -> dict[str, float]:
        """By the names that every face of the program uses, rounded for people."""
        return {"cyan_percent": round(self.cyan_percent, 2), "magenta_percent": round(self.magenta_percent, 2),
                "yellow_percent": round(self.yellow_percent, 2), "black_percent": round(self.black_percent, 2)}


def mean_of(pages: Iterable[Ink]) -> Ink:
    """The mean over pages of one size; none take none."""
    found = tuple(pages)
    total = Ink()
    for one in found:
        total = total.plus(one)
    return total.scaled(1.0 / len(found)) if found else total


def saved_percent(printed: Ink, full: Ink) -> float:
    """How much less ``printed`` takes than ``full``, in percent of it."""
    return 100.0 * (1.0 - printed.total / full.total) if full.total > 0 else 0.0


Care = Literal["money", "minutes", "sheets", "cuts", "ink"]
CARES: tuple[Care, ...] = ("money", "minutes", "sheets", "cuts", "ink")

# Minutes for one of each (common practice).
FEED_MINUTES = 0.3  # a face through the printer, looked at
CUT_MINUTES = 0.5
CREASE_MINUTES = 0.7
GLUE_MINUTES = 3.0  # a sheet: spread, laid together, rubbed down
HINGE_MINUTES = 4.0  # two sheets aligned against the light and taped
CORE_MINUTES = 3.0
PAIR_MINUTES = 0.7  # a card folded and closed by itself
# Cartridges state their yield at about this cover of a page by one ink (ISO/IEC 24712's pages; from memory).
STATED_COVER_PERCENT = 5.0


@dataclass(frozen=True, slots=True)
class Prices:
    """The user's own, in their own money. ``page_of_ink``: a page at 5 % cover by one ink, that is, a cartridge's
    price divided by the pages it is said to print."""

    sheet: float = 0.0
    page_of_ink: float = 0.0


@dataclass(frozen=True, slots=True)
class CostRow:
    """One way to build the deck. ``ink`` is the mean cover of all printed pages, ``pages`` how many there are."""

    method: str
    paper: str
    sheets: int
    papers: int
    pages: int
    cuts: int
    minutes: float
    ink: Ink
    money: float

    @property
    def ink_a4_pages(self) -> float:
        """How many A4 pages the ink of all channels would cover solid: comparable, since pages differ in size."""
        paper, a4 = paper_named(self.paper), paper_named("a4")
        share = paper.width_mm * paper.height_mm / (a4.width_mm * a4.height_mm)
        return self.ink.total / 100 * self.pages * share

    def of(self, care: Care) -> float:
        """What is compared: less is better."""
        return {"money": self.money, "minutes": self.minutes, "sheets": float(self.papers),
                "cuts": float(self.cuts), "ink": self.ink_a4_pages}[care]


def minutes_of(plan: SheetPlan, cuts: int, core_mm: float) -> float:
    """How long the sheets take from the printer to cut cards, drying left out."""
    layout, method = plan.layout, method_named(plan.layout.method)
    total = len(plan.faces) * FEED_MINUTES + cuts * CUT_MINUTES
    for sheet in range(plan.sheet_count):
        cards = len(plan.cards_on(sheet))
        if layout.in_pairs:
            total += cards * (PAIR_MINUTES + CREASE_MINUTES)
            continue
        total += len(layout.creases_on(cards)) * CREASE_MINUTES
        total += GLUE_MINUTES if method.glued and layout.has_backs else 0.0
        total += HINGE_MINUTES if layout.hinge else 0.0
        total += CORE_MINUTES if core_mm > 0 and "core_mm" in method.honours else 0.0
    return total


def money_of(papers: int, pages: int, ink: Ink, area_share: float, prices: Prices) -> float:
    """Paper and ink. ``area_share`` is the page's area against A4's, which cartridges' pages are."""
    return papers * prices.sheet + pages * area_share * ink.total / STATED_COVER_PERCENT * prices.page_of_ink


def best_of(rows: Iterable[CostRow], care: Care) -> CostRow | None:
    """The row with the least of what the user cares for; where two tie, the one with fewer minutes, then papers."""
    return min(rows, key=lambda row: (round(row.of(care), 6), row.minutes, row.papers), default=None)
