"""Cards in the making: one front, with what its name says of its copies, and the back that the evidence gives it."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

from server.core.art import Art, Problem
from server.core.edge_bleed import EdgeMode
from server.formats.limits import MAX_COPIES
from server.intake.name_words import FILLERS, plain
from server.intake.names import FileName, fold, nfc
from server.intake.sides import Link, Sides


@dataclass(frozen=True, slots=True)
class Draft:
    """A front to print, its bleed made as ``bleed`` says, None as the deck's. The two problems belong to its copies and
    its back, and go when those are overruled."""

    front: Art
    name: str
    copies: int
    back: Art | None = None
    why: str = ""
    sure: bool = True
    shares_back: bool = False
    copies_problem: Problem | None = None
    back_problem: Problem | None = None
    bleed: EdgeMode | None = None


@dataclass(frozen=True, slots=True)
class Choice:
    """The back file for one front file. ``path`` is "" for none; ``among`` the backs between which no name decides."""

    path: str = ""
    why: str = ""
    sure: bool = True
    among: tuple[str, ...] = ()
    shared: bool = False


class Backs:
    """Every back of a deck, found by stem and by folder, then by what open names say (``sides``).

    ``names`` come in natural order; of two backs that fit equally well in one folder the first is taken. Files that
    can't be used have a name, too, but no art in ``files``.
    """

    def __init__(self, files: Mapping[str, tuple[Art, ...]], names: Iterable[FileName], sides: Sides) -> None:
        self._files, self._sides = files, sides
        given = [name for name in names if name.path not in sides.backs]
        self._fronts = [name for name in given if name.role == "front"]
        self._front_stems = {fold(name.stem) for name in self._fronts}
        self._folders = ("", "")
        # By how exactly names are compared: folder and stem to paths, and stem alone.
        self._near: dict[tuple[int, tuple[str, ...], tuple[str, ...]], list[str]] = {}
        self._far: dict[tuple[int, tuple[str, ...]], list[str]] = {}
        self._under: dict[tuple[str, ...], list[FileName]] = {}
        self._general: list[FileName] = []
        for name in given:
            if name.role == "back":
                self._add(name)

    def _add(self, name: FileName) -> None:
        for level in range(_LEVELS):
            home, stem = _spelled(name, level)
            self._near.setdefault((level, home, stem), []).append(name.path)
            self._far.setdefault((level, stem), []).append(name.path)
        home = tuple(fold(part) for part in name.home)
        for depth in range(len(home) + 1):
            self._under.setdefault(home[:depth], []).append(name)
        if any(mark.side == "back" and not set(mark.rest) - FILLERS for mark in name.marks):
            self._general.append(name)

    def choose(self, front: FileName) -> Choice:
        """The back for ``front``: by name, by its side's word, then one that is shared."""
        why = f"the same name in {front.side_folder or 'the deck'} and the backs"
        own = self._sides.partners.get(front.path)
        if own and not own.sure:  # somebody took it
            return Choice(own.back, own.why, own.sure)
        for level in range(_LEVELS):
            found = self._near.get((level, *_spelled(front, level)))
            if found and (level < 2 or len(found) == 1):
                return Choice(found[0], why)
        for level in range(_LEVELS):
            found = self._far.get((level, _spelled(front, level)[1]))
            if found:
                return Choice(found[0], why) if len(found) == 1 else Choice(among=tuple(found[:_FEW + 1]))
        if own:
            return Choice(own.back, own.why, own.sure)
        return self._alone(front) or self._shared(front) or Choice()

    def _alone(self, front: FileName) -> Choice | None:
        """A back that is the only one: of the front's nested folder, or of them all.

        In a nested folder, or where there is a back for all besides, it serves all only if its name doesn't say that it
        belongs to one front.
        """
        home = tuple(fold(part) for part in front.home)
        for depth in range(len(home), -1, -1):
            group = self._under.get(home[:depth], [])
            if len(group) > 1:
                return None
            if group and ((depth == 0 and front.path not in self._sides.shared)
                          or fold(group[0].stem) not in self._front_stems):
                why = "the only back of its folder" if depth else "the only back"
                return Choice(group[0].path, why, shared=True) if self._serves(group[0].path, front.path) else Choice()
        return None

    def _shared(self, front: FileName) -> Choice | None:
        link: Link | None = self._sides.shared.get(front.path)
        if link:
            return Choice(link.back, link.why, link.sure, shared=True)
        if len(self._general) == 1 and self._serves(self._general[0].path, front.path):
            return Choice(self._general[0].path, "the back for all that have none of their own",
                          shared=True)
        return None

    def _serves(self, back: str, front: str) -> bool:
        """A back of one page serves any front; one of several needs one front file with as many pages."""
        pages = len(self._files.get(back, ()))
        return pages <= 1 or (len(self._fronts) == 1 and len(self._files.get(front, ())) == pages)


_FEW = 3
# As written; without case; word by word; word by word without those for a side.
_LEVELS = 4


@lru_cache(maxsize=64)  # a file is asked for at every level, and by its neighbours
def _home(home: tuple[str, ...], level: int) -> tuple[str, ...]:
    same = (nfc, fold, plain, plain)[level]
    return tuple(same(part) for part in home)


def _spelled(name: FileName, level: int) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """(folder, stem) as they are compared."""
    home = _home(name.home, level)
    if level < 2:
        return home, ((fold if level else nfc)(name.stem),)
    if level == 2:
        return home, name.words or (plain(name.stem),)
    side, letters = ("back", "bv") if name.role == "back" else ("front", "afr")
    mark = next((mark for mark in name.marks if mark.side == side
                 or (mark.strength == 0 and mark.word in letters)), None)
    return home, (mark.rest if mark and mark.rest else name.words) or (plain(name.stem),)


def page_for(backs: Sequence[Art], page: int) -> Art | None:
    """The back of a front's ``page`` (from 0): one back serves all pages, several go page by page."""
    if len(backs) == 1:
        return backs[0]
    return backs[page] if page < len(backs) else None


@dataclass(frozen=True, slots=True)
class Table:
    """Every file of a deck: its art and its name, by path, in natural order; and its backs.

    ``broken`` holds the names of files that can't be used; ``page_links`` the backs of pages of the same PDF,
    ``linked`` the labels of those.
    """

    files: Mapping[str, tuple[Art, ...]]
    names: Mapping[str, FileName]
    broken: Mapping[str, FileName]
    backs: Backs
    page_links: Mapping[str, tuple[Art, str, bool]]
    by_label: Mapping[str, Art]
    linked: Collection[str]

    def of_role(self, role: str) -> Iterator[FileName]:
        return (name for name in self.names.values() if name.role == role)


def drafts_of(table: Table, name: FileName, page: int = 0) -> Iterator[Draft]:
    """One draft for each page of a front, or only for ``page`` (from 1); copies and backs as the names say."""
    arts = table.files[name.path]
    choice = table.backs.choose(name)
    lost = choice.path in table.broken
    for number, art in enumerate(arts):
        if (page and number + 1 != page) or (not page and art.file in table.linked):
            continue
        back = page_for(table.files[choice.path], number) if choice.path and not lost else None
        why, sure = choice.why, choice.sure
        if art.file in table.page_links:
            back, why, sure = table.page_links[art.file]
        problem = _ambiguous(art.file, name, choice.among) if choice.among else None
        if lost:
            problem = Problem(art.file, "warning", "broken-back", f"Its back, {choice.path}, can't be used, so it "
                              "prints blank.", "Put a sound file in its place.")
        title = name.title if len(arts) == 1 else f"{name.title} {number + 1}"
        copies, copies_problem = named_copies(name, art.file)
        copies_problem = copies_problem or _copies_on_back(table, name, choice.path, art)
        yield Draft(art, title, copies, back, why if back else "", sure, choice.shared, copies_problem, problem)


def named_copies(name: FileName, file: str) -> tuple[int, Problem | None]:
    """The copies that a file's name asks for, and what is odd about them."""
    if name.copies is None:
        return 1, None
    if name.copies < 0 or name.copies > MAX_COPIES:
        return 0, Problem(file, "error", "too-many-copies",
                          f"Its name asks for more than {MAX_COPIES} copies, so none is printed.",
                          f"End the name in _x1 to _x{MAX_COPIES}, or give the copies in deck.csv.")
    return name.copies, no_copies(file, "Its name asks for 0 copies") if name.copies == 0 else None


def no_copies(file: str, why: str) -> Problem:
    return Problem(file, "note", "no-copies", f"{why}, so none is printed.")


def blank_back(file: str, why: str) -> Problem:
    return Problem(file, "note", "blank-back", f"Prints a blank back, as {why} says.")


def _ambiguous(file: str, name: FileName, among: tuple[str, ...]) -> Problem:
    some = ", ".join(among[:3]) + (" and more" if len(among) > 3 else "")
    return Problem(file, "warning", "ambiguous-back",
                   f"Several backs are called {name.stem} ({some}), so none was taken.",
                   "Put its back into the same nested folder under backs/, or name it in deck.csv.")


def _copies_on_back(table: Table, name: FileName, back: str, art: Art) -> Problem | None:
    """Copies on the back's name alone have no say, which somebody may have meant otherwise."""
    if back not in table.names or name.copies is not None or table.names[back].stem != name.stem:
        return None
    copies = table.names[back].copies
    if copies in (None, 1):
        return None
    return Problem(art.file, "note", "copies-on-back",
                   f"Its back's name ({back}) asks for copies; only the front's name counts.",
                   "Put _x and the number at the end of the front's name.")
