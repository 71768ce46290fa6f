"""Names that anybody may send cost no more than their length: the work is counted, not timed."""

from __future__ import annotations

import random
import sys
from collections.abc import Callable, Iterator

import pytest

from server.core.art import Art, Deck
from server.intake.likeness import alike, nearest, root
from server.intake.name_words import count_in
from server.intake.pairing import pair

_CHANCE = random.Random(5)


def of(paths: list[str]) -> Deck:
    return pair({path: (Art(path, path, "png", 744, 1039),) for path in paths}, None, "Harbour")


def letters(count: int, of: str = "abcdefghijklmnopqrstuvwxyz") -> str:
    return "".join(_CHANCE.choice(of) for _ in range(count))


NAMES: dict[str, Callable[[int], Iterator[str]]] = {
    "lost backs": lambda n: (f"{side}/{letters(240)}.png" for _ in range(n) for side in ("fronts", "backs")),
    "back of a folder each": lambda n: (path for i in range(n) for path in (f"tide{i}/lamp.png", f"tide{i} back.png")),
    "back in a folder each": lambda n: (path for i in range(n) for path in (f"d{i}/lamp.png", f"d{i}/back.png")),
    "one folder, many backs": lambda n: (path for i in range(n) for path in (f"tide/{i}.png", f"tide back {i}.png")),
    "folders of one root": lambda n: (path for _ in range(n) for path in (
        f"lamp{letters(20, 'senriyao')}/x.png", f"lamp{letters(20, 'senriyao')} back.png")),
    "groups": lambda n: (path for i in range(n) for path in (f"tide {i}.png", f"tide lamp{letters(9)} back.png")),
    "names alike": lambda n: (path for _ in range(n) for path in (
        f"lamp{letters(200, ' -')}.png", f"lamp back{letters(200, ' -')}.png")),
    "deep": lambda n: ("/".join([f"back {i}"] * 11) + f"/f{i}.png" for i in range(2 * n)),
    "many gaps": lambda n: ("fronts/" + "x" * 100 + "_" * 120 + f"x2_{i}.png" for i in range(2 * n)),
    "many words": lambda n: ("x" + " back" * 40 + f" {i}.png" for i in range(2 * n)),
}


@pytest.mark.parametrize("kind", NAMES)
def test_twice_the_names_are_twice_the_work(kind: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """By calls and returns of Python's functions, which a quadratic search would have four times as many of."""
    def work(count: int) -> int:
        paths, events = list(NAMES[kind](count)), 0

        def counted(*_: object) -> None:
            nonlocal events
            events += 1

        sys.setprofile(counted)
        try:
            of(paths)
        finally:
            sys.setprofile(None)
        return events

    monkeypatch.setattr("server.intake.shared_backs._MOST_TRIES", 2000)  # as many for few names as for thousands
    work(10)  # what is looked up once
    assert work(160) < 2.6 * work(80)


def test_more_is_never_asked_than_anybody_answers() -> None:
    deck = of([path for i in range(300) for path in (f"tide {i}.png", f"tide {i} lamp back.png")])
    assert len(deck.proposals) <= 70 and sum(len(one.pairs) for one in deck.proposals) <= 7000


@pytest.mark.parametrize(("stem", "says"), [
    ("knight_x3", ("knight", 3, None)), ("knight (3x)", ("knight", 3, None)), ("knight [ x 3 ]", ("knight", 3, None)),
    ("knight 3×", ("knight", 3, None)), ("3x knight", ("knight", 3, None)), ("knight__X3", ("knight", 3, None)),
    ("x3", ("x3", None, None)), ("knightx3", ("knightx3", None, None)), ("knight(x3)", ("knight", 3, None)),
    ("lamp_x99999", ("lamp", -1, None)), ("lamp 2of3", ("lamp 2of3", None, (2, 3))), ("1of2", ("1of2", None, None)),
    ("lamp (2 of 3)", ("lamp (2 of 3)", None, (2, 3))), ("lamp 3of2", ("lamp 3of2", None, None)),
])
def test_counts(stem: str, says: tuple[str, int | None, tuple[int, int] | None]) -> None:
    assert count_in(stem) == says


def test_words_that_are_alike_have_one_root() -> None:
    for one, other in (("card", "cards"), ("story", "stories"), ("karta", "karty"), ("karte", "karten")):
        assert alike(one, other) and root(one) == root(other)
    assert nearest("knigth", ["lamp", "knight", "tide"], 0.6) == "knight"
    assert nearest("harbour", ["lamp", "knight"], 0.6) == ""
