"""Words of dots: far apart however they are turned, and told apart where one dot is misread or two are hidden."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.camera_marks import DECK_WORDS, DOTS, STATION_WORDS, WORDS, is_large, ring_points, told_apart


def turns(word: int) -> list[int]:
    text = format(word, f"0{DOTS}b")
    return [int(text[at:] + text[:at], 2) for at in range(DOTS)]


def apart(one: int, other: int) -> int:
    return (one ^ other).bit_count()


def test_words_are_four_dots_apart_under_any_turn() -> None:
    assert len(set(WORDS)) == len(STATION_WORDS) + len(DECK_WORDS) == len(WORDS)
    for at, word in enumerate(WORDS):
        assert all(apart(word, other) >= 4 for other in turns(word)[1:])
        assert all(apart(word, other) >= 4 for later in WORDS[at + 1:] for other in turns(later))
        mirrored = int(format(word, f"0{DOTS}b")[::-1], 2)
        assert all(apart(mirrored, other) >= 2 for any_word in WORDS for other in turns(any_word))


def test_dots_are_read_clockwise_from_the_top() -> None:
    points = ring_points()
    assert points[0] == (0.0, -6.0) and points[1][0] > 0 and abs(points[7][1] - 6.0) < 1e-9


@settings(max_examples=40, deadline=None)
@given(st.integers(0, len(WORDS) - 1), st.integers(0, DOTS - 1), st.integers(0, DOTS - 1), st.booleans())
def test_a_word_is_told_with_its_turn_whatever_dot_is_lost(place: int, turn: int, lost: int, mirrored: bool) -> None:
    sizes: list[bool | None] = [is_large(WORDS[place], dot) for dot in range(DOTS)]
    if mirrored:
        sizes = [sizes[0], *sizes[:0:-1]]
    sizes = sizes[turn:] + sizes[:turn]
    assert told_apart(sizes) == (place, turn, mirrored)
    sizes[lost] = None
    assert told_apart(sizes) == (place, turn, mirrored)
    sizes[(lost + 3) % DOTS] = not sizes[(lost + 3) % DOTS]
    found = told_apart(sizes)  # another word only as its mirror, which a sheet's rings outvote
    assert found is None or found == (place, turn, mirrored) or found[2] != mirrored
