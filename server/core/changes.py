"""Two versions of a deck side by side: what has to be printed and what taken out to bring one to the other.

A card is what it shows: the digests of its two pictures. Names, files and formats don't count, so a picture that was
exported again with the same pixels is no change, and a renamed file isn't one either.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Faces = tuple[str, str]  # digests of front and back; "" prints blank
Side = Literal["front", "back"]


@dataclass(frozen=True, slots=True)
class RecordedCard:
    """A card as it was printed: what it was called, the digests of its pictures ("" for a blank back), its copies."""

    name: str
    front: str
    back: str
    copies: int

    @property
    def faces(self) -> Faces:
        return self.front, self.back


@dataclass(frozen=True, slots=True)
class Counted:
    """``copies`` of the card at ``index`` of its own version."""

    index: int
    copies: int


@dataclass(frozen=True, slots=True)
class Changed:
    """A card of the old version and the one that takes its place, and which of its sides differ."""

    old: int
    new: int
    sides: tuple[Side, ...]


@dataclass(frozen=True, slots=True)
class Changes:
    """``printed`` counts cards of the new version, ``take_out`` those of the old one, both without cards of 0 copies.

    For people: ``changed`` cards go by one name with other pictures, ``added`` and ``gone`` have no counterpart,
    ``recounted`` are cards of the new version of which there are more or fewer.
    """

    printed: tuple[Counted, ...]
    take_out: tuple[Counted, ...]
    changed: tuple[Changed, ...]
    added: tuple[int, ...]
    gone: tuple[int, ...]
    recounted: tuple[int, ...]

    @property
    def nothing(self) -> bool:
        return not (self.printed or self.take_out)


def compare(old: Iterable[RecordedCard], new: Iterable[RecordedCard], *, same_size: bool = True) -> Changes:
    """What brings a built deck of ``old`` to ``new``, with the fewest cards: the difference of the two multisets of
    faces, each way. Cards of another size (``same_size`` false) can't be kept at all."""
    before, after = tuple(old), tuple(new)
    printed = _beyond(after, before if same_size else ())
    take_out = _beyond(before, after if same_size else ())
    were = {card.faces for card in before if card.copies} if same_size else set()
    are = {card.faces for card in after if card.copies} if same_size else set()
    fresh = [index for index, card in enumerate(after) if card.copies and card.faces not in were]
    stale = [index for index, card in enumerate(before) if card.copies and card.faces not in are]
    changed = _paired(before, after, stale, fresh)
    in_place = {one.new for one in changed}
    replaced = {one.old for one in changed}
    moved = {one.index for one in printed} | {
        index for index, card in enumerate(after) if any(before[one.index].faces == card.faces for one in take_out)}
    return Changes(printed, take_out, changed, tuple(index for index in fresh if index not in in_place),
                   tuple(index for index in stale if index not in replaced),
                   tuple(sorted(moved - set(fresh))))


def _beyond(cards: tuple[RecordedCard, ...], there: tuple[RecordedCard, ...]) -> tuple[Counted, ...]:
    """The copies of ``cards`` that ``there`` doesn't have; the first cards of a kind are the ones that it has."""
    left: Counter[Faces] = Counter()
    for card in there:
        left[card.faces] += card.copies
    beyond = []
    for index, card in enumerate(cards):
        kept = min(card.copies, left[card.faces])
        left[card.faces] -= kept
        if card.copies > kept:
            beyond.append(Counted(index, card.copies - kept))
    return tuple(beyond)


def _paired(before: tuple[RecordedCard, ...], after: tuple[RecordedCard, ...], stale: list[int],
            fresh: list[int]) -> tuple[Changed, ...]:
    """Cards that go by the same name in both versions, the first with the first."""
    waiting: dict[str, list[int]] = {}
    for index in stale:
        waiting.setdefault(before[index].name.casefold(), []).append(index)
    pairs = []
    for index in fresh:
        same_name = waiting.get(after[index].name.casefold())
        if same_name:
            old = same_name.pop(0)
            was, now = before[old], after[index]
            sides: tuple[tuple[Side, bool], ...] = (("front", was.front != now.front), ("back", was.back != now.back))
            pairs.append(Changed(old, index, tuple(side for side, differs in sides if differs)))
    return tuple(pairs)
