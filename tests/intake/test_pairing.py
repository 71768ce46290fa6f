"""Fronts and backs by name, by deck list and by choice; no file is lost."""

from __future__ import annotations

import unicodedata

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.core.art import Override
from server.intake.choices import Choices
from server.intake.pairing import pair
from tests.intake.records import art, cards, paired, said


def test_same_stem_whatever_the_ending_the_case_and_the_copies() -> None:
    deck = paired("Fronts/lamp_x3.png", "fronts/buoy.JPG", "BACKS/lamp.webp", "backs/Buoy.tif")
    assert cards(deck) == [("fronts/buoy.JPG", "backs/Buoy.tif", 1), ("Fronts/lamp_x3.png", "BACKS/lamp.webp", 3)]
    assert [card.name for card in deck.cards] == ["buoy", "lamp"]
    assert said(deck) == set()


def test_a_single_back_serves_all() -> None:
    deck = paired("fronts/1.png", "fronts/deep/2.png", "backs/any name.png")
    assert [back for _, back, _ in cards(deck)] == ["backs/any name.png"] * 2


def test_a_single_back_serves_all_even_when_it_is_called_like_one_front() -> None:
    deck = paired("fronts/1.png", "fronts/2.png", "backs/1.png")
    assert [back for _, back, _ in cards(deck)] == ["backs/1.png"] * 2


def test_two_backs_serve_only_their_own() -> None:
    deck = paired("fronts/1.png", "fronts/2.png", "backs/1.png", "backs/spare.png")
    assert cards(deck) == [("fronts/1.png", "backs/1.png", 1), ("fronts/2.png", None, 1)]
    assert said(deck) == {("unmatched-back", "backs/spare.png")}


def test_the_same_nested_folder_comes_first_then_anywhere_if_unique() -> None:
    deck = paired("fronts/a/1.png", "fronts/b/1.png", "fronts/b/2.png", "backs/a/1.png", "backs/b/1.png",
                  "backs/c/2.png")
    assert cards(deck) == [("fronts/a/1.png", "backs/a/1.png", 1), ("fronts/b/1.png", "backs/b/1.png", 1),
                           ("fronts/b/2.png", "backs/c/2.png", 1)]


def test_the_same_stem_in_several_other_folders_decides_nothing() -> None:
    deck = paired("fronts/1.png", "backs/a/1.png", "backs/b/1.png")
    assert cards(deck) == [("fronts/1.png", None, 1)]
    assert ("ambiguous-back", "fronts/1.png") in said(deck)
    assert {("unmatched-back", "backs/a/1.png"), ("unmatched-back", "backs/b/1.png")} <= said(deck)


def test_a_back_alone_in_its_nested_folder_serves_that_folder() -> None:
    deck = paired("fronts/red/1.png", "fronts/red/2.png", "fronts/green/3.png", "fronts/4.png",
                  "backs/red/cover.png", "backs/green/cover2.png")
    assert [back for _, back, _ in cards(deck)] == [None, "backs/green/cover2.png", "backs/red/cover.png",
                                                    "backs/red/cover.png"]


def test_a_nested_back_that_belongs_to_one_front_serves_no_other() -> None:
    deck = paired("fronts/red/1.png", "fronts/red/2.png", "backs/red/1.png", "backs/other.png")
    assert cards(deck) == [("fronts/red/1.png", "backs/red/1.png", 1), ("fronts/red/2.png", None, 1)]


def test_fronts_and_backs_may_lie_in_a_common_folder() -> None:
    deck = paired("red/fronts/1.png", "red/backs/b.png", "green/fronts/1.png", "green/backs/c.png")
    assert cards(deck) == [("green/fronts/1.png", "green/backs/c.png", 1), ("red/fronts/1.png", "red/backs/b.png", 1)]


def test_of_two_backs_of_one_name_the_second_is_named() -> None:
    deck = paired("fronts/1.png", "backs/1.jpg", "backs/1.png")
    assert cards(deck) == [("fronts/1.png", "backs/1.jpg", 1)]
    assert said(deck) == {("unmatched-back", "backs/1.png")}


def test_case_decides_where_two_names_differ_by_it_alone() -> None:
    deck = paired("fronts/A.png", "fronts/a.png", "backs/A.png", "backs/a.png")
    assert {(front, back) for front, back, _ in cards(deck)} == {("fronts/A.png", "backs/A.png"),
                                                                 ("fronts/a.png", "backs/a.png")}


def test_both_spellings_of_an_accented_name_pair() -> None:
    # Unicode Standard Annex 15: NFC and NFD are the same text.
    plain = "fronts/Möwe Søren é.png"
    deck = paired(unicodedata.normalize("NFD", plain), "backs/Möwe Søren é.png", "backs/other.png")
    assert deck.cards[0].back is not None
    assert deck.cards[0].name == "Möwe Søren é"


def test_order_is_natural() -> None:
    deck = paired(*(f"fronts/{number}.png" for number in (10, 9, 2, 1, 100)))
    assert [card.name for card in deck.cards] == ["1", "2", "9", "10", "100"]


@pytest.mark.parametrize(("stem", "name", "copies", "code"), [
    ("lamp_x3", "lamp", 3, None), ("lamp_X12", "lamp", 12, None), ("lamp_x007", "lamp", 7, None),
    ("lamp_x0", "lamp", 0, "no-copies"), ("lamp_x999", "lamp", 999, None),
    ("lamp_x1000", "lamp", 0, "too-many-copies"), ("lamp_x" + "9" * 200, "lamp", 0, "too-many-copies"),
    ("lamp x3", "lamp", 3, None), ("lampx3", "lampx3", 1, None), ("lamp_x", "lamp x", 1, None),
    ("_x3", "x3", 1, None), ("lamp_x3_x2", "lamp x3", 2, None), ("lamp_x٣", "lamp x٣", 1, None),
    ("lamp_x-3", "lamp x-3", 1, None),
])
def test_copies_at_the_end_of_a_name(stem: str, name: str, copies: int, code: str | None) -> None:
    deck = paired(f"fronts/{stem}.png", "backs/b.png")
    assert (deck.cards[0].name, deck.cards[0].copies) == (name, copies)
    assert said(deck) == ({(code, f"fronts/{stem}.png")} if code else set())


def test_copies_on_a_back_have_no_say_and_are_mentioned() -> None:
    deck = paired("fronts/lamp.png", "backs/lamp_x4.png")
    assert cards(deck) == [("fronts/lamp.png", "backs/lamp_x4.png", 1)]
    assert said(deck) == {("copies-on-back", "fronts/lamp.png")}
    assert said(paired("fronts/lamp_x4.png", "backs/lamp_x4.png")) == set()


def test_without_a_fronts_folder_all_else_is_fronts() -> None:
    deck = paired("1.png", "set/2.png", "backs/b.png")
    assert [front for front, _, _ in cards(deck)] == ["1.png", "set/2.png"]
    assert all(back == "backs/b.png" for _, back, _ in cards(deck))
    assert said(deck) == {("no-fronts-folder", "")}


def test_art_outside_fronts_and_backs_is_named() -> None:
    deck = paired("fronts/1.png", "cover.png", "sketches/2.png")
    assert len(deck.cards) == 1
    assert said(deck) == {("stray-art", "cover.png"), ("stray-art", "sketches/2.png")}


def test_pages_pair_with_pages_of_the_same_stem() -> None:
    deck = paired(("fronts/cards_x2.pdf", 3), ("backs/cards.pdf", 3), "backs/other.png")
    assert cards(deck) == [(f"fronts/cards_x2.pdf#{page}", f"backs/cards.pdf#{page}", 2) for page in (1, 2, 3)]
    assert [card.name for card in deck.cards] == ["cards 1", "cards 2", "cards 3"]


def test_pages_without_their_opposite_are_named() -> None:
    short = paired(("fronts/cards.pdf", 3), ("backs/cards.pdf", 2))
    assert [back for _, back, _ in cards(short)] == ["backs/cards.pdf#1", "backs/cards.pdf#2", None]
    long = paired(("fronts/cards.pdf", 2), ("backs/cards.pdf", 4))
    assert said(long) == {("unmatched-back", "backs/cards.pdf#3"), ("unmatched-back", "backs/cards.pdf#4")}


def test_one_back_serves_all_pages() -> None:
    deck = paired(("fronts/cards.pdf", 3), "backs/cards.png", "backs/other.png")
    assert {back for _, back, _ in cards(deck)} == {"backs/cards.png"}


def test_one_file_on_each_side_pairs_by_pages_if_they_are_as_many() -> None:
    assert all(back for _, back, _ in cards(paired(("fronts/a.pdf", 3), ("backs/b.pdf", 3))))
    unequal = paired(("fronts/a.pdf", 3), ("backs/b.pdf", 2))
    assert not any(back for _, back, _ in cards(unequal))
    assert said(unequal) == {("unmatched-back", "backs/b.pdf")}


def test_a_broken_file_keeps_its_place() -> None:
    deck = paired("fronts/1.png", "fronts/2.png", "backs/1.png", broken=("backs/2.png",))
    assert cards(deck) == [("fronts/1.png", "backs/1.png", 1), ("fronts/2.png", None, 1)]
    assert said(deck) == {("broken-back", "fronts/2.png")}
    lost = paired("fronts/1.png", "backs/1.png", "backs/2.png", broken=("fronts/2.png",))
    assert said(lost) == {("ignored", "backs/2.png")}


def test_an_unmatched_back_is_told_what_it_may_have_meant() -> None:
    deck = paired("fronts/lighthouse.png", "fronts/2.png", "backs/lihgthouse.png", "backs/2.png")
    (problem,) = deck.problems
    assert "Did you mean lighthouse?" in problem.message


class TestOverrides:
    FILES = ("fronts/lamp_x3.png", "fronts/tern.png", "backs/lamp.png", "backs/tide.png")

    def test_copies_name_and_back(self) -> None:
        deck = paired(*self.FILES, overrides={
            "fronts/lamp_x3.png": Override(copies=5, name="The lamp", back="backs/tide.png"),
            "fronts/tern.png": Override(back="")})
        assert cards(deck) == [("fronts/lamp_x3.png", "backs/tide.png", 5), ("fronts/tern.png", None, 1)]
        assert deck.cards[0].name == "The lamp"
        assert said(deck) == {("ignored", "backs/lamp.png"), ("blank-back", "fronts/tern.png")}

    def test_they_take_away_what_the_name_got_wrong(self) -> None:
        deck = paired("fronts/lamp_x5000.png", "backs/b.png", overrides={"fronts/lamp_x5000.png": Override(copies=2)})
        assert (deck.cards[0].copies, said(deck)) == (2, set())

    def test_none_leaves_as_it_is(self) -> None:
        assert paired(*self.FILES, overrides={"fronts/tern.png": Override()}) == paired(*self.FILES)

    def test_a_back_that_has_gone_is_named(self) -> None:
        deck = paired(*self.FILES, overrides={"fronts/tern.png": Override(back="backs/gone.png")})
        assert ("chosen-back", "fronts/tern.png") in said(deck)

    def test_a_page_can_be_chosen(self) -> None:
        deck = paired("fronts/a.png", ("backs/c.pdf", 3), overrides={"fronts/a.png": Override(back="backs/c.pdf#2")})
        assert cards(deck) == [("fronts/a.png", "backs/c.pdf#2", 1)]

    def test_copies_out_of_range_are_not_taken(self) -> None:
        for copies in (-1, 1000):
            assert paired(*self.FILES, overrides={"fronts/tern.png": Override(copies=copies)}).cards[1].copies == 1


FOLDERS = st.sampled_from(["fronts", "backs", "Fronts", "backs/deep", "fronts/deep", "deep/backs", "", "sketches"])
STEMS = st.sampled_from(["1", "2", "10", "lamp", "Lamp", "\u00e9", "e\u0301", "lamp_x2", "lamp_x0", "a_x1000", "none",
                         "", "back", "lamp back", "lamp_front", "1a", "1b", "2b", "deep back", "reverse", "1of3"])
NAMES = st.tuples(FOLDERS, STEMS, st.sampled_from([".png", ".jpg", ".pdf", ""])).map(
    lambda parts: "/".join(part for part in (parts[0], (parts[1] + parts[2]) or "x") if part))
CELLS = st.one_of(NAMES, STEMS, st.sampled_from(["3", "x", "none", '"', "fronts", "a#2"]))
ROWS = st.lists(st.lists(CELLS, max_size=4), max_size=5)
OVERRIDES = st.builds(Override, st.none() | st.integers(-1, 1001), st.none() | st.text(max_size=3), st.none() | NAMES)


@settings(deadline=None)
@given(st.dictionaries(NAMES, st.integers(1, 3), max_size=9), st.none() | ROWS,
       st.sets(NAMES, max_size=3), st.dictionaries(NAMES, OVERRIDES, max_size=3))
def test_no_file_is_ever_lost(pages: dict[str, int], rows: list[list[str]] | None, broken: set[str],
                              overrides: dict[str, Override]) -> None:
    files = {path: art(path, count) for path, count in pages.items()}
    text = None if rows is None else "front,back,copies,name\n" + "\n".join(",".join(row) for row in rows)
    deck = pair(files, text, "Harbour", Choices(overrides), broken=broken)
    used = {one.file for card in deck.cards for one in (card.front, card.back) if one}
    named = {problem.file for problem in deck.problems}
    for path, arts in files.items():
        for one in arts:
            assert one.file in used or one.file in named or path in named, one.file
    assert used <= {one.file for arts in files.values() for one in arts}
    assert all(0 <= card.copies <= 999 for card in deck.cards)
    assert pair(dict(reversed(files.items())), text, "Harbour", Choices(overrides), broken=broken) == deck


@settings(deadline=None, max_examples=60)
@given(st.dictionaries(NAMES, st.integers(1, 3), max_size=12))
def test_a_file_is_a_front_or_a_back_never_both(pages: dict[str, int]) -> None:
    files = {path: art(path, count) for path, count in pages.items()}
    deck = pair(files, None, "Harbour")
    for taken in (None, *deck.proposals):
        chosen = pair(files, None, "Harbour", Choices(proposals={taken.id: True} if taken else {}))
        fronts = [card.front.file for card in chosen.cards]
        backs = {card.back.file for card in chosen.cards if card.back}
        assert len(fronts) == len(set(fronts)) and not backs & set(fronts)
        lost = {one.file for arts in files.values() for one in arts} - backs - set(fronts)
        named = {problem.file for problem in chosen.problems}
        assert all(file in named or file.rpartition("#")[0] in named for file in lost)
        if taken:
            assert {pair.front: pair.back for pair in taken.pairs}.items() <= {
                one.front: one.back for one in chosen.pairs}.items()
