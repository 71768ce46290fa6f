"""Where a file stands in its deck: front or back, its folder, its stem, its copies; and how to find it by name."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from server.formats.limits import MAX_COPIES
from server.intake.natural import fold

Role = Literal["front", "back", "stray"]
FRONTS, BACKS = "fronts", "backs"

_COPIES = re.compile(r"^(.+)_x([0-9]+)$", re.IGNORECASE | re.DOTALL)
_ROLE: dict[str, Role] = {FRONTS: "front", BACKS: "back"}


@dataclass(frozen=True, slots=True)
class Place:
    """One file's place. ``home`` is its folder without ``fronts`` or ``backs``; ``stem`` has no ending and no copies.

    ``copies`` is what the stem says after ``_x``: None for nothing, -1 for more than can be meant.
    """

    path: str
    role: Role
    home: tuple[str, ...]
    full_stem: str
    stem: str
    copies: int | None

    @property
    def title(self) -> str:
        """The stem as a person would say it: underscores stand for spaces, since many file names can't have those."""
        return " ".join(self.stem.replace("_", " ").split()) or self.stem

    @property
    def spellings(self) -> tuple[tuple[str, ...], ...]:
        """What a person may write for this file, the fullest spellings first."""
        folder = self.path.rpartition("/")[0]
        roleless = "/".join(self.home)
        name = self.path.rpartition("/")[2]
        return tuple(
            tuple("/".join(part for part in (where, last) if part) for where in (folder, roleless))
            for last in (name, self.full_stem, self.stem)
        )


def place_of(path: str) -> Place:
    """The place of ``path`` in its deck: the first folder called fronts or backs, in any case, says which it is."""
    *folders, name = nfc(path).split("/")
    role: Role = "stray"
    home = tuple(folders)
    for at, folder in enumerate(folders):
        if fold(folder) in _ROLE:
            role = _ROLE[fold(folder)]
            home = (*folders[:at], *folders[at + 1:])
            break
    full_stem = name.rpartition(".")[0] or name
    found = _COPIES.match(full_stem)
    if not found:
        return Place(path, role, home, full_stem, full_stem, None)
    digits = found[2].lstrip("0") or "0"
    copies = int(digits) if len(digits) <= len(str(MAX_COPIES)) else -1
    return Place(path, role, home, full_stem, found[1], copies)


def nfc(text: str) -> str:
    """Composed Unicode, so that both spellings of an accented name are one."""
    return unicodedata.normalize("NFC", text)


@dataclass(frozen=True, slots=True)
class Found:
    """What a written name leads to: one path and the page after "#" (0: all), or several paths, or none."""

    paths: tuple[str, ...] = ()
    page: int = 0


class Finder:
    """Finds files by what a person wrote for them."""

    def __init__(self, places: Iterable[Place]) -> None:
        self._places = tuple(places)
        # role, how full the spelling is, whether case counts: spelling to paths
        self._index: dict[tuple[Role, int, bool], dict[str, list[str]]] = {}
        for place in self._places:
            for level, spellings in enumerate(place.spellings):
                for exact, same in ((True, nfc), (False, fold)):
                    index = self._index.setdefault((place.role, level, exact), {})
                    for spelling in {same(spelling) for spelling in spellings}:
                        index.setdefault(spelling, []).append(place.path)

    def find(self, written: str, role: Role) -> Found:
        """The files that ``written`` can mean: those of ``role`` first, the fullest spelling first, case last."""
        name = _plain(written)
        found = self._paths(name, role)
        if found:
            return Found(found)
        base, mark, page = name.rpartition("#")
        if mark and page.isascii() and page.isdigit() and len(page) <= 6 and int(page) > 0:
            return Found(self._paths(base, role), int(page))
        return Found()

    def _paths(self, name: str, role: Role) -> tuple[str, ...]:
        others: list[Role] = [other for other in ("stray", "front", "back") if other != role]
        for roles in ([role], others):
            for level in range(3):
                for exact in (True, False):
                    wanted = nfc(name) if exact else fold(name)
                    paths = [path for one in roles for path in self._index.get((one, level, exact), {}).get(wanted, ())]
                    if paths:
                        return tuple(paths)
        return ()

    def nearest(self, written: str, role: Role) -> str:
        """The path that ``written`` most resembles, "" if none is near."""
        spelled = dict(self._spelled(role))
        near = difflib.get_close_matches(fold(_plain(written)), spelled, n=1, cutoff=0.6)
        return spelled[near[0]] if near else ""

    def _spelled(self, role: Role) -> Iterator[tuple[str, str]]:
        for place in self._places:
            if place.role in (role, "stray"):
                for level in place.spellings:
                    for spelling in level:
                        yield fold(spelling), place.path
                yield fold(place.stem), place.path


def _plain(written: str) -> str:
    return nfc(written.strip().replace("\\", "/").removeprefix("./").strip("/"))
