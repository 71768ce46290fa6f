"""What words and numbers in names mean: sides, copies and parts.

Fronts are told from backs in English, German, French, Spanish, Italian, Dutch and Polish. Common practice: what folders
and files of card art are called. A word of the second row has other meanings, too ("dos" is two, "retro" a style), so
it counts only where another name bears it out.

A name counts copies (`x2`, `_x3`, `(2x)`, `3x goblin`) and parts (`2of3`). They are read from the name's two ends,
never by trying: a name of 255 letters costs no more than its length.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache
from typing import Literal

from server.formats.limits import MAX_COPIES

Side = Literal["front", "back"]

_CLEAR: dict[Side, str] = {
    "front": "front fronts frontside frontsides cardfront cardfronts cardface cardfaces obverse recto rectos"
             " vorderseite vorderseiten vorne vorn bildseite avers kartenvorderseite kartenvorderseiten"
             " frente frentes anverso anversos delantera delanteras fronte fronti"
             " voorkant voorkanten voorzijde voorzijden przod przody awers awersy przednia",
    "back": "back backs backside backsides cardback cardbacks verso versos"
            " ruckseite ruckseiten rueckseite rueckseiten kartenrucken kartenruecken kartenruckseite"
            " kartenruckseiten kartenrueckseite kartenrueckseiten hinten kaartrug kaartruggen kaartachterkant"
            " dorso dorsos reverso reversos trasera traseras contracara dorsi retri"
            " achterkant achterkanten achterzijde achterzijden keerzijde rugzijde"
            " tyl tyly rewers rewersy tylna",
}
_OTHERWISE: dict[Side, str] = {
    "front": "face faces avant devant anterior anteriore cara caras"
             " facce faccia davanti diritto voor vorder lico delante frontal fronten",
    "back": "reverse reverses rear dos retro rovescio dietro revers envers arriere derriere posterior"
            " posteriore"
            " rug ruggen achter atras detras"
            " rucken ruecken ruck plecy",
}
SIDE_WORDS: dict[str, tuple[Side, int]] = {
    **{word: (side, 1) for side, words in _OTHERWISE.items() for word in words.split()},
    **{word: (side, 2) for side, words in _CLEAR.items() for word in words.split()},
}
# Words that mean nothing else when a whole folder is called so.
CLEAR_FOLDERS = frozenset(("dos", "rug", "ruggen", "rucken", "ruecken", "achter", "plecy", "tyly", "revers", "reverse",
                           "reverses"))
# Words that go with a side and say nothing more: "front side", "back face", "parte trasera".
COUNTERWORDS = frozenset(["side", "sides", "seite", "face", "faces", "parte", "cara", "strona", "zijde", "kant"])
# What two folders side by side are called, or names end with, where no word says the side: "Side A", "hero_VS".
SHORT_SIDES: dict[str, Side] = {"a": "front", "b": "back", "1": "front", "2": "back", "vs": "front", "rs": "back"}
# Words that part no folder or back from another.
_FILLERS = ("card cards karte karten carte cartes carta cartas kaart kaarten karta karty image images img art pic pics"
            " picture pictures png jpg jpeg pdf tif tiff webp print final default common generic standard all deck the"
            " my of hires dpi 300 600 bleed copy new only files de di del della des le la les el los")
FILLERS = COUNTERWORDS | frozenset(_FILLERS.split())


@lru_cache(maxsize=128)
def plain(text: str) -> str:
    """``text`` as words are compared: without case and accents; ß as ss, ł as l, ø as o."""
    bare = unicodedata.normalize("NFKD", text.casefold().replace("ł", "l").replace("ø", "o"))
    return "".join(letter for letter in bare if not unicodedata.combining(letter))


_TIMES = ("x", "×")
_GAP = " \t\n\r\f\v_-"
_AT_START = re.compile(r"([0-9]+)[x×]([\s_-]+)", re.IGNORECASE)
_PART = re.compile(r"(?<![0-9])([0-9]{1,3})[\s_-]?(?:of|von|van|sur)[\s_-]?([0-9]{1,3})[)\]]?$", re.IGNORECASE)
_LONGEST_PART = 13
_LETTER = re.compile(r"\w")


def count_in(text: str) -> tuple[str, int | None, tuple[int, int] | None]:
    """(the stem, its copies, its part of several). Copies are -1 where the number is no number of cards."""
    found = _at_end(text)
    if found and _LETTER.search(found[0]):
        return found[0], _number_of_copies(found[1]), None
    start = _AT_START.match(text)
    if start and _LETTER.search(text, start.end()):
        return text[start.end():], _number_of_copies(start[1]), None
    part = _PART.search(text, max(0, len(text) - _LONGEST_PART))
    if part and _LETTER.search(text[:part.start()]) and 1 <= int(part[1]) <= int(part[2]) and int(part[2]) > 1:
        return text, None, (int(part[1]), int(part[2]))
    return text, None, None


def _at_end(text: str) -> tuple[str, str] | None:
    """(what stands before, the number) of `_x3`, `_3x`, `(x3)` and `(3x)`."""
    inside = text[-1:] in (")", "]")
    rest = text[:-1].rstrip() if inside else text
    if rest[-1:].lower() in _TIMES:
        rest = rest[:-1].rstrip() if inside else rest[:-1]
        rest, number = _number_off(rest)
    else:
        rest, number = _number_off(rest)
        rest = rest.rstrip() if inside else rest
        if rest[-1:].lower() not in _TIMES:
            return None
        rest = rest[:-1]
    if inside:
        rest = rest.rstrip()
        if rest[-1:] not in ("(", "["):
            return None
        rest = rest[:-1]
    before = rest.rstrip(_GAP)
    return (before, number) if number and (inside or before != rest) else None


def _number_off(text: str) -> tuple[str, str]:
    rest = text.rstrip("0123456789")
    return rest, text[len(rest):]


def _number_of_copies(text: str) -> int:
    digits = text.lstrip("0") or "0"
    return int(digits) if len(digits) <= len(str(MAX_COPIES)) else -1
