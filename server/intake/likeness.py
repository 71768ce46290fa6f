"""Files by what a person wrote, and words that are nearly the same: one and many, slips of the pen.

Bounded, since files are named by anybody.
"""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

from server.intake.names import FileName, Role, fold, nfc

# A slip is found in the first letters or not at all; so many names are compared letter by letter.
_LONGEST, _MOST_COMPARED = 60, 20
# Looking for near names takes a while, and a deck that is wrong throughout has one cause.
MOST_SUGGESTIONS = 10
_SHORTEST = 3  # below that a word has no plural
# Letters that the ends below are made of.
_ENDINGS = "senriyao"


def alike(one: str, other: str) -> bool:
    """The same word, in one or in many: creature and creatures, story and stories, karta and karty."""
    short, long = sorted((one, other), key=len)
    if short == long:
        return True
    if short.isdigit() or len(short) < _SHORTEST:
        return False
    return (long in {f"{short}{end}" for end in ("s", "es", "n", "en", "e", "er")}
            or (short.endswith("y") and long == f"{short[:-1]}ies")
            or (len(short) == len(long) > _SHORTEST and short[:-1] == long[:-1]
                and {short[-1], long[-1]} <= set("aeioy")))


def root(word: str) -> str:
    """The same for words that are ``alike``, and for some others."""
    return word.rstrip(_ENDINGS)


def nearest(written: str, names: Collection[str], cutoff: float) -> str:
    """The name that ``written`` most resembles, "" where none does. Those that share the most pairs of letters are
    compared."""
    pairs = _pairs(written)
    first = sorted(names, key=lambda name: len(pairs & _pairs(name)), reverse=True)[:_MOST_COMPARED]
    short = {name[:_LONGEST]: name for name in reversed(first)}
    found = difflib.get_close_matches(written[:_LONGEST], short, n=1, cutoff=cutoff)
    return short[found[0]] if found else ""


def _pairs(text: str) -> set[str]:
    return set(_two(text[:_LONGEST]))


def _two(text: str) -> Iterable[str]:
    return (text[at:at + 2] for at in range(len(text)))


@dataclass(frozen=True, slots=True)
class Found:
    """What a written name leads to: one path and the page after "#" (0: all), or several paths, or none."""

    paths: tuple[str, ...] = ()
    page: int = 0


class Finder:
    """Finds files by what a person wrote for them."""

    def __init__(self, names: Iterable[FileName]) -> None:
        self._names = tuple(names)
        # role, how full the spelling is, whether case counts: spelling to paths
        self._index: dict[tuple[Role, int, bool], dict[str, list[str]]] = {}
        for name in self._names:
            for level, spellings in enumerate(name.spellings):
                for exact, same in ((True, nfc), (False, fold)):
                    index = self._index.setdefault((name.role, level, exact), {})
                    for spelling in {same(spelling) for spelling in spellings}:
                        index.setdefault(spelling, []).append(name.path)

    def find(self, written: str, role: Role) -> Found:
        """The files that ``written`` can mean: those of ``role`` first, the fullest spelling first, case last."""
        name = _as_path(written)
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
        return spelled.get(nearest(fold(_as_path(written)), spelled, 0.6), "")

    def _spelled(self, role: Role) -> Iterator[tuple[str, str]]:
        for name in self._names:
            if name.role in (role, "stray"):
                for level in name.spellings:
                    for spelling in level:
                        yield fold(spelling), name.path
                yield fold(name.stem), name.path


def _as_path(written: str) -> str:
    return nfc(written.strip().replace("\\", "/").removeprefix("./").strip("/"))
