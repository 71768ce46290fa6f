"""A finished card as a stack of layers: how thick a card and the whole deck are, with a range, and the deck's box.

The ranges of paper come from the stock; those of glue, coat and sleeve are common practice, for no standard says them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from server.core.art import Deck
from server.core.box import Box, box_for
from server.core.sizes import CardSize, Paper
from server.core.stock import Stock
from server.core.units import mm_text
from server.core.wording import shown
from server.errors import BadValue

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


Rgb = tuple[int, int, int]
ALL = "all"
_COLOUR = re.compile(r"#[0-9a-f]{6}", re.IGNORECASE)
_WRITTEN = "Write it as front=#1f5f6b, back=backs/back.png or all=#1f5f6b, with commas between several."


def deck_mm(card: CardSize, layers: tuple[Layer, ...], cards: int, *, sleeved: bool) -> tuple[float, float, float]:
    """Width, height and likely thickness of a stack of ``cards`` in mm, sleeves counted in."""
    wider, higher = (SLEEVE_WIDER_MM, SLEEVE_HIGHER_MM) if sleeved else (0.0, 0.0)
    return card.width_mm + wider, card.height_mm + higher, Thickness.of(layers, cards).likely_mm


def dress_named(text: str) -> dict[str, str]:
    """What lies on panels, by panel: a colour such as ``#1f5f6b``, or an art's file. ``all`` is every panel that isn't
    named. Raises BadValue, naming the part that can't be read."""
    dress: dict[str, str] = {}
    for part in filter(None, (one.strip() for one in text.split(","))):
        name, equals, what = (side.strip() for side in part.partition("="))
        if not (equals and name and what):
            raise BadValue(f"box_panels: {shown(part)} names no panel and what lies on it.", _WRITTEN)
        if what.startswith("#") and not _COLOUR.fullmatch(what):
            raise BadValue(f"box_panels: {shown(what)} is no colour.", _WRITTEN)
        dress[name.lower()] = what
    return dress


def rgb_of(what: str) -> Rgb | None:
    """The colour that ``what`` names, None where it names art."""
    if not _COLOUR.fullmatch(what):
        return None
    return int(what[1:3], 16), int(what[3:5], 16), int(what[5:7], 16)


def check_dress(box: Box, dress: Mapping[str, str], deck: Deck) -> None:
    """Raises BadValue for a panel that the box hasn't, or art that the deck hasn't."""
    files = {art.file for card in deck.cards for art in (card.front, card.back) if art}
    for name, what in dress.items():
        if name != ALL:
            box.panel(name)
        if rgb_of(what) is None and what not in files:
            raise BadValue(f"box_panels: {shown(what)} is no art of this deck.",
                           "Name a file as the Art page does, or a colour such as #1f5f6b.")


def box_of_deck(kind: str, card: CardSize, layers: tuple[Layer, ...], cards: int, paper: Paper, *, clearance_mm: float,
                sleeved: bool, margin_mm: float, caliper_mm: float) -> Box:
    """The box for that many cards. Raises BadValue, DoesNotFit as ``box_for`` does."""
    return box_for(kind, deck_mm(card, layers, cards, sleeved=sleeved), paper, clearance_mm=clearance_mm,
                   margin_mm=margin_mm, caliper_mm=caliper_mm)
