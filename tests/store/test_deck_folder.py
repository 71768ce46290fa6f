"""A folder dropped again: what became of each file, and the deck made equal to it."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from server.store.deck_folder import Listed, as_folder, compare
from server.store.deck_state import DeckFile, DeckState

A, B, C = ("0" * 64, "1" * 64, "2" * 64)


def deck(*files: DeckFile, **more: object) -> DeckState:
    return DeckState("Harbour", files, **more)  # type: ignore[arg-type]


def test_each_file_is_told_by_path_time_and_content() -> None:
    state = deck(DeckFile("same.png", A, 5, 1), DeckFile("touched.png", B, 6, 1), DeckFile("other.png", C, 7, 1),
                 DeckFile("was.png", "3" * 64, 8, 1), DeckFile("gone.png", "4" * 64, 9, 1))
    listing = [Listed("same.png", 5, 1), Listed("touched.png", 6, 2), Listed("other.png", 70, 2),
               Listed("now.png", 8, 3), Listed("new.png", 77, 3)]
    first = compare(state, listing)
    assert set(first.unsure) == {"touched.png", "now.png"}  # of the rest, sizes and times tell enough
    keys = {"touched.png": B, "now.png": "3" * 64}
    found = compare(state, [Listed(one.path, one.bytes, one.modified, keys.get(one.path, "")) for one in listing])
    assert (set(found.same), found.changed, found.fresh, found.renamed, found.gone, found.unsure) == (
        {"same.png", "touched.png"}, ("other.png",), ("new.png",), (("was.png", "now.png"),), ("gone.png",), ())


def test_what_was_chosen_goes_along_with_a_renamed_file() -> None:
    state = deck(DeckFile("a.png", A, 5, 1), DeckFile("b.pdf", B, 5, 1), order=("b.pdf#2", "a.png"),
                 overrides={"a.png": {"copies": 3, "back": "b.pdf#2"}, "b.pdf#1": {"name": "One"}})
    made = as_folder(state, ["a.png"], {"a.png": ("c.png", 4), "b.pdf": ("d.pdf", 4)})
    assert [(file.path, file.key, file.modified) for file in made.files] == [("c.png", A, 4), ("d.pdf", B, 4)]
    assert made.order == ("d.pdf#2", "c.png")
    assert made.overrides == {"c.png": {"copies": 3, "back": "d.pdf#2"}, "d.pdf#1": {"name": "One"}}


CONTENT = st.dictionaries(st.sampled_from("abcdef"), st.sampled_from([A, B, C]), max_size=5)


@settings(max_examples=80, deadline=None)
@given(CONTENT, CONTENT)
def test_the_deck_made_equal_is_the_folder(before: dict[str, str], after: dict[str, str]) -> None:
    size = {A: 5, B: 5, C: 6}
    state = deck(*(DeckFile(path, key, size[key], 1) for path, key in before.items()))
    listing = [Listed(path, size[key], 1 + (before.get(path) != key), key) for path, key in after.items()]
    found = compare(state, listing)
    sorts = (*found.same, *found.changed, *found.fresh, *(path for _, path in found.renamed))
    assert sorted(sorts) == sorted(after) and not found.unsure
    made = as_folder(state, found.gone, {was: (path, 2) for was, path in found.renamed})
    made = made.with_files(tuple(DeckFile(path, after[path], size[after[path]], 2)
                                 for path in (*found.changed, *found.fresh)))
    assert {file.path: file.key for file in made.files} == after
