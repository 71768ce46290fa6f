"""What a deck costs to make: time from sheets, cuts and folds, and money from the user's own prices.

Times are a rough guide for careful hands with a knife and a ruler (common practice, no standard); they serve to
compare one way of building with another, and drying isn't counted.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

from server.core.ink import Ink
from server.core.methods import method_named
from server.core.plan import SheetPlan

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

    def of(self, care: Care) -> float:
        """What is compared: less is better. Ink counts by area, since pages differ in size."""
        return {"money": self.money, "minutes": self.minutes, "sheets": float(self.papers),
                "cuts": float(self.cuts), "ink": self.ink.total * self.pages}[care]


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
