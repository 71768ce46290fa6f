"""Words by which people tell fronts from backs, in English, German, French, Spanish, Italian, Dutch and Polish.

Common practice: what folders and files of card art are called. A word of the second row has other meanings, too
("dos" is two, "retro" a style), so it counts only where another name bears it out.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Literal

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
