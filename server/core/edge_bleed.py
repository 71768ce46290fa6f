"""Bleed that suits each edge of the art: one colour runs out, a gradient's edge is drawn out, a picture is mirrored.

What an edge looks like is measured once for each art (``ArtEdges``, as it is seen); how it then is made is decided for
each edge of the card (``MadeSide``). Art that was exported with its corners already round has them filled, so that no
white nick shows at the cut.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from server.core.geometry import Affine, Rect
from server.core.wording import in_words

Rgb = tuple[int, int, int]
EdgeMode = Literal["auto", "art", "mirror", "stretch", "colour", "none"]
EdgeKind = Literal["flat", "gradient", "picture"]
SideMade = Literal["colour", "edge", "mirror"]

SideName = Literal["left", "top", "right", "bottom"]

SIDES: tuple[SideName, ...] = ("left", "top", "right", "bottom")
MADE_OF: dict[EdgeKind, SideMade] = {"flat": "colour", "gradient": "edge", "picture": "mirror"}
_WORDS: dict[SideMade, str] = {"colour": "run out as one colour", "edge": "drawn out", "mirror": "mirrored"}
# So much of the art's edge is drawn out to the whole bleed: a pixel or three at 300 ppi.
_EDGE_MM = 0.25
# Layers reach this far under the art, so that no light hairline shows between two soft edges.
OVERLAP_MM = 0.05
_CORNER_STRIPS = 10
# A round corner's soft rim is covered along with it. Beyond 0.293 radii on the diagonal, 1 - 1/sqrt 2, all is art.
_RIM_MM, _INSIDE = 0.12, 0.36


@dataclass(frozen=True, slots=True)
class EdgeSeen:
    """What lies along one edge of the art, and its middle colour."""

    kind: EdgeKind
    rgb: Rgb


@dataclass(frozen=True, slots=True)
class ArtEdges:
    """The four edges as seen; ``corner`` is the radius of corners that are white or clear, as a share of the art's
    width as seen, 0.0 where they aren't round; ``rgb`` is the middle colour of all four."""

    left: EdgeSeen
    top: EdgeSeen
    right: EdgeSeen
    bottom: EdgeSeen
    corner: float = 0.0
    rgb: Rgb = (255, 255, 255)

    def sides(self, turned: bool) -> tuple[MadeSide, ...]:
        """How each edge of the card is made, left, top, right, bottom; ``turned`` says that the art lies a quarter
        clockwise, so that what was below lies to the left."""
        seen = (self.bottom, self.left, self.top, self.right) if turned else (
            self.left, self.top, self.right, self.bottom)
        return tuple(MadeSide(MADE_OF[edge.kind], edge.rgb) for edge in seen)


@dataclass(frozen=True, slots=True)
class MadeSide:
    """How the bleed beyond one edge is made; ``rgb`` counts for "colour"."""

    made: SideMade
    rgb: Rgb = (255, 255, 255)


@dataclass(frozen=True, slots=True)
class Stamp:
    """One placing of the art: unit square to card frame, cut off at ``clip``."""

    matrix: Affine
    clip: Rect


@dataclass(frozen=True, slots=True)
class Flood:
    """One colour over a rectangle of the card's frame."""

    rect: Rect
    rgb: Rgb


def sides_text(sides: Sequence[MadeSide]) -> str:
    """For people: ``bleed: left and right mirrored, top run out as one colour``."""
    groups: dict[SideMade, list[str]] = {}
    for name, side in zip(SIDES, sides, strict=True):
        groups.setdefault(side.made, []).append(name)
    if len(groups) == 1:
        return {"colour": "bleed takes each edge's colour", "edge": "the edge is drawn out as bleed",
                "mirror": "bleed is mirrored"}[sides[0].made]
    return "bleed: " + ", ".join(f"{in_words(names, 'and')} {_WORDS[made]}" for made, names in groups.items())


@dataclass(frozen=True, slots=True)
class _Way:
    """One axis of a band: where it lies, how art is carried there (x' = scale x + offset), its colour if it is one."""

    start: float
    end: float
    scale: float = 1.0
    offset: float = 0.0
    rgb: Rgb | None = None
    is_middle: bool = False


def side_layers(rect: Rect, matrix: Affine, region: Rect, sides: Sequence[MadeSide]) -> list[Stamp | Flood]:
    """The made bleed of art that lies in ``rect``, out to ``region``: corners first, sides over them."""
    left, top, right, bottom = sides
    across = _ways(rect.x, rect.right, region.x, region.right, left, right)
    down = _ways(rect.y, rect.bottom, region.y, region.bottom, top, bottom)
    corners: list[Stamp | Flood] = []
    bands: list[Stamp | Flood] = []
    for x in across:
        for y in down:
            if x.is_middle and y.is_middle:
                continue
            clip = Rect(x.start, y.start, x.end - x.start, y.end - y.start).shared(region)
            rgb = x.rgb or y.rgb
            carried = Affine(x.scale, 0, 0, y.scale, x.offset, y.offset).after(matrix)
            layer = Flood(clip, rgb) if rgb else Stamp(carried, clip)
            (bands if x.is_middle or y.is_middle else corners).append(layer)
    return corners + bands


def _ways(first: float, last: float, out_first: float, out_last: float, before: MadeSide,
          after: MadeSide) -> list[_Way]:
    """The middle and, where the region reaches further than the art, what lies before and after it."""
    ways = [_Way(max(first, out_first), min(last, out_last), is_middle=True)]
    if out_first < first:
        ways.append(_way(before, first, out_first, 1.0))
    if out_last > last:
        ways.append(_way(after, last, out_last, -1.0))
    return ways


def _way(side: MadeSide, edge: float, out: float, inwards: float) -> _Way:
    """The band from ``out`` to a little beyond ``edge``; ``inwards`` is +1 where the art lies after the edge."""
    inner = edge + 2 * OVERLAP_MM * inwards
    start, end = min(out, inner), max(out, inner)
    if side.made == "colour":
        return _Way(start, end, rgb=side.rgb)
    if side.made == "mirror":
        return _Way(start, end, -1.0, 2 * (edge + OVERLAP_MM * inwards))
    scale = (inner - out) / (_EDGE_MM * inwards)
    return _Way(start, end, scale, out - scale * edge)


def corner_layers(rect: Rect, matrix: Affine, region: Rect, radius: float,
                  sides: Sequence[MadeSide]) -> Iterator[Stamp | Flood]:
    """What lies over round corners of ``radius`` mm that the art was exported with, their mirror in the bleed too."""
    left, top, right, bottom = sides
    for x_edge, x_out, x_in, x_side in ((rect.x, region.x, 1.0, left), (rect.right, region.right, -1.0, right)):
        for y_edge, y_out, y_in, y_side in ((rect.y, region.y, 1.0, top), (rect.bottom, region.bottom, -1.0, bottom)):
            rgb = x_side.rgb if x_side.made == "colour" else y_side.rgb if y_side.made == "colour" else None
            carried = _drawn_out(x_edge, x_out, x_in, y_edge, y_out, y_in, radius).after(matrix)
            for strip in _strips(x_edge, x_out, x_in, y_edge, y_out, y_in, radius):
                clip = strip.shared(region)
                if clip.width > 0 and clip.height > 0:
                    yield Flood(clip, rgb) if rgb else Stamp(carried, clip)


def _drawn_out(x_edge: float, x_out: float, x_in: float, y_edge: float, y_out: float, y_in: float,
               radius: float) -> Affine:
    """Carries the art inside the round corner out to the region's own corner."""
    scales, offsets = [], []
    for edge, out, inwards in ((x_edge, min(x_out * x_in, x_edge * x_in) * x_in, x_in),
                               (y_edge, min(y_out * y_in, y_edge * y_in) * y_in, y_in)):
        near, far = edge + _INSIDE * radius * inwards, edge + radius * inwards
        scale = (far - out) / (far - near)
        scales.append(scale)
        offsets.append(far - scale * far)
    return Affine(scales[0], 0, 0, scales[1], offsets[0], offsets[1])


def _strips(x_edge: float, x_out: float, x_in: float, y_edge: float, y_out: float, y_in: float,
            radius: float) -> Iterator[Rect]:
    """Level strips from the region's side to just past the arc, from the region's end to the corner's."""
    end = min(0.0, (y_out - y_edge) * y_in)
    cuts = ([end] if end < 0 else []) + [radius * at / _CORNER_STRIPS for at in range(_CORNER_STRIPS + 1)]
    for near, far in pairwise(cuts):
        # In the bleed the edge's own row may have been drawn out, which is paper for a whole radius.
        reach = radius - math.sqrt(radius ** 2 - (radius - max(0.0, near)) ** 2) + _RIM_MM
        ends = sorted((x_out if (x_out - x_edge) * x_in < 0 else x_edge, x_edge + reach * x_in))
        rows = sorted((y_edge + near * y_in, y_edge + far * y_in))
        yield Rect(ends[0], rows[0], ends[1] - ends[0], rows[1] - rows[0])
