"""What commands and pages ask for: the sheets that pictures show. Loads numpy and OpenCV only when asked to read."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from importlib.util import find_spec
from pathlib import Path

from server.core.camera_marks import DeckSheet
from server.core.plan import Flip
from server.core.sighting import SheetSight, together
from server.core.sizes import Paper
from server.errors import BadValue
from server.formats.limits import DEFAULT_LIMITS, ArtLimits

NEEDS = ("numpy", "cv2")
HOW = "Install them beside Lampfold: pip install '.[photo]' in its folder. Reading by eye works without."


@dataclass(frozen=True, slots=True)
class ReadSheet:
    """A sheet as its pictures show it, and each picture as a PNG with what was found drawn on it, where asked for."""

    sight: SheetSight
    drawn: tuple[bytes, ...] = ()


def can_read() -> bool:
    """Whether what reads photographs is installed."""
    return all(find_spec(name) is not None for name in NEEDS)


def check_can_read() -> None:
    """Raises BadValue, with the way to get it, where what reads photographs isn't installed."""
    if not can_read():
        raise BadValue("photo: what reads photographs, numpy and opencv-python-headless, isn't installed.", HOW)


def read_photos(pictures: Sequence[tuple[Path, str]], paper: Paper, flip: Flip, limits: ArtLimits = DEFAULT_LIMITS,
                draw: str = "", deck: DeckSheet | None = None) -> tuple[ReadSheet, ...]:
    """One sheet from its picture or pictures, (path, label) each; ``draw`` is ".png" or ".jpg" to get them back. With
    ``deck`` it is one of that deck's; without, a deck's sheet is known by its marks. A scanner's PDF of two pages is a
    test sheet's front and back, of more a sheet for every two.

    Raises BadValue for what can't be opened as a picture, and where nothing is installed that reads one.
    """
    check_can_read()
    from server.photo.deck import read_sheet
    from server.photo.picture import drawn, greys
    from server.photo.scans import read_scans

    whole = " + ".join(label for _, label in pictures)
    pages = [(grey, label) for path, label in pictures for grey in greys(path, label, limits)]
    scanned = len(pictures) == 1 and len(pages) > 1
    if scanned and deck:
        raise BadValue(f"{whole}: is a scan, and a deck's sheet is read from a photograph.",
                       "Take it against the light, so that both sides show.")
    if scanned:
        if len(pages) % 2:
            raise BadValue(f"{whole}: has {len(pages)} pages; a scan has a front and a back for each sheet.",
                           "Scan both sides, front first.")
        sheets = []
        for at in range(0, len(pages), 2):
            name = whole if len(pages) == 2 else f"{whole}, pages {at + 1} and {at + 2}"
            front, found = read_scans(pages[at][0], pages[at + 1][0], name, paper, flip)
            sheets.append(ReadSheet(found.sight, (drawn(front, found, draw),) if draw else ()))
        return tuple(sheets)
    each = [(grey, read_sheet(grey, label, paper, flip, deck)) for grey, label in pages]
    sight = together(whole, [found.sight for _, found in each])
    return (ReadSheet(sight, tuple(drawn(grey, found, draw) for grey, found in each) if draw else ()),)


def read_two_scans(front: tuple[Path, str], back: tuple[Path, str], paper: Paper, flip: Flip,
                   limits: ArtLimits = DEFAULT_LIMITS, draw: str = "") -> ReadSheet:
    """One sheet from a flatbed's scans of its two sides. Raises BadValue as ``read_photos`` does."""
    check_can_read()
    from server.photo.picture import drawn, greys
    from server.photo.scans import read_scans

    sides = []
    for path, label in (front, back):
        pages = greys(path, label, limits)
        if len(pages) != 1:
            raise BadValue(f"{label}: has {len(pages)} pages.", "Give a scan of one side.")
        sides.append(pages[0])
    grey, found = read_scans(sides[0], sides[1], f"{front[1]} + {back[1]}", paper, flip)
    return ReadSheet(replace(found.sight), (drawn(grey, found, draw),) if draw else ())
