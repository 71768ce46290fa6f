"""deck.csv: what it may say, and what becomes of what it gets wrong."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.art import Override
from tests.intake.records import cards, paired, said

FILES = ("fronts/lamp_x3.png", "fronts/deep/buoy.png", "fronts/tern.png", "backs/lamp.png", "backs/tide.png")


def test_it_gives_order_copies_names_and_backs() -> None:
    deck = paired(*FILES, deck_csv="front,back,copies,name\n"
                  "fronts/tern.png,backs/tide.png,4,The tern\nlamp,,,\ndeep/buoy,none,2,\n")
    assert cards(deck) == [("fronts/tern.png", "backs/tide.png", 4), ("fronts/lamp_x3.png", "backs/lamp.png", 3),
                           ("fronts/deep/buoy.png", None, 2)]
    assert [card.name for card in deck.cards] == ["The tern", "lamp", "buoy"]
    assert said(deck) == {("blank-back", "fronts/deep/buoy.png")}


@pytest.mark.parametrize("written", ["fronts/lamp_x3.png", "lamp_x3.png", "fronts/lamp_x3", "lamp_x3",
                                     "fronts/lamp", "LAMP", " ./fronts/Lamp_X3.PNG ", "fronts\\lamp_x3.png"])
def test_a_front_may_be_written_in_many_ways(written: str) -> None:
    assert cards(paired(*FILES, deck_csv=f"front\n{written}\n")) == [
        ("fronts/lamp_x3.png", "backs/lamp.png", 3)]


def test_what_it_does_not_list_is_ignored_with_the_reason() -> None:
    deck = paired(*FILES, deck_csv="front\ntern\n")
    assert said(deck) == {("ignored", path) for path in FILES if path != "fronts/tern.png"}
    assert all(problem.message for problem in deck.problems)


def test_unknown_files_are_named_with_the_line_and_the_nearest() -> None:
    deck = paired(*FILES, deck_csv="front;back\nlmap_x3;\n\ntern;tied\nnothing like it;\n")
    messages = [(problem.message, problem.fix) for problem in deck.problems if problem.code == "deck-list-file"]
    assert messages == [
        ("Line 2: no art is called 'lmap_x3'.", "Did you mean fronts/lamp_x3.png?"),
        ("Line 4: no art is called 'tied'.", "Did you mean backs/tide.png?"),
        ("Line 5: no art is called 'nothing like it'.", "Write the path as it stands in the folder."),
    ]
    assert cards(deck) == [("fronts/tern.png", None, 1)]


def test_a_name_that_fits_two_files_is_a_question() -> None:
    deck = paired("fronts/a.png", "fronts/a.jpg", "backs/b.png", deck_csv="front\na\na.png\n")
    assert cards(deck) == [("fronts/a.png", "backs/b.png", 1)]
    assert any("can be fronts/a.jpg or fronts/a.png" in problem.message for problem in deck.problems)


def test_a_fuller_spelling_beats_one_that_leaves_the_copies_out() -> None:
    deck = paired("fronts/a.png", "fronts/a_x2.png", "backs/b.png", deck_csv="front\na\n")
    assert cards(deck)[0][0] == "fronts/a.png"


def test_one_front_may_stand_in_two_lines() -> None:
    deck = paired(*FILES, deck_csv="front,back,copies\ntern,tide,1\ntern,none,2\n")
    assert cards(deck) == [("fronts/tern.png", "backs/tide.png", 1), ("fronts/tern.png", None, 2)]


def test_pages_are_chosen_by_their_number() -> None:
    deck = paired(("fronts/cards.pdf", 3), ("backs/covers.pdf", 2),
                  deck_csv="front,back\ncards.pdf#2,covers#1\ncards#9,\ncards,covers\n")
    assert cards(deck) == [
        ("fronts/cards.pdf#2", "backs/covers.pdf#1", 1), ("fronts/cards.pdf#1", "backs/covers.pdf#1", 1),
        ("fronts/cards.pdf#2", "backs/covers.pdf#2", 1), ("fronts/cards.pdf#3", None, 1)]
    assert any("has no page 9" in problem.message for problem in deck.problems)


def test_copies_that_make_no_sense_print_none() -> None:
    for copies in ("many", "-1", "1.5", "1000", "1e3", "9" * 5000, "٣"):
        deck = paired(*FILES, deck_csv=f"front,copies\ntern,{copies}\n")
        assert deck.cards[0].copies == 0
        assert [problem.severity for problem in deck.problems if problem.code == "deck-list"] == ["error"]


def test_zero_copies_are_said() -> None:
    deck = paired(*FILES, deck_csv="front,copies\ntern,0\n")
    assert ("no-copies", "fronts/tern.png") in said(deck)


def test_a_list_that_cannot_be_followed_is_named_and_names_decide() -> None:
    for text in ("", "\n\n", "card,back\na,b\n", "front,back,back\n", "\0"):
        deck = paired(*FILES, deck_csv=text)
        assert len(deck.cards) == 3, text
        assert ("deck-list", "deck.csv") in said(deck)
    assert not paired(*FILES, deck_csv="front\n").cards


def test_broken_art_is_not_called_missing() -> None:
    deck = paired("fronts/a.png", deck_csv="front,back\nb,\na,c\n", broken=("fronts/b.png", "backs/c.png"))
    assert [problem.message for problem in deck.problems] == [
        "Line 2: fronts/b.png can't be used.", "Line 3: backs/c.png can't be used."]


@settings(deadline=None)
@given(st.text(max_size=200))
def test_any_text_can_be_a_deck_list(text: str) -> None:
    deck = paired("fronts/a.png", "backs/b.png", deck_csv=text)
    assert deck.cards or deck.problems


def test_it_says_how_a_card_makes_its_bleed() -> None:
    deck = paired(*FILES, deck_csv="front,bleed,back\nlamp,Mirror,\ntern,,none\ndeep/buoy,smear,tide\ntern,none,\n")
    assert [(card.front.bleed, card.back and card.back.bleed) for card in deck.cards] == [
        ("mirror", "mirror"), (None, None), (None, None), ("none", None)]
    assert [(one.severity, one.message, one.fix) for one in deck.problems if "bleed" in one.message] == [(
        "warning", "Line 4: bleed 'smear' is no way to make it, so it is made as the deck's.",
        "Write auto, art, mirror, stretch, colour or none, or leave it blank.")]
    # What is chosen on the pages goes first, the deck's own way among it.
    chosen = paired(*FILES, deck_csv="front,bleed\nlamp,mirror\ntern,mirror\n", overrides={
        "fronts/lamp_x3.png": Override(bleed="stretch"), "fronts/tern.png": Override(bleed="deck")})
    assert [card.front.bleed for card in chosen.cards] == ["stretch", None]
