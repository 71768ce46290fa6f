"""What lies along the edges of a picture: one colour, a gradient or a picture; and whether its corners are round.

Looked at in a picture shrunk to about a tenth of a millimetre for a pixel, so that the noise of a JPEG is averaged.
"""

from __future__ import annotations

import math

from PIL import Image, ImageChops

from server.core.edge_bleed import ArtEdges, EdgeKind, EdgeSeen, Rgb

LOOK_PX = 768
# Levels of 255: what one colour may range by (its noisiest fiftieth left out), and how far a gradient may lie from a
# smooth line. 12 is near what the eye finds in print (common practice).
_FLAT, _SMOOTH, _OUTLIERS = 14, 10, 0.02
_KNOTS = 8
# Paper or nothing, as JPEG leaves it.
_PAPER, _TINT = 224, 40
# Round corners of 2 to 5 mm on cards of 44 to 70 mm, and a little beyond, as shares of the art's width.
_LEAST_CORNER, _MOST_CORNER = 0.025, 0.14
_SEEN_PX = 0.67
_LEFT_OUT = 0.03  # of each end of an edge, where a neighbouring edge's colours mix in


def look_along(picture: Image.Image, rgb: Rgb) -> ArtEdges:
    """The edges of an upright RGB picture that is no larger than LOOK_PX; ``rgb`` is the median of all four."""
    width, height = picture.size
    corner = _corner(picture)
    lines = {"left": picture.crop((0, 0, 1, height)).transpose(Image.Transpose.TRANSPOSE),
             "top": picture.crop((0, 0, width, 1)),
             "right": picture.crop((width - 1, 0, width, height)).transpose(Image.Transpose.TRANSPOSE),
             "bottom": picture.crop((0, height - 1, width, height))}
    seen = {}
    for name, line in lines.items():
        out = round(max(_LEFT_OUT * line.width, 1.15 * corner))
        seen[name] = _seen(line.crop((out, 0, max(out + 1, line.width - out), 1)))
    return ArtEdges(seen["left"], seen["top"], seen["right"], seen["bottom"], corner / width, rgb)


def _seen(line: Image.Image) -> EdgeSeen:
    channels = [sorted(channel.tobytes()) for channel in line.split()]
    count = len(channels[0])
    cut = int(count * _OUTLIERS)
    middle = tuple(values[count // 2] for values in channels)
    kind: EdgeKind = "picture"
    if max(values[count - 1 - cut] - values[cut] for values in channels) <= _FLAT:
        kind = "flat"
    elif _is_smooth(line):
        kind = "gradient"
    return EdgeSeen(kind, (middle[0], middle[1], middle[2]))


def _is_smooth(line: Image.Image) -> bool:
    """True if the line is what a few knots along it tell, give or take its noise."""
    count = line.width
    if count < 4 * _KNOTS:
        return False
    knots = line.resize((_KNOTS, 1), Image.Resampling.BOX).resize((count, 1), Image.Resampling.BICUBIC)
    half = count // _KNOTS // 2  # a resized line is level before its first knot and after its last
    off = [abs(a - b) for a, b in zip(line.crop((half, 0, count - half, 1)).tobytes(),
                                      knots.crop((half, 0, count - half, 1)).tobytes(), strict=True)]
    off.sort()
    return off[len(off) - 1 - int(len(off) * _OUTLIERS)] <= _SMOOTH


def _corner(picture: Image.Image) -> float:
    """The radius in px of corners that are paper beside art, 0.0 where fewer than three of the four are."""
    grey = _whiteness(picture)
    turns = (None, Image.Transpose.ROTATE_90, Image.Transpose.ROTATE_180, Image.Transpose.ROTATE_270)
    radii = sorted(radius for turn in turns if (radius := _radius(grey.transpose(turn) if turn is not None else grey)))
    if len(radii) < 3 or radii[-1] > 1.4 * radii[-3] + 2:
        return 0.0
    return radii[-1]


def _whiteness(picture: Image.Image) -> Image.Image:
    """255 for white alone. A JPEG's colours lie coarser than its light, so they may be a little off beside art."""
    red, green, blue = picture.split()
    darkest = ImageChops.darker(ImageChops.darker(red, green), blue)
    return ImageChops.darker(picture.convert("L"), darkest.point(lambda value: min(255, value + _TINT)))


def _radius(grey: Image.Image) -> float:
    """The radius of the top left corner of paper, 0.0 where there is none of that shape."""
    shorter = min(grey.size)
    most, least = round(_MOST_CORNER * shorter), 3  # px: fewer are no arc
    across = _run(grey.crop((0, 0, most + 2, 1)).tobytes())
    down = _run(grey.crop((0, 0, 1, most + 2)).tobytes())
    if not (least <= across <= most and least <= down <= most) or abs(across - down) > 2 + 0.25 * max(across, down):
        return 0.0
    run = (across + down) / 2
    # An arc leaves its tangent slowly: over its last part less than this of a pixel is paper.
    radius = run + _SEEN_PX + math.sqrt(_SEEN_PX ** 2 + 2 * _SEEN_PX * run)
    diagonal = _run(bytes(int(grey.getpixel((at, at))) for at in range(most)))  # type: ignore[arg-type]
    if radius < _LEAST_CORNER * shorter:
        return 0.0
    # The arc crosses the diagonal at 0.293 radii; paper cut straight across would do so at a half.
    return radius if abs(diagonal - 0.293 * radius) <= 2 + 0.08 * radius else 0.0


def _run(values: bytes) -> int:
    """How many of ``values`` are paper before the first that isn't."""
    return next((at for at, value in enumerate(values) if value < _PAPER), len(values))
