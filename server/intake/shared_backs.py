"""Backs that serve several fronts: those of a folder, of names that begin alike, or of the deck."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Iterable
from dataclasses import dataclass

from server.intake.names import FileName, Mark
from server.intake.side_words import FILLERS
from server.intake.sides import Link, Offer, Sides, Words, home_of, marked

_FEW = 3


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
        within = _within(field.fronts, home)
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
    for reach in sorted(reaches, key=lambda reach: (reach.rank, reach.depth), reverse=True):
        back, targets = reach.back, [front.path for front in reach.fronts if front.path not in backs]
        if reach.rank == 3 and not (reach.numbered or whole):
            name = f"back:{back.path}"
            sides.offers.append(Offer(name, name, reach.why, tuple((front, back.path) for front in targets)))
            continue
        if (targets or reach.rank == 1) and back.role != "back":
            sides.backs.add(back.path)
            known.add(reach.mark.word)
        for front in targets:
            sides.shared.setdefault(front, Link(back.path, reach.why))


class _Field:
    """The fronts of a deck, found by folder and by how their names begin."""

    def __init__(self, fronts: list[FileName]) -> None:
        self.fronts = fronts
        self._homes = sorted({home_of(front)[:depth + 1] for front in fronts for depth in range(len(front.home))})
        self._starts: dict[str, list[FileName]] = defaultdict(list)
        for front in fronts:
            self._starts["".join(front.words[:1])[:_FEW]].append(front)

    def reach(self, back: FileName, mark: Mark) -> list[_Reach]:
        """Whom a back serves whose name holds more than its side; none or one."""
        left, home = _left(mark), home_of(back)
        folder = self.folder_called(left)
        if folder is not None:
            return [_Reach(2, len(folder), back, mark, _within(self.fronts, folder), "the back of a folder")]
        if not left or all(word.isdigit() for word in left):
            return []
        group = [front for front in _within(self._starts[left[0][:_FEW]], home)
                 if front.path != back.path and _begins(front, left)]
        return [_Reach(3, len(home), back, mark, group, "the back of a group of names")] if group else []

    def folder_called(self, left: Words) -> Words | None:
        """The folder that these words name, in one or in many."""
        for home in self._homes if left else ():
            words = tuple(word for word in home[-1].replace("_", " ").replace("-", " ").split()
                          if word not in FILLERS and not word.isdigit())
            if len(words) == len(left) and all(_alike(one, other) for one, other in zip(words, left, strict=True)):
                return home
        return None


def _left(mark: Mark) -> Words:
    """What a back's name holds besides its side and words that say nothing more; zeros only put it first."""
    return tuple(word for word in mark.rest if word not in FILLERS and word != "0")


def offer_shared(sides: Sides, backs: list[FileName], fronts: list[FileName], where: str) -> None:
    paths = {back.path for back in backs}
    rest = [front.path for front in fronts if front.path not in paths and sides.free(front.path)]
    for back in backs[:_FEW + 1]:
        if rest:
            sides.offers.append(Offer(f"back:{back.path}", f"backs:{where}", f"one back for all, {back.path}",
                                      tuple((front, back.path) for front in rest)))


def _within(names: Iterable[FileName], home: Words) -> list[FileName]:
    return [name for name in names if home_of(name)[:len(home)] == home]


def _alike(one: str, other: str) -> bool:
    """The same word, in one or in many: creature and creatures, story and stories, karta and karty."""
    short, long = sorted((one, other), key=len)
    if short == long:
        return True
    if short.isdigit() or len(short) < _FEW:
        return False
    return (long in {f"{short}{end}" for end in ("s", "es", "n", "en", "e", "er")}
            or (short.endswith("y") and long == f"{short[:-1]}ies")
            or (len(short) == len(long) > _FEW and short[:-1] == long[:-1] and {short[-1], long[-1]} <= set("aeioy")))


def _begins(front: FileName, left: Words) -> bool:
    return len(front.words) > len(left) and all(
        _alike(one, other) for one, other in zip(front.words, left, strict=False))
