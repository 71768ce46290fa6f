"""Change sheets by hand: what is built, less what is taken out, plus what is printed, is the new deck."""

from __future__ import annotations

from collections import Counter

from hypothesis import given
from hypothesis import strategies as st

from server.core.changes import RecordedCard, compare

CARDS = st.lists(st.builds(RecordedCard, st.sampled_from(["gull", "buoy", "wren"]), st.sampled_from("abc"),
                           st.sampled_from(["", "x", "y"]), st.integers(0, 4)), max_size=6)


def faces(cards, counted=None) -> Counter:
    built: Counter = Counter()
    for index, card in enumerate(cards):
        copies = card.copies if counted is None else sum(one.copies for one in counted if one.index == index)
        if copies:
            built[card.faces] += copies
    return built


@given(CARDS, CARDS)
def test_out_and_in_make_the_new_deck_with_the_fewest_cards(old, new):
    changes = compare(old, new)
    before, after = faces(old), faces(new)
    out, printed = faces(old, changes.take_out), faces(new, changes.printed)
    assert not out - before  # nothing is taken out that isn't there
    assert before - out + printed == after
    # Every card must leave of which there are more than wanted, and come of which there are fewer: no plan does less.
    assert sum(printed.values()) == sum((after - before).values())
    assert sum(out.values()) == sum((before - after).values())
    assert changes.nothing == (before == after)


@given(CARDS, CARDS)
def test_another_size_changes_every_card(old, new):
    changes = compare(old, new, same_size=False)
    assert faces(old, changes.take_out) == faces(old) and faces(new, changes.printed) == faces(new)


def test_names_tell_changed_from_new_and_gone():
    old = [RecordedCard("Gull", "a", "x", 2), RecordedCard("Buoy", "b", "x", 1), RecordedCard("Wren", "c", "x", 1)]
    new = [RecordedCard("gull", "a2", "x", 2), RecordedCard("Keel", "d", "x", 1), RecordedCard("Lark", "c", "x", 3)]
    changes = compare(old, new)
    (gull,) = changes.changed
    assert (gull.old, gull.new, gull.sides) == (0, 0, ("front",))
    assert (changes.added, changes.gone, changes.recounted) == ((1,), (1,), (2,))
    assert {(one.index, one.copies) for one in changes.printed} == {(0, 2), (1, 1), (2, 2)}
    assert {(one.index, one.copies) for one in changes.take_out} == {(0, 2), (1, 1)}
