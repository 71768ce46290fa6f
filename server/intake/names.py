"""What a file's path says of it: its side, its folder, its copies, its words; and natural order.

| a name may say | so |
| --- | --- |
| its side, by a folder | `fronts/`, `Card Backs/`, `Vorderseiten/`, `recto/`, anywhere in the tree |
| its side, by a word | `hero_front`, `hero-back`, `hero (back)`, `back 03`, `heldRückseite` |
| its side, by a letter or a number at its end | `hero.b`, `01a`, `12_2`: only a guess, until others bear it out |
| copies | `x2`, `_x3`, `(2x)`, `3x goblin`; `2of3` is one of three |
"""

from __future__ import annotations

import re
import unicodedata
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any, Literal

from server.intake.name_words import (
    CLEAR_FOLDERS,
    COUNTERWORDS,
    FILLERS,
    SHORT_SIDES,
    SIDE_WORDS,
    Side,
    count_in,
    plain,
)

Role = Literal["front", "back", "stray"]

_DIGITS = re.compile(r"([0-9]+)")
_ENDING = re.compile(r"\.(?=[0-9]*[a-z])[a-z0-9]{1,5}$", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_]+|\d+")
# Of more folders than these, those at the top say sides; of a name with more words, its first and last count.
MOST_FOLDERS, _FIRST_WORDS, _LAST_WORDS = 1000, 12, 3
_MOST_MARKS = 4  # words for a side in one name
_LETTERS = frozenset("abfrv12") | {"vs", "rs"}


@dataclass(frozen=True, slots=True)
class Mark:
    """What in a name may say its side. ``strength``: 2 a clear word, 1 a word that means other things, too, 0 a letter.

    ``shown`` is how it stands there ("_front"), ``word`` how it is compared, ``rest`` the words without it.
    """

    word: str
    side: Side | None
    strength: int
    shown: str
    rest: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class FileName:
    """One file's place. ``home`` is its folder without the part that says its side; ``stem`` has no ending, no copies.

    ``copies`` is what the name says: None for nothing, -1 for more than can be meant. ``part`` is (2, 3) for "2of3".
    ``words`` are the stem's, as compared; ``side_folder`` is the folder that said the role.
    """

    path: str
    role: Role
    home: tuple[str, ...]
    full_stem: str
    stem: str
    copies: int | None
    part: tuple[int, int] | None = None
    words: tuple[str, ...] = ()
    marks: tuple[Mark, ...] = ()
    side_folder: str = ""
    given_title: str = ""

    @property
    def title(self) -> str:
        """The stem as a person would say it: underscores stand for spaces, since many file names can't have those."""
        text = self.given_title or self.stem
        return " ".join(text.replace("_", " ").split()) or text

    def without(self, mark: Mark) -> FileName:
        """The same file, called by its name without ``mark``."""
        bare = " ".join(self.stem.replace("_", " ").split())
        for shown in (mark.shown, mark.shown.strip(" _-.([])")):
            cut = re.sub(rf"{re.escape(shown.replace('_', ' '))}", " ", bare, count=1, flags=re.IGNORECASE)
            cut = " ".join(cut.split()).strip(" -.")
            if cut != bare:
                return replace(self, given_title=cut or (self.home[-1] if self.home else ""))
        return self

    @property
    def spellings(self) -> tuple[tuple[str, ...], ...]:
        """What a person may write for this file, the fullest spellings first."""
        folder, _, name = self.path.rpartition("/")
        roleless = "/".join(self.home)
        return tuple(
            tuple("/".join(part for part in (where, last) if part) for where in (folder, roleless))
            for last in (name, self.full_stem, self.stem)
        )


def natural_key(path: str) -> tuple[Any, ...]:
    """A key that sorts paths ("/" between parts) part by part, runs of digits by their number, letters by no case.

    The ending counts last, so that "knight.png" comes before "knight2.png". Paths that differ at all get keys that
    differ, so an order never depends on what came in first.
    """
    folded = _ENDING.sub("", fold(path))
    return tuple(_by_number(part) for part in folded.split("/")), path


@lru_cache(maxsize=512)  # folders come again and again
def _by_number(part: str) -> tuple[Any, ...]:
    """Text and numbers by turns, text first; a number by its length without leading zeros, then its digits."""
    pieces = _DIGITS.split(part)
    return tuple(
        (len(piece.lstrip("0")), piece.lstrip("0")) if place % 2 else piece for place, piece in enumerate(pieces))


def fold(text: str) -> str:
    """``text`` as names are compared: composed (NFC), because macOS hands out decomposed names, and without case."""
    return text.lower() if text.isascii() else nfc(nfc(text).casefold())


def nfc(text: str) -> str:
    """Composed Unicode, so that both spellings of an accented name are one."""
    return unicodedata.normalize("NFC", text)


def read_names(paths: Iterable[str]) -> list[FileName]:
    """Every path read, in natural order; a folder's side may hang on what its neighbours are called."""
    ordered = sorted(paths, key=natural_key)
    folders = {folder for path in ordered for folder in _ancestors(path)}
    if len(folders) > MOST_FOLDERS:
        folders = set(sorted(folders, key=lambda folder: (folder.count("/"), folder))[:MOST_FOLDERS])
    sides = {folder: _folder_side(folder.rpartition("/")[2]) for folder in folders}
    said = {side for side, sure, _ in sides.values() if side and sure}
    sides |= _short_sides(folders, ordered)
    # What folders beside it are called: the sides that others of the same parent and the same words say.
    beside: dict[tuple[str, str], set[Side]] = defaultdict(set)
    for folder, (side, _, left) in sides.items():
        if side:
            beside[folder.rpartition("/")[0], left].add(side)
    kept: dict[str, tuple[Side, str]] = {}
    for folder, (side, sure, left) in sides.items():
        other = side and beside[folder.rpartition("/")[0], left] - {side}
        if side and (other if left and not left.isdigit() else (sure or other or {"front", "back"} - {side} & said)):
            kept[folder] = side, left
    return [_read(path, kept) for path in ordered]


def _ancestors(path: str) -> list[str]:
    parts = nfc(path).split("/")[:-1]
    return ["/".join(parts[:end + 1]) for end in range(len(parts))]


@lru_cache(maxsize=4096)
def _folder_side(name: str) -> tuple[Side | None, bool, str]:
    """(the side that a folder's name says, whether its words mean nothing else, the words that are left)."""
    words = [word for word, _, _ in _words_of(name)]
    found = _without_counterwords({word: SIDE_WORDS[word] for word in words if word in SIDE_WORDS})
    clear = {side for word, (side, strength) in found.items() if strength == 2 or word in CLEAR_FOLDERS}
    sides = clear or {side for side, _ in found.values()}
    if len(sides) != 1:
        return None, False, ""
    left = " ".join(word for word in words if word not in found and word not in FILLERS)
    return next(iter(sides)), bool(clear), left


def _short_sides(folders: set[str], paths: list[str]) -> dict[str, tuple[Side | None, bool, str]]:
    """What "Side A" and "Side B", or "VS" and "RS", say side by side, where files of the same names lie in both."""
    found: dict[tuple[str, tuple[str, ...]], dict[Side, str]] = defaultdict(dict)
    for folder in folders:
        words = [word for word, _, _ in _words_of(folder.rpartition("/")[2])
                 if word in COUNTERWORDS or word not in FILLERS]
        *before, last = words or [""]
        if last in SHORT_SIDES and bool(before) != last.endswith("s") and set(before) <= COUNTERWORDS:
            found[folder.rpartition("/")[0], tuple(before)][SHORT_SIDES[last]] = folder
    sides: dict[str, tuple[Side | None, bool, str]] = {}
    for both in found.values():
        held = [{fold(path[len(folder):].rpartition(".")[0]) for path in paths if nfc(path).startswith(f"{folder}/")}
                for folder in both.values()]
        if len(held) == 2 and 2 * len(held[0] & held[1]) >= max(len(held[0]), len(held[1])):
            sides |= {folder: (side, False, "") for side, folder in both.items()}
    return sides


def _without_counterwords(found: dict[str, tuple[Side, int]]) -> dict[str, tuple[Side, int]]:
    """Words of sides; in "face arrière" the face is only what goes with the side."""
    real = {word: said for word, said in found.items() if word not in COUNTERWORDS}
    return real or found


def _read(path: str, sides: dict[str, tuple[Side, str]]) -> FileName:
    *folders, name = nfc(path).split("/")
    role: Role = "stray"
    home, side_folder = tuple(folders), ""
    for at, folder in enumerate(_ancestors(path) if sides else ()):
        if folder in sides:
            role, left = sides[folder]
            side_folder = folders[at]
            home = (*folders[:at], *([left] if left else []), *folders[at + 1:])
            break
    full_stem = name.rpartition(".")[0] or name
    stem, copies, part = _counted(full_stem)
    words = _words_of(stem)
    return FileName(path, role, home, full_stem, stem, copies, part, tuple(_number(word) for word, _, _ in words),
                    _marks(stem, words), side_folder)


def _counted(full_stem: str) -> tuple[str, int | None, tuple[int, int] | None]:
    """(the stem, its copies, its part of several), also where the side stands behind them: `hero_x2_back`."""
    stem, copies, part = count_in(full_stem)
    if copies is None and part is None:
        marks = [one for one in _words_of(full_stem) if one[0] in SIDE_WORDS]
        at = marks[-1][1] if marks else 0
        behind = full_stem[at:]
        if at and len(_words_of(behind)) == 1:
            gap = len(full_stem[:at].rstrip(" _-.(["))
            inner, copies, part = count_in(full_stem[:gap])
            if copies is not None:
                stem = inner + full_stem[gap:]
    return stem, copies, part


@lru_cache(maxsize=32)  # asked for a name's stem twice in a row
def _words_of(text: str) -> tuple[tuple[str, int, int], ...]:
    """(word as compared, start, end) of each word and number in ``text``; `heroBack` is two words."""
    found: list[tuple[str, int, int]] = []
    matches = list(_WORD.finditer(text))
    if len(matches) > _FIRST_WORDS + _LAST_WORDS:
        matches = matches[:_FIRST_WORDS] + matches[-_LAST_WORDS:]
    for match in matches:
        start = match.start()
        for at in range(match.start() + 1, match.end()):
            if text[at].isupper() and text[at - 1].islower():
                found.append((plain(text[start:at]), start, at))
                start = at
        found.append((plain(text[start:match.end()]), start, match.end()))
    return tuple(found if len(found) <= 2 * _FIRST_WORDS else found[:_FIRST_WORDS] + found[-_LAST_WORDS:])


def _number(word: str) -> str:
    return word.lstrip("0") or "0" if word.isascii() and word.isdigit() else word


def _marks(stem: str, words: tuple[tuple[str, int, int], ...]) -> tuple[Mark, ...]:
    """Everything in a stem that may say its side, the clearest first."""
    found: list[Mark] = []
    said = _without_counterwords({word: SIDE_WORDS[word] for word, _, _ in words if word in SIDE_WORDS})
    for at, (word, start, end) in enumerate(words):
        if word in said and len(found) < _MOST_MARKS:
            side, strength = SIDE_WORDS[word]
            drop = {at} | {near for near in (at - 1, at + 1) if 0 <= near < len(words)
                           and words[near][0] in COUNTERWORDS}
            rest = tuple(_number(one) for place, (one, _, _) in enumerate(words) if place not in drop)
            found.append(Mark(word, side, strength, _shown(stem, start, end), rest))
    if len(words) > 1 and words[-1][0] in _LETTERS:
        rest = tuple(_number(word) for word, _, _ in words[:-1])
        found.append(Mark(words[-1][0], None, 0, _shown(stem, words[-1][1], words[-1][2]), rest))
    elif len(words) == 2 and words[0][0] in ("f", "b") and words[1][0].isdigit():
        rest = (_number(words[1][0]),)
        found.append(Mark(f"{words[0][0]}-first", None, 0, _shown(stem, words[0][1], words[0][2]), rest))
    clear = [mark for mark in found if mark.strength == 2]
    return tuple(clear or found)


def _shown(stem: str, start: int, end: int) -> str:
    """A word of a stem with what parts it from its neighbours: "_front", "(back)", "front "."""
    before = stem[:start][len(stem[:start].rstrip(" _-.([")):]
    after = stem[end:end + 1] if stem[end:end + 1] in (")", "]") or (not before and stem[end:]) else ""
    return before + stem[start:end] + (after if not after.isalnum() else "")
