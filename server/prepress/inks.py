"""The ink that a version mark takes on each front: black or white, whichever the art under it lets read."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from server.core.art import Art
from server.core.bleed import ArtFit
from server.core.geometry import Edges, Rect, bounds
from server.core.ink import PALE
from server.core.version_mark import VersionMark
from server.errors import Unreadable
from server.formats.limits import DEFAULT_LIMITS, ArtLimits

if TYPE_CHECKING:
    from PIL import Image

Rgb = tuple[int, int, int]
_BLACK, _WHITE = (0, 0, 0), (255, 255, 255)
_LOOKED_AT_PX = 1400  # on the longer side: a few pixels to the thickness of a letter
_AROUND_MM = 0.4
_MOST_PX = 200  # of the ground, along


def mark_inks(fronts: Iterable[tuple[Art, ArtFit]], source: Callable[[Art], Path], mark: VersionMark, *, pale: bool,
              limits: ArtLimits = DEFAULT_LIMITS) -> tuple[dict[str, Rgb], dict[str, Unreadable]]:
    """The ink for each front and what can't be decoded, both by the art's key. Decodes. ``pale``: white lies over it.

    The contrast is that of WCAG 2.2 (relative luminance, and (L1 + 0.05) / (L2 + 0.05)), as the geometric mean over
    what lies under the mark and close around it. One of the two inks always has 4.58 : 1 or more on a flat ground,
    the square root of 1.05 / 0.05.
    """
    from server.formats.pixels import upright

    inks: dict[str, Rgb] = {}
    broken: dict[str, Unreadable] = {}
    for art, fit in fronts:
        try:
            picture = upright(source(art), art, _LOOKED_AT_PX, limits)
        except Unreadable as error:
            broken[art.key] = error
            continue
        part = _under(fit, mark.box.grown(Edges.all(_AROUND_MM)))
        width, height = picture.size
        left, top = (min(max(0, int(at * size)), size - 1) for at, size in ((part.x, width), (part.y, height)))
        right, bottom = (min(max(first + 1, math.ceil(at * size)), size) for first, at, size in (
            (left, part.right, width), (top, part.bottom, height)))
        inks[art.key] = _ink_on(picture.crop((left, top, right, bottom)), pale)
    return inks, broken


def _ink_on(ground: Image.Image, pale: bool) -> Rgb:
    from PIL import Image

    ground = ground.convert("RGB")
    ground.thumbnail((_MOST_PX, _MOST_PX), Image.Resampling.BOX)
    # sRGB to linear light, and its weights: WCAG 2.2, "relative luminance".
    shares = [1 - (1 - value / 255) * (1 - PALE if pale else 1) for value in range(256)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    pixels = ground.tobytes()
    logs = [math.log(0.2126 * linear[red] + 0.7152 * linear[green] + 0.0722 * linear[blue] + 0.05)
            for red, green, blue in zip(pixels[::3], pixels[1::3], pixels[2::3], strict=True)]
    return _BLACK if sum(logs) / len(logs) > 0.5 * math.log(1.05 * 0.05) else _WHITE


def _under(fit: ArtFit, box: Rect) -> Rect:
    """Where a box of the card lies in the art, as shares of its width and height as seen."""
    back = fit.matrix.inverse()
    return bounds(back(corner) for corner in box.corners)
