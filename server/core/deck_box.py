"""The box of a deck that has been laid out: how large the deck is, and what lies on each panel."""

from __future__ import annotations

import re
from collections.abc import Mapping

from server.core.art import Deck
from server.core.box import Box, box_for
from server.core.card_sizes import CardSize
from server.core.card_stack import SLEEVE_HIGHER_MM, SLEEVE_WIDER_MM, Layer, Thickness
from server.core.paper import Paper
from server.core.wording import shown
from server.errors import BadValue

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
