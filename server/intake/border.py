"""Measure a back's edges, border and nearest art from its pixels.

Fast because only slabs along the cut edges are looked at, from the cut inwards until something stands apart; exact
because the slabs are at full resolution and a blended pixel counts by its share.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TypeVar

from PIL import Image

from server.core.art import Art
from server.core.bleed import ArtFit
from server.core.geometry import Rect
from server.core.leeway import EDGE_SPREAD, PAPER_LEVEL, BackProfile, EdgeLook, SideName, Sides, trim_window
from server.core.sizes import CardSize
from server.core.units import MM_PER_INCH
from server.errors import Unreadable
from server.formats.pixels import upright
from server.intake.decode_check import of_each
from server.intake.side_bands import Apart, Box, View, above

# Art stands apart from an edge's colour when a channel differs by more than this, or by more than the edge itself
# ranges: 12 of 255 is near what the eye finds in print, and above the noise of a fair JPEG (common practice).
APART_LEVEL = 12
# Lossy files ring beside strong edges; what is weaker than this share of the edge just behind it is ringing.
_RINGING_SHARE, _RINGING_PX = 0.4, 16
VECTOR_PPI = 300.0  # PDF pages are looked at as finely as good art is drawn
_LOSSY = ("jpeg", "webp", "avif")
# Art with round corners drawn in: this share of each end of a cut edge may differ (4 mm of a poker card's width).
_CORNER_SHARE = 0.065
_EDGE_PX = 2
# A frame is a straight edge: over these few rows most of the side goes from border to something else. Deeper than
# this share of the card nothing reads as a border.
_FRAME_RISE, _FRAME_ROWS, _FRAME_DEPTH, _THIN = 0.4, 4, 0.35, 8
_ORDER: tuple[SideName, ...] = ("top", "bottom", "left", "right")

T = TypeVar("T")


def measure_back(path: Path, art: Art, card: CardSize, fit: ArtFit) -> BackProfile:
    """The profile of the back at ``path``, looked at where ``fit`` lays the trim. Raises Unreadable."""
    longest = round(max(art.size_mm) / MM_PER_INCH * VECTOR_PPI) if art.is_vector and art.size_mm else None
    return profile_of(upright(path, art, longest), trim_window(fit, card), art.kind in _LOSSY)


def measure_backs(backs: Iterable[tuple[Art, ArtFit]], source: Callable[[Art], Path],
                  card: CardSize) -> dict[str, BackProfile | Unreadable]:
    """The profile of each distinct back by its key, or the refusal of one that can't be decoded."""
    distinct = {art.key: (art, fit) for art, fit in backs}

    def measure(art: Art) -> BackProfile | Unreadable:
        try:
            return measure_back(source(art), art, card, distinct[art.key][1])
        except Unreadable as error:
            return error

    return dict(zip(distinct, of_each((art for art, _ in distinct.values()), measure), strict=True))


def profile_of(image: Image.Image, window: Rect, lossy: bool = False) -> BackProfile:
    """The profile of an upright RGB picture. ``window`` is the trim in its unit square; pixels wholly inside count."""
    box = _inside(window, image.size)
    whole = {side: View(image, box, side) for side in _ORDER}
    looks = _edge_looks(whole)
    nearest: dict[SideName, float | None] = dict.fromkeys(_ORDER)
    frame: dict[SideName, float | None] = dict.fromkeys(_ORDER)
    for side in _ORDER:
        look = looks[side]
        if look.is_one_colour:
            view = whole[side].without_ends(_CORNER_SHARE) if look.corners_differ else whole[side]
            nearest[side], frame[side] = _inwards(Apart(view, look.rgb), max(APART_LEVEL, look.spread), lossy)
            if nearest[side] is None and all(_alike(look, looks[other]) for other in _ORDER):
                break  # one colour from edge to edge: the other sides can find nothing either
    ink = {side: _ink(View(image, (0, 0, *image.size), side), box, lossy) for side in _ORDER}
    return BackProfile(_sides(looks), _sides(nearest), _sides(frame), _sides(ink))


def _sides(found: dict[SideName, T]) -> Sides[T]:
    return Sides(found["left"], found["right"], found["top"], found["bottom"])


def _inside(window: Rect, size: tuple[int, int]) -> Box:
    width, height = size
    slack = 1e-4  # a trim that meets a pixel's edge, but for rounding, keeps that pixel
    left, top = math.ceil(window.x * width - slack), math.ceil(window.y * height - slack)
    right, bottom = math.floor(window.right * width + slack), math.floor(window.bottom * height + slack)
    left, top = min(max(left, 0), width - 1), min(max(top, 0), height - 1)
    return left, top, min(max(right, left + 1), width), min(max(bottom, top + 1), height)


def _edge_looks(views: Mapping[SideName, View]) -> dict[SideName, EdgeLook]:
    """What lies along each side. Ends that differ are passed over where they can be round corners drawn in."""
    full = {side: _look(view) for side, view in views.items()}
    middle = {side: full[side] if full[side].is_one_colour else _look(view.without_ends(_CORNER_SHARE))
              for side, view in views.items()}
    found = {}
    for side in views:
        beside: tuple[SideName, ...] = ("left", "right") if side in ("top", "bottom") else ("top", "bottom")
        rounded = middle[side].is_one_colour and all(_alike(middle[side], middle[other]) for other in beside)
        look = middle[side] if rounded else full[side]
        found[side] = EdgeLook(look.rgb, look.spread, rounded and not full[side].is_one_colour)
    return found


def _alike(first: EdgeLook, second: EdgeLook) -> bool:
    return max(abs(a - b) for a, b in zip(first.rgb, second.rgb, strict=True)) <= EDGE_SPREAD


def _look(view: View) -> EdgeLook:
    edge = view.rows(0, min(_EDGE_PX, view.depth))
    flat = edge.getcolors(1)  # an edge of just one colour, the common case, is told apart much faster
    if flat and isinstance(flat[0][1], tuple):
        red, green, blue = flat[0][1]
        return EdgeLook((red, green, blue), 0)
    extremes = edge.getextrema()
    pairs = [pair for pair in extremes if isinstance(pair, tuple)]
    red, green, blue = (round((low + high) / 2) for low, high in pairs)
    return EdgeLook((red, green, blue), round(max(high - low for low, high in pairs)))


@dataclass(frozen=True, slots=True)
class _Found:
    """Where art begins, in px, and the window in which it was found: its first row, its differences, and which of
    them are above the level."""

    start: float
    window: int
    grey: Image.Image
    over: Image.Image


def _inwards(apart: Apart, level: int, lossy: bool) -> tuple[float | None, float | None]:
    """(nearest art, end of a straight border) as unit coordinates."""
    found = _first_art(apart, level, lossy)
    if found is None:
        return None, None
    near = apart.view.unit_at(found.start)
    row = _frame_row(apart.view, found.over)
    if row is None:
        frame = _deeper_frame(apart, level, found.window + _FRAME_ROWS)
    elif abs(found.window + row - found.start) < 1.5:
        return near, near  # the frame is the art
    else:
        frame = found.window + _frame_edge(apart.view, found.grey, row)
    return near, None if frame is None else apart.view.unit_at(frame)


def _first_art(apart: Apart, level: int, lossy: bool) -> _Found | None:
    behind = _RINGING_PX + 2 if lossy else _FRAME_ROWS
    at = apart.first_other(0)
    while at is not None:
        window = max(0, at - _FRAME_ROWS)
        # A lossy file spreads whatever it shows over several pixels, so every other one along the side tells as much.
        grey = apart.grey(window, min(at + 2 * behind, apart.depth), 2 if lossy else 1)
        over = above(grey, level)
        row = apart.view.first_in(over)
        if row is not None and (window + row <= at + behind or at + 2 * behind >= apart.depth):
            return _Found(window + _refined(apart.view, grey, level, row, lossy), window, grey, over)
        # Noise so far, or art too near to the window's end to judge: look again from further in.
        at = apart.first_other(at + 2 * behind) if row is None else window + row
    return None


def _refined(view: View, grey: Image.Image, level: int, row: int, lossy: bool) -> float:
    """A row that is blended with the border counts by its share of the row behind it."""
    if lossy:
        near = view.strip(grey, row, row + _RINGING_PX)
        strong = max(level, math.ceil(_RINGING_SHARE * _peak(near)) - 1)
        row += view.first_in(above(near, strong)) or 0
    here = _peak(view.strip(grey, row, row + 1))
    return row + 1 - here / max(here, _peak(view.strip(grey, row + 1, row + 2)))


def _peak(grey: Image.Image) -> float:
    if not (grey.width and grey.height):
        return 0.0
    high = grey.getextrema()[1]
    return float(high) if isinstance(high, (int, float)) else 0.0


def _frame_row(view: View, over: Image.Image) -> int | None:
    """The row of this window at which most of the side turns from border to something else at once; None if nowhere."""
    share = [value / 255 for value in view.means(over)]
    full = next((row for row, value in enumerate(share) if value >= 0.5), None)
    if full is None or full + 1 >= len(share) or share[full] - share[max(0, full - _FRAME_ROWS)] < _FRAME_RISE:
        return None
    return full


def _frame_edge(view: View, grey: Image.Image, row: int) -> float:
    """Where within that row the frame begins, by how much of it is blended with the border."""
    means = view.means(grey)
    before, behind = means[row - 1] if row else 0, means[row + 1]
    covered = (means[row] - before) / (behind - before) if behind > before else 1.0
    return row + 1 - min(1.0, max(0.0, covered))


def _deeper_frame(apart: Apart, level: int, start: int) -> float | None:
    """The same, further in: found on a thinned picture, then looked at closely."""
    end = min(apart.depth, round(apart.depth * _FRAME_DEPTH))
    if end - start <= _FRAME_ROWS:
        return None
    share = apart.view.means(above(apart.grey(start, end, _THIN), level))
    rough = next((row for row, value in enumerate(share) if value >= 127), None)
    if rough is None:
        return None
    window = max(0, start + rough - 2 * _FRAME_ROWS)
    grey = apart.grey(window, min(window + 4 * _FRAME_ROWS, apart.depth))
    row = _frame_row(apart.view, above(grey, level))
    return None if row is None else window + _frame_edge(apart.view, grey, row)


def _ink(whole: View, box: Box, lossy: bool) -> float | None:
    """Where print begins below a white rim, as a unit coordinate; None where the rim is printed or is the cut."""
    image = whole.image
    spare = {"left": box[0], "top": box[1], "right": image.width - box[2], "bottom": image.height - box[3]}
    view = whole.without_ends(_CORNER_SHARE)  # marks at the corners of the bleed are not print
    if spare[whole.side] < 1 or not _look(view).is_paper:
        return None
    found = _first_art(Apart(view, (255, 255, 255)), 255 - PAPER_LEVEL, lossy)
    return view.unit_at(found.start) if found else None
