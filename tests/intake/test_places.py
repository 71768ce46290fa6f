"""What a file's name says: its place, its copies, and the card's name."""

from __future__ import annotations

import pytest

from server.intake.places import place_of


@pytest.mark.parametrize(("path", "title", "copies"), [
    ("fronts/harbour_lamp_x3.png", "harbour lamp", 3), ("fronts/lamps/fog.png", "fog", None),
    ("fronts/tide__2.png", "tide 2", None), ("fronts/_.png", "_", None), ("fronts/Sea-fret.png", "Sea-fret", None),
])
def test_the_name_of_a_card_is_said_without_underscores(path: str, title: str, copies: int | None) -> None:
    place = place_of(path)
    assert (place.title, place.copies, place.role) == (title, copies, "front")
