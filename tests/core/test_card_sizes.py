"""Card sizes: one standard, and common practice for the rest."""

from __future__ import annotations

import pytest

from server.core.sizes import CARD_SIZES, DEFAULT_CARD, card_size_named
from server.errors import BadValue


def test_the_wallet_card_is_id_1() -> None:
    card = CARD_SIZES["id-1"]
    assert (card.width_mm, card.height_mm) == (85.60, 53.98)  # ISO/IEC 7810, nominal
    assert 2.88 <= card.corner_radius_mm <= 3.48  # ISO/IEC 7810: 3.18 +- 0.30 mm
    assert card.source == "ISO/IEC 7810"


# Common practice, no published standard: inch sizes and their rounded metric twins.
@pytest.mark.parametrize(("name", "width", "height"), [
    ("poker", 63.5, 88.9), ("poker-metric", 63, 88), ("bridge", 57.15, 88.9), ("bridge-metric", 57, 88),
    ("tarot", 70, 120), ("mini", 44, 68), ("square", 70, 70),
])
def test_common_sizes(name: str, width: float, height: float) -> None:
    card = CARD_SIZES[name]
    assert (card.width_mm, card.height_mm) == pytest.approx((width, height), abs=1e-9)
    assert 3.0 <= card.corner_radius_mm <= 3.5  # common practice
    assert card.source == "common practice"


def test_a_poker_card_at_300_ppi_is_750_by_1050_pixels() -> None:
    card = CARD_SIZES["poker"]  # 2.5 x 3.5 in
    assert (card.width_mm / 25.4 * 300, card.height_mm / 25.4 * 300) == pytest.approx((750, 1050), abs=1e-9)


def test_every_size_is_known_by_its_own_name() -> None:
    assert DEFAULT_CARD in CARD_SIZES
    for name, card in CARD_SIZES.items():
        assert card.name == name
        assert card_size_named(f" {name.title()} ") == card


def test_a_size_as_given_keeps_its_order() -> None:
    card = card_size_named("88x63")
    assert (card.width_mm, card.height_mm, card.name) == (88, 63, "88x63")
    by_inch = card_size_named("2.5x3.5in")
    assert (by_inch.width_mm, by_inch.height_mm) == pytest.approx((63.5, 88.9))
    assert card_size_named(by_inch.name).width_mm == by_inch.width_mm  # the name can be typed again


@pytest.mark.parametrize("text", ["", "jumbo", "63", "5x88", "63x900", "63x0"])
def test_other_sizes_are_refused_with_a_way_out(text: str) -> None:
    with pytest.raises(BadValue) as caught:
        card_size_named(text)
    assert caught.value.message.startswith("card: ")
    assert repr(text) in caught.value.message
    assert caught.value.fix
