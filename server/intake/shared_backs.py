"""Backs that serve several fronts: those of a folder, of names that begin alike, or of the deck."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection
from dataclasses import dataclass

from server.intake.likeness import alike, root
from server.intake.name_words import FILLERS
from server.intake.names import MOST_FOLDERS, FileName, Mark
from server.intake.sides import Link, Offer, Sides, Words, home_of, marked

_FEW = 3
# Folders whose names might be one word in one and many, and comparisons of a back's words with a front's.
_MOST_ALIKE, _MOST_TRIES = 20, 100_000


@dataclass(frozen=True, slots=True)
class _Reach:
    """The fronts that one back may serve. ``rank``: 3 names that begin alike, 2 a folder that it names, 1 its own."""

    rank: int
    depth: int
    back: FileName
    mark: Mark
    fronts: list[FileName]
    why: str

    @property
    def left(self) -> Words:
        return _left(self.mark)

    @property
    def numbered(self) -> bool:
        """Whether its fronts are called as it is, but for numbers."""
        return all(word.isdigit() or word == "of" for front in self.fronts for word in front.words[len(self.left):])


def find_shared_backs(sides: Sides, names: list[FileName], every: Collection[FileName], known: set[str]) -> None:
    """Add the backs that serve several to ``sides``; the nearest wins.

    ``names`` are the files outside a folder of backs; ``known`` collects the words that are used for backs.
    """
    field = _Field([name for name in every if name.role != "back"])
    reaches: list[_Reach] = []
    general: dict[Words, list[tuple[FileName, Mark]]] = defaultdict(list)
    for name, mark in marked(names, "back"):
        if not sides.free(name.path):
            continue
        if not _left(mark) or (name.home and field.folder_called(_left(mark)) == home_of(name)):
            general[home_of(name)].append((name, mark))
        else:
            reaches += field.reach(name, mark)
    stems = {front.words for front in field.fronts}
    for name in (name for name in every if name.role == "back" and name.words not in stems):
        reaches += field.reach(name, next((mark for mark in name.marks if mark.side == "back"),
                                          Mark("", "back", 2, "", name.words)))
    backs = {reach.back.path for reach in reaches} | {name.path for some in general.values() for name, _ in some}
    for home, some in general.items():
        within = field.within(home)
        if len(some) == 1 and (some[0][1].strength == 2 or some[0][1].word in known):
            why = "the back of its folder" if home else "the back of the deck"
            reaches.append(_Reach(1, len(home), *some[0], within, why))
        else:
            offer_shared(sides, [name for name, _ in some], within, "/".join(home))
    _settle(sides, reaches, {front.path for front in field.fronts}, backs, known)


def _settle(sides: Sides, reaches: list[_Reach], fronts: set[str], backs: set[str], known: set[str]) -> None:
    """Take the reaches that are clear, offer the others."""
    groups = [reach for reach in reaches if reach.rank == 3]
    covered = {front.path for reach in groups for front in reach.fronts} | backs | sides.backs | set(sides.partners)
    whole = len(groups) > 1 and (fronts <= covered or any(reach.rank == 1 for reach in reaches))
    done: dict[int, list[str]] = {}  # of a folder's fronts, which several backs may reach
    for reach in sorted(reaches, key=lambda reach: (reach.rank, reach.depth), reverse=True):
        back, seen = reach.back, id(reach.fronts) in done
        if not seen:
            done[id(reach.fronts)] = [front.path for front in reach.fronts if front.path not in backs]
        targets = done[id(reach.fronts)]
        if reach.rank == 3 and not (reach.numbered or whole):
            name = f"back:{back.path}"
            sides.offer(Offer(name, name, reach.why, tuple((front, back.path) for front in targets)))
            continue
        if (targets or reach.rank == 1) and back.role != "back":
            sides.backs.add(back.path)
            known.add(reach.mark.word)
        for front in targets if not seen else ():
            sides.shared.setdefault(front, Link(back.path, reach.why))


class _Field:
    """The fronts of a deck, found by folder and by how their names begin."""

    def __init__(self, fronts: list[FileName]) -> None:
        self.fronts = fronts
        self._under: dict[Words, list[FileName]] = defaultdict(list)
        self._starts: dict[str, list[FileName]] = defaultdict(list)
        for front in fronts:
            home = home_of(front)
            for depth in range(len(home) + 1):
                self._under[home[:depth]].append(front)
            self._starts["".join(front.words[:1])[:_FEW]].append(front)
        self._homes: dict[Words, list[tuple[Words, Words]]] = defaultdict(list)
        homes = sorted(self._under.keys() - {()})
        for home in homes if len(homes) <= MOST_FOLDERS else sorted(homes, key=len)[:MOST_FOLDERS]:
            words = tuple(word.lstrip("0") for word in home[-1].replace("_", " ").replace("-", " ").split()
                          if word not in FILLERS and word.strip("0"))
            for called in {words, tuple(word for word in words if not word.isdigit())}:
                self._homes[_roots(called)].append((called, home))
        self._tries = _MOST_TRIES

    def reach(self, back: FileName, mark: Mark) -> list[_Reach]:
        """Whom a back serves whose name holds more than its side; none or one."""
        left, home = _left(mark), home_of(back)
        folder = self.folder_called(left)
        if folder is not None:
            return [_Reach(2, len(folder), back, mark, self.within(folder), "the back of a folder")]
        if not left or all(word.isdigit() for word in left):
            return []
        near = self._starts[left[0][:_FEW]]
        self._tries -= len(near) * len(left)
        if self._tries < 0:  # so many names and no end: they weren't meant so
            return []
        group = [front for front in near if front.path != back.path and _begins(front, left)
                 and home_of(front)[:len(home)] == home]
        self._tries -= len(group) * _FEW
        return [_Reach(3, len(home), back, mark, group, "the back of a group of names")] if group else []

    def folder_called(self, left: Words) -> Words | None:
        """The folder that these words name, in one or in many; its number may be left out, but none put in."""
        return next((home for words, home in self._homes.get(_roots(left), ())[:_MOST_ALIKE] if left
                     and all(alike(one, other) for one, other in zip(words, left, strict=True))), None)

    def within(self, home: Words) -> list[FileName]:
        """The fronts in that folder and below."""
        return self._under.get(home, [])


def _left(mark: Mark) -> Words:
    """What a back's name holds besides its side and words that say nothing more; zeros only put it first."""
    return tuple(word for word in mark.rest if word not in FILLERS and word != "0")


def offer_shared(sides: Sides, backs: list[FileName], fronts: list[FileName], where: str) -> None:
    paths = {back.path for back in backs}
    rest = [front.path for front in fronts if front.path not in paths and sides.free(front.path)]
    for back in backs[:_FEW + 1]:
        if rest:
            sides.offer(Offer(f"back:{back.path}", f"backs:{where}", f"one back for all, {back.path}",
                                      tuple((front, back.path) for front in rest)))


def _roots(words: Words) -> Words:
    return tuple(root(word) for word in words)


def _begins(front: FileName, left: Words) -> bool:
    return len(front.words) > len(left) and all(
        alike(one, other) for one, other in zip(front.words, left, strict=False))
