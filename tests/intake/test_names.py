"""Natural order."""

from __future__ import annotations

import random
import unicodedata

from hypothesis import given, settings
from hypothesis import strategies as st

from server.intake.names import natural_key

PATHS = st.lists(st.text("ab1290_ ./éÉÅ", min_size=1, max_size=12), min_size=1, max_size=12)


@settings(deadline=None)
@given(st.lists(st.integers(0, 10**30), unique=True), st.sampled_from(["", "lamp", "lamp 7 of ", "a/b"]))
def test_numbers_sort_as_integers_do(numbers: list[int], before: str) -> None:
    names = [f"{before}{number}.png" for number in numbers]
    random.Random(1).shuffle(names)
    assert sorted(names, key=natural_key) == [f"{before}{number}.png" for number in sorted(numbers)]


@settings(deadline=None)
@given(st.lists(st.tuples(st.integers(0, 999), st.integers(0, 999)), unique=True))
def test_folders_and_files_sort_part_by_part(pairs: list[tuple[int, int]]) -> None:
    assert sorted((f"set{first}/card{second}.png" for first, second in pairs), key=natural_key) == [
        f"set{first}/card{second}.png" for first, second in sorted(pairs)]


@settings(deadline=None)
@given(PATHS)
def test_any_paths_have_one_order(paths: list[str]) -> None:
    shuffled = list(paths)
    random.Random(2).shuffle(shuffled)
    assert sorted(paths, key=natural_key) == sorted(shuffled, key=natural_key)


def test_two_before_ten_whatever_the_case_the_zeros_and_the_ending() -> None:
    assert sorted(["Lamp 10.png", "lamp 2.png", "lamp 02.png", "LAMP 1.jpg"], key=natural_key) == [
        "LAMP 1.jpg", "lamp 02.png", "lamp 2.png", "Lamp 10.png"]


def test_a_bare_name_comes_before_its_numbered_ones() -> None:
    assert sorted(["lamp2.png", "lamp 2.png", "lamp.png"], key=natural_key)[0] == "lamp.png"


def test_both_spellings_of_an_accent_sort_together() -> None:
    first, second, third = "éa.png", unicodedata.normalize("NFD", "éb.png"), "éc.png"
    assert sorted([third, second, first], key=natural_key) == [first, second, third]


def test_a_number_of_any_length_is_no_trouble() -> None:
    # Python refuses to turn more than 4,300 digits into an int.
    assert natural_key("9" * 5000) < natural_key("1" + "0" * 5000)
