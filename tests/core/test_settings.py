"""Settings as a form or a command line sends them, read once."""

from __future__ import annotations

from dataclasses import fields

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.core.geometry import Edges
from server.core.settings import DeckSettings
from server.errors import BadValue


def test_text_and_numbers_become_millimetres() -> None:
    """1/8 in = 3.175 mm (an inch is 25.4 mm exactly)."""
    settings = DeckSettings().changed({"bleed_mm": "0.125in", "gutter_mm": 4, "safe_mm": "2,5", "flip": "Short-Edge",
                                       "fold_on_cut": "yes", "card": "2.5x3.5in"})
    assert settings.bleed_mm == pytest.approx(3.175)
    assert (settings.gutter_mm, settings.safe_mm, settings.flip, settings.fold_on_cut) == (4.0, 2.5, "short-edge", True)
    assert settings.card_size.width_mm == pytest.approx(63.5)


@pytest.mark.parametrize(("field", "value"), [
    ("bleed_mm", "-1"), ("bleed_mm", "three"), ("bleed_mm", float("nan")), ("hinge_mm", "9"), ("method", "origami"),
    ("flip", ""), ("paper", "a99"), ("card", "63"), ("stock", "vellum"), ("edges", "blur"), ("nonsense", "1"),
    ("arrangement", "diagonal"), ("card_turned", "maybe"), ("core_mm", "1e3"),
])
def test_what_cannot_be_meant_names_field_and_way_out(field: str, value: object) -> None:
    with pytest.raises(BadValue) as caught:
        DeckSettings().changed({field: value})
    assert field.removesuffix("_mm") in caught.value.message
    assert caught.value.fix


def test_a_text_that_is_too_long_is_told_how_long_it_may_be() -> None:
    """A version stands in small letters on a card: 24 of them, where other texts have more room."""
    with pytest.raises(BadValue) as caught:
        DeckSettings().changed({"version": "0.3, " + "Tuesday " * 4})
    assert "is too long" in caught.value.message and caught.value.fix == "Use up to 24 letters."


def test_plain_values_go_out_and_come_back() -> None:
    settings = DeckSettings().changed({"paper": "letter", "method": "two-sheet", "card_turned": "yes", "core_mm": 1})
    assert DeckSettings().changed(settings.as_mapping()) == settings
    assert set(settings.as_mapping()) == {field.name for field in fields(DeckSettings)}


def test_no_edges_want_no_room_for_bleed() -> None:
    assert DeckSettings().changed({"edges": "none"}).request().bleed_mm == 0.0
    assert DeckSettings().request().bleed_mm == 3.0


def test_pins_and_margins_reach_the_search() -> None:
    settings = DeckSettings().changed({"arrangement": "landscape", "card_turned": "no", "margin_mm": "4"})
    request = settings.request()
    assert (request.arrangement, request.card_turned, request.margins) == ("landscape", False, Edges.all(4.0))
    assert settings.request(Edges(1, 2, 3, 4), 1.5).margins == Edges(1, 2, 3, 4)
    assert settings.request(headroom_mm=1.5).headroom_mm == 1.5


@given(st.dictionaries(st.sampled_from([field.name for field in fields(DeckSettings)]),
                       st.one_of(st.text(max_size=12), st.floats(), st.booleans(), st.integers()), max_size=3))
def test_anything_else_is_a_bad_value_never_another_error(values: dict[str, object]) -> None:
    try:
        DeckSettings().changed(values)
    except BadValue as error:
        assert error.message and error.fix
