"""The card that art was drawn for: pixels at usual resolutions, a PDF's trim, the majority."""

from __future__ import annotations

import pytest

from server.core.art import Art, Card, Deck
from server.core.card_from_art import likely_card, with_card_of_art
from server.core.geometry import Edges
from server.core.settings import DeckSettings
from server.core.sizes import CARD_SIZES

MM = 25.4


def deck(*arts: Art) -> Deck:
    return Deck("Harbour", tuple(Card(art.file, art) for art in arts))


def picture(width: int, height: int, name: str = "a", claims: tuple[float, float] | None = None) -> Art:
    return Art(f"{name}.png", name, "png", width, height, size_mm=claims)


def page(width: float, height: float, trim: Edges | None = None) -> Art:
    return Art("a.pdf", "a#0", "pdf", size_mm=(width, height), trim_mm=trim)


@pytest.mark.parametrize("bleed", [0.0, 3.0, 3.175])
@pytest.mark.parametrize("ppi", [150, 200, 300, 600])
@pytest.mark.parametrize("name", [name for name in CARD_SIZES if name not in ("id-1", "square", "bridge-metric")])
def test_pixels_at_a_usual_resolution_tell_the_card(name: str, ppi: int, bleed: float) -> None:
    # Whole pixels of a size in inches or mm, as a drawing program makes them.
    size = CARD_SIZES[name]
    across, down = (round((side + 2 * bleed) * ppi / MM) for side in (size.width_mm, size.height_mm))
    for art in (picture(across, down), picture(down, across)):
        likely = likely_card(deck(art))
        assert likely is not None
        found = likely.size
        # At few pixels two sizes may be one picture; then either is right to half a millimetre.
        off = abs(found.width_mm - size.width_mm), abs(found.height_mm - size.height_mm)
        assert likely.card == name or max(off) < 1


@pytest.mark.parametrize(("art", "card"), [
    (picture(630, 880), "poker-metric"), (picture(815, 1110), "poker-metric"), (picture(880, 630), "poker-metric"),
    (picture(750, 1050), "poker"), (picture(825, 1125), "poker"), (picture(822, 1122), "poker"),
    (picture(827, 1417), "tarot"),
    (picture(700, 1200), "tarot"), (picture(1000, 1000), "square"), (picture(100, 400), None),
    (picture(800, 1500, claims=(67.7, 127.0)), None),
    (page(70, 120), "tarot"), (page(76, 126), "tarot"), (page(120, 70), "tarot"),
    (page(80, 130, Edges.all(5)), "tarot"), (page(106, 156, Edges.all(3)), "100x150"),
])
def test_art_tells_its_card(art: Art, card: str | None) -> None:
    likely = likely_card(deck(art))
    assert (likely.card if likely else None) == card


def test_the_majority_counts() -> None:
    tarot, other = [picture(827, 1417, f"t{number}") for number in range(3)], picture(750, 1050)
    likely = likely_card(deck(*tarot, other))
    assert likely is not None and (likely.card, likely.count, likely.fronts) == ("tarot", 3, 4)
    assert likely_card(deck(tarot[0], other)) is None


def test_an_untouched_deck_takes_it_and_says_so() -> None:
    told, settings = with_card_of_art(deck(picture(827, 1417)), DeckSettings(), chosen=False)
    assert settings.card == "tarot"
    assert [(one.code, one.severity, one.message) for one in told.problems] == [
        ("card-from-art", "note", "The card is Tarot (70 × 120 mm), since all fronts are drawn for it.")]


def test_a_chosen_size_is_kept_and_the_way_out_named() -> None:
    told, settings = with_card_of_art(deck(picture(827, 1417)), DeckSettings(), chosen=True)
    assert settings.card == "poker-metric"
    assert [(one.code, one.severity, one.message, one.fix) for one in told.problems] == [
        ("other-size", "warning",
         "All fronts are Tarot (70 × 120 mm), but the card is Poker, metric (63 × 88 mm).", "Use tarot?")]
    # Poker art on the metric card loses nothing, so there is nothing to say.
    assert with_card_of_art(deck(picture(750, 1050)), DeckSettings(), chosen=True)[0].problems == ()
