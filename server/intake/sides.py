"""What the names of files outside a folder of backs say together: a record that each kind of evidence adds to."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from server.intake.names import FileName, Mark
from server.intake.side_words import Side, plain

Words = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Link:
    """A back file for one front file, and the evidence, so that it reads on after "by"."""

    back: str
    why: str
    sure: bool = True


@dataclass(frozen=True, slots=True)
class Offer:
    """Links (front, back) that may be meant. Of one ``group`` at most one can be taken."""

    id: str
    group: str
    says: str
    links: tuple[tuple[str, str], ...]


@dataclass(slots=True)
class Sides:
    """What the names of open files say. ``partners`` and ``shared`` go by the front's path: a back of its own, and the
    back of its folder, its group or the deck. ``backs`` are all that aren't fronts; ``marks`` what a front's name says.
    """

    partners: dict[str, Link] = field(default_factory=dict)
    shared: dict[str, Link] = field(default_factory=dict)
    offers: list[Offer] = field(default_factory=list)
    backs: set[str] = field(default_factory=set)
    marks: dict[str, Mark] = field(default_factory=dict)
    lone: list[str] = field(default_factory=list)

    def link(self, pairs: Iterable[tuple[str, str]], why: str, sure: bool = True) -> None:
        for front, back in pairs:
            self.partners[front] = Link(back, why, sure)
            self.backs.add(back)

    def free(self, path: str) -> bool:
        return path not in self.partners and path not in self.backs


def home_of(name: FileName) -> Words:
    return tuple(plain(part) for part in name.home)


def marked(names: Iterable[FileName], side: Side) -> Iterator[tuple[FileName, Mark]]:
    """Names with a word of this side and none of the other."""
    for name in names:
        marks = [mark for mark in name.marks if mark.side]
        if marks and all(mark.side == side for mark in marks):
            yield from ((name, mark) for mark in marks)
