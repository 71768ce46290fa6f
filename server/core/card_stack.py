"""A finished card as a stack of layers, so that the thickness of a card and of the whole deck is known with a range.

The ranges of paper come from the stock; those of glue, coat and sleeve are common practice, for no standard says them.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from server.core.stock import Stock
from server.core.units import mm_text

# A reference most people have at hand: a printed deck of 52 measures 15 to 17 mm, 0.28 to 0.32 mm a card (common
# practice; no standard). A deck that the user has measured takes its place.
REFERENCE_CARDS, REFERENCE_MM = 52, 15.6


@dataclass(frozen=True, slots=True)
class Layer:
    """One layer of a card: thickness in mm, likely, least and most."""

    name: str
    likely_mm: float
    least_mm: float
    most_mm: float


@dataclass(frozen=True, slots=True)
class Thickness:
    """A thickness in mm with its range."""

    likely_mm: float
    least_mm: float
    most_mm: float

    @classmethod
    def of(cls, layers: Iterable[Layer], count: int = 1) -> Thickness:
        """Of ``count`` cards: sheets of one packet are alike, so the range grows with the number."""
        found = tuple(layers)
        return cls(*(count * sum(getattr(layer, field) for layer in found)
                     for field in ("likely_mm", "least_mm", "most_mm")))

    def says(self, digits: int = 2) -> str:
        return (f"{mm_text(self.likely_mm, digits)} mm ({mm_text(self.least_mm, digits)} to "
                f"{mm_text(self.most_mm, digits)})")


# All common practice: a film of spray or stick glue; a coat of clear varnish on one side; film of a sleeve, of which
# two lie over each other; a margin by which a sleeve is larger than the card that it is sold for.
GLUE = Layer("glue", 0.02, 0.01, 0.05)
COAT = Layer("clear coat", 0.01, 0.005, 0.02)
SLEEVE_FILM = Layer("sleeve", 0.06, 0.04, 0.10)
SLEEVE_WIDER_MM, SLEEVE_HIGHER_MM = 3.0, 3.0


def card_layers(stock: Stock, papers: int, core_mm: float, *, coated: bool = False,
                sleeved: bool = False) -> tuple[Layer, ...]:
    """The layers of one card from front to back: ``papers`` 1 or 2, with a core between two where ``core_mm`` > 0."""
    paper = Layer(stock.label, stock.caliper_mm, stock.thinnest_mm, stock.thickest_mm)
    if papers == 1:
        inner: tuple[Layer, ...] = (paper,)
    elif core_mm > 0:
        # Greyboard is sold to a tolerance of 0.05 mm below 3 mm (suppliers' tables).
        inner = (paper, GLUE, Layer("core", core_mm, max(0.0, core_mm - 0.05), core_mm + 0.05), GLUE, paper)
    else:
        inner = (paper, GLUE, paper)
    for outer, wanted in ((COAT, coated), (SLEEVE_FILM, sleeved)):
        inner = (outer, *inner, outer) if wanted else inner
    return inner


def same_as(deck: Thickness, cards: int, reference_cards: int = REFERENCE_CARDS,
            reference_mm: float = REFERENCE_MM) -> str:
    """A deck's thickness beside one that can be held, in words."""
    each, theirs = deck.likely_mm / max(cards, 1), reference_mm / reference_cards
    ratio = each / theirs
    how = "about as thick as" if 0.93 <= ratio <= 1.07 else f"{mm_text(ratio, 1)} times as thick as"
    return (f"A card is {how} one of a deck of {reference_cards} that measures {mm_text(reference_mm, 1)} mm "
            f"({mm_text(theirs, 3)} mm each).")
