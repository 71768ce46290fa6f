"""A card as layers: what they add up to, and the range that grows with the deck."""

from __future__ import annotations

import pytest

from server.core.card_stack import Thickness, card_layers, same_as
from server.core.stock import STOCKS

CARD = STOCKS["card-200"]


def test_one_sheet_two_sheets_and_a_core() -> None:
    assert Thickness.of(card_layers(CARD, 1, 1.0)).likely_mm == pytest.approx(0.195)  # a core needs two papers
    pair = Thickness.of(card_layers(CARD, 2, 0.0))
    assert pair.likely_mm == pytest.approx(2 * 0.195 + 0.02)
    cored = Thickness.of(card_layers(CARD, 2, 1.0))
    assert cored.likely_mm == pytest.approx(2 * 0.195 + 1.0 + 2 * 0.02)
    assert cored.least_mm == pytest.approx(2 * 0.180 + 0.95 + 2 * 0.01)
    assert cored.most_mm == pytest.approx(2 * 0.210 + 1.05 + 2 * 0.05)


def test_coats_and_sleeves_lie_on_both_sides() -> None:
    names = [layer.name for layer in card_layers(CARD, 2, 0.0, coated=True, sleeved=True)]
    assert names == ["sleeve", "clear coat", CARD.label, "glue", CARD.label, "clear coat", "sleeve"]


def test_a_deck_grows_with_its_range_and_stands_beside_a_reference() -> None:
    one = Thickness.of(card_layers(CARD, 1, 0.0))
    deck = Thickness.of(card_layers(CARD, 1, 0.0), 54)
    assert deck.most_mm - deck.least_mm == pytest.approx(54 * (one.most_mm - one.least_mm))
    assert "0.7 times as thick as" in same_as(deck, 54, 54, 15.0)
    assert "about as thick as one of a deck of 54 that measures 10.5 mm" in same_as(deck, 54, 54, 10.5)
