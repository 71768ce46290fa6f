"""What is said about a deck's art, and that every code of the table can occur."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from server.core import checks
from server.core.art import Art, Card, Deck, Problem
from server.core.checks import all_problems, check_deck
from server.core.settings import DeckSettings

SETTINGS = DeckSettings()  # 63 x 88 mm, 3 mm bleed, edges auto
BACK = Art("backs/b.png", "b", "png", 815, 1110)  # 69 x 94 mm at 300 ppi
PLAIN = Art("fronts/a.png", "a", "png", 815, 1110)


def deck_of(*fronts: Art, back: Art | None = BACK, copies: int = 1, problems: tuple[Problem, ...] = ()) -> Deck:
    return Deck("Harbour", tuple(Card(art.file, art, back, copies) for art in fronts), problems)


def about(art: Art, settings: DeckSettings = SETTINGS) -> dict[str, Problem]:
    """What is said about one front, by code."""
    return {problem.code: problem for problem in check_deck(deck_of(art), settings) if problem.file == art.file}


def test_sound_art_gets_its_reading_and_nothing_else() -> None:
    assert set(about(PLAIN)) == {"carries-bleed"}
    assert about(PLAIN)["carries-bleed"].message == "Carries 3 mm of bleed."
    trim = about(replace(PLAIN, width_px=744, height_px=1039))
    assert set(trim) == {"trim-size"}
    assert trim["trim-size"].message == "Is the trim size; bleed is made to suit its edges."


# Under 150 ppi is visibly soft, 300 comfortable (common practice); 69 mm are 2.7165 in.
@pytest.mark.parametrize(("ppi", "code", "severity"), [
    (72, "low-resolution", "warning"), (145, "low-resolution", "warning"), (152, "fair-resolution", "note"),
    (290, "fair-resolution", "note"), (300, None, ""), (600, None, ""),
])
def test_resolution_is_judged_at_print_size(ppi: float, code: str | None, severity: str) -> None:
    said = about(replace(PLAIN, width_px=round(69 / 25.4 * ppi), height_px=round(94 / 25.4 * ppi)))
    found = [problem for problem in said.values() if problem.code.endswith("-resolution")]
    assert [(problem.code, problem.severity) for problem in found] == ([(code, severity)] if code else [])
    if code:
        shown = re.search(r"(\d+) ppi", found[0].message)
        assert shown
        assert abs(int(shown[1]) - ppi) <= 1
        assert "815 × 1110 pixels" in found[0].fix


def test_the_way_out_of_low_resolution_is_in_the_arts_own_direction() -> None:
    said = about(replace(PLAIN, width_px=266, height_px=196))
    assert "1110 × 815 pixels" in said["low-resolution"].fix
    assert "turned-art" in said


def test_vectors_have_no_resolution() -> None:
    page = Art("fronts/a.pdf", "p#0", "pdf", size_mm=(69.0, 94.0))
    assert set(about(page)) == {"carries-bleed"}


def test_an_odd_shape_says_how_much_is_cut_away() -> None:
    # A square 88 mm high covers 63 x 88 mm and loses 88 - 63 = 25 mm of its width.
    said = about(replace(PLAIN, width_px=1100, height_px=1100))
    assert set(said) == {"odd-aspect"}
    assert said["odd-aspect"].severity == "warning"
    assert "25 mm of the picture falls outside" in said["odd-aspect"].message
    assert "63 × 88 mm, or 69 × 94 mm with bleed" in said["odd-aspect"].fix


def test_without_bleed_no_size_with_bleed_is_asked_for() -> None:
    said = about(replace(PLAIN, width_px=1100, height_px=1100), SETTINGS.changed({"edges": "none"}))
    assert said["odd-aspect"].fix == "Crop or redraw it in the proportions of 63 × 88 mm."


@pytest.mark.parametrize(("edges", "says"), [
    ("mirror", "bleed is mirrored"), ("stretch", "bleed is stretched"), ("colour", "bleed takes its edge colour"),
    ("none", "no bleed"),
])
def test_the_reading_says_what_the_edges_become(edges: str, says: str) -> None:
    trim = replace(PLAIN, width_px=744, height_px=1039)
    assert says in about(trim, SETTINGS.changed({"edges": edges}))["trim-size"].message


@pytest.mark.parametrize(("change", "code", "says"), [
    ({"is_cmyk": True}, "cmyk", "CMYK"), ({"has_alpha": True}, "transparency", "bare paper"),
    ({"frames": 4}, "first-frame", "4 frames"),
    ({"frames": 2, "kind": "tiff", "file": "a.tif"}, "first-frame", "2 pages"),
    ({"kind": "jpeg"}, "wrong-ending", "Its name says PNG, but its content is JPEG"),
    ({"file": "fronts/a.txt"}, "wrong-ending", "Its name doesn't say so, but its content is PNG"),
])
def test_what_is_only_mentioned(change: dict[str, object], code: str, says: str) -> None:
    said = about(replace(PLAIN, **change))  # type: ignore[arg-type]
    assert set(said) == {"carries-bleed", code}
    assert says in said[code].message
    assert said[code].severity == "note"


@pytest.mark.parametrize("file", ["a", "a.PNG", "dir.v2/a", ".png"])
def test_a_name_without_another_claim_is_no_wrong_ending(file: str) -> None:
    assert "wrong-ending" not in about(replace(PLAIN, file=file))


def test_a_page_label_is_no_ending() -> None:
    page = Art("fronts/a.pdf#2", "p#1", "pdf", page=1, size_mm=(69.0, 94.0))
    assert "wrong-ending" not in about(page)
    assert "wrong-ending" in about(replace(page, file="fronts/a.png#2"))


def test_a_missing_back_is_a_warning_once_for_each_front() -> None:
    other = replace(PLAIN, file="fronts/c.png", key="c")
    found = [problem for problem in check_deck(deck_of(PLAIN, other, PLAIN, back=None), SETTINGS)
             if problem.code == "missing-back"]
    assert [(problem.file, problem.severity) for problem in found] == [
        ("fronts/a.png", "warning"), ("fronts/c.png", "warning")]


@pytest.mark.parametrize("code", ["blank-back", "ambiguous-back", "broken-back", "chosen-back"])
def test_a_back_that_intake_has_spoken_of_is_not_missed_again(code: str) -> None:
    deck = deck_of(PLAIN, back=None, problems=(Problem(PLAIN.file, "note", code, "said"),))
    assert "missing-back" not in {problem.code for problem in check_deck(deck, SETTINGS)}


def test_a_card_that_is_not_printed_misses_no_back() -> None:
    deck = Deck("Harbour", (Card("a", PLAIN, None, 0), Card("b", replace(PLAIN, file="b.png", key="b"), BACK)))
    assert "missing-back" not in {problem.code for problem in check_deck(deck, SETTINGS)}


@pytest.mark.parametrize("deck", [Deck("Empty", ()), deck_of(PLAIN, copies=0)])
def test_a_deck_without_cards_is_an_error(deck: Deck) -> None:
    (problem,) = check_deck(deck, SETTINGS)
    assert (problem.code, problem.severity, problem.file) == ("no-cards", "error", "")


def test_one_back_for_many_cards_is_spoken_of_once() -> None:
    fronts = [replace(PLAIN, file=f"fronts/{number}.png", key=str(number)) for number in range(9)]
    found = check_deck(deck_of(*fronts), SETTINGS)
    assert sum(problem.file == BACK.file for problem in found) == 1


def test_the_same_picture_twice_is_mentioned() -> None:
    twin = replace(PLAIN, file="fronts/copy.png")
    assert [(problem.file, problem.message) for problem in check_deck(deck_of(PLAIN, twin, twin), SETTINGS)
            if problem.code == "same-picture"] == [("fronts/copy.png", "Is the same picture as fronts/a.png.")]


def test_all_problems_are_intakes_first_and_each_once() -> None:
    said = Problem("deck.csv", "error", "deck-list", "Line 2 names no front.")
    found = all_problems(deck_of(PLAIN, problems=(said, said)), SETTINGS)
    assert found[0] == said
    assert len(found) == len(set(found))


def test_every_code_of_the_table_occurs_in_this_module_and_no_other_does() -> None:
    table = dict(re.findall(r"^\| ([a-z-]+) \| (error|warning|note) \|", checks.__doc__ or "", re.MULTILINE))
    odd = Art("fronts/odd.jpg", "odd", "png", 100, 100, has_alpha=True, is_cmyk=True, frames=2)
    lying = Art("fronts/lying.png", "lying", "png", 600, 430)
    trim = Art("fronts/trim.png", "lying", "png", 744, 1039)
    deck = Deck("Harbour", (Card("odd", odd), Card("lying", lying, BACK), Card("trim", trim, BACK)))
    found = (*check_deck(deck, SETTINGS), *check_deck(Deck("Empty", ()), SETTINGS))
    assert {problem.code: problem.severity for problem in found} == table
