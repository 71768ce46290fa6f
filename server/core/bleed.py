"""How a piece of art lies on a card, and how bleed is made where the art has none.

Everything is in the card's own frame: origin at the trim's top-left corner, the card upright. Bleed is made without
touching pixels: the same art is stamped again, mirrored or stretched, under the art and cut off at the bleed's edge.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

from server.core.art import Art
from server.core.edge_bleed import (
    OVERLAP_MM,
    SIDES,
    Flood,
    MadeSide,
    Rgb,
    SideMade,
    SideName,
    Stamp,
    corner_layers,
    side_layers,
    sides_text,
)
from server.core.geometry import Affine, Edges, Rect
from server.core.settings import EdgeMode
from server.core.sizes import CardSize
from server.core.units import mm_text

MadeBleed = Literal["mirror", "stretch", "colour", "none"]

# Art whose proportions are this near to a reading is taken so, and scaled to meet it exactly: 0.8 % is 0.5 mm on a
# poker card, and a third of what separates trim size from trim with 3 mm bleed.
ASPECT_TOLERANCE = 0.008
# A bleed that nobody asked for needs closer proof, or any odd shape would be explained by one.
COMMON_TOLERANCE = 0.003
# Bleeds that art is commonly drawn with: 3 mm, 1/8 in, and what other print shops ask for (common practice).
COMMON_BLEEDS_MM = (3.0, 3.175, 2.0, 1.5, 5.0)
_SIZE_TOLERANCE_MM = 0.5
# What a decision says of "auto" before anybody has looked at the edges; ``ArtFit.how`` says it after that.
SUITED = "bleed is made to suit its edges"
_EDGE_WORDS: dict[MadeBleed | SideMade, str] = {
    "colour": "one colour, run out", "edge": "its edge drawn out", "mirror": "mirrored", "stretch": "stretched",
    "none": "none, so bare paper"}
_SLACK_MM = 0.05  # a bleed that lacks so little lacks nothing


@dataclass(frozen=True, slots=True)
class ArtFit:
    """Where the whole art lies on its card and what is done beyond its edge.

    ``rect`` holds the whole art, in mm in the card's frame, negative where it reaches into the bleed; ``turned`` says
    that the art is turned a quarter clockwise to fit; ``carries_mm`` is the bleed it brings along; ``cropped_mm`` is
    what an odd shape loses beyond the bleed (0: none); ``decision`` says it in words. Where each edge of the
    art was looked at, ``how`` says what came of it, ``sides`` how that of the card is made, left, top, right, bottom,
    and ``corner_mm`` is the radius of round corners that the art was exported with; else all are as ``made`` says.
    """

    rect: Rect
    turned: bool
    made: MadeBleed
    carries_mm: float
    cropped_mm: float
    decision: str
    how: str = ""
    sides: tuple[MadeSide, ...] = ()
    corner_mm: float = 0.0

    @property
    def matrix(self) -> Affine:
        """The art's unit square, as viewed, into the card's frame."""
        rect = self.rect
        if self.turned:
            return Affine(0.0, rect.height, -rect.width, 0.0, rect.right, rect.y)
        return Affine(rect.width, 0.0, 0.0, rect.height, rect.x, rect.y)

    def ppi(self, art: Art) -> float:
        """Pixels per inch as printed, the poorer direction; of vector art its coarsest picture's, infinite for none."""
        width, height = (self.rect.height, self.rect.width) if self.turned else (self.rect.width, self.rect.height)
        if art.is_vector:
            page = art.size_mm or (width, height)
            return art.picture_ppi * min(page[0] / width, page[1] / height) if art.picture_ppi else float("inf")
        return 25.4 * min(art.view_px[0] / width, art.view_px[1] / height)


def _off(aspect: float, width: float, height: float) -> float:
    ratio = aspect * height / width
    return max(ratio, 1.0 / ratio) - 1.0  # the same for too wide and too tall, or a square would count as lying


@dataclass(frozen=True, slots=True)
class EdgeSays:
    """What becomes of the bleed beyond one edge of the card, in words, and its colour where it is one."""

    side: SideName
    says: str
    rgb: Rgb | None = None


def edges_say(fit: ArtFit, card: CardSize, bleed_mm: float, edge_rgb: Rgb | None) -> tuple[EdgeSays, ...]:
    """How the bleed of each edge comes about, left, top, right, bottom: the art's own as far as it reaches, then made.

    ``edge_rgb`` is the art's colour for "colour" all round.
    """
    reaches = (-fit.rect.x, -fit.rect.y, fit.rect.right - card.width_mm, fit.rect.bottom - card.height_mm)
    found = []
    for number, (side, reach) in enumerate(zip(SIDES, reaches, strict=True)):
        made = fit.sides[number].made if fit.sides else fit.made
        if bleed_mm <= 0:
            found.append(EdgeSays(side, "no bleed"))
        elif reach >= bleed_mm - _SLACK_MM:
            found.append(EdgeSays(side, "its own bleed"))
        else:
            own = f"its own {mm_text(reach, 1)} mm, then " if reach > _SLACK_MM else ""
            rgb = fit.sides[number].rgb if fit.sides else edge_rgb
            found.append(EdgeSays(side, own + _EDGE_WORDS[made], rgb if made == "colour" else None))
    return tuple(found)


def decide(art: Art, card: CardSize, bleed_mm: float, edges: EdgeMode) -> ArtFit:
    """How ``art`` lies on ``card``: ``auto`` reads from its proportions whether it is trim size or carries bleed, and
    from its edges, where they have been looked at, how bleed is made beyond each. An art's own choice comes first."""
    edges = art.bleed or edges
    fit = _decided(art.shape, card, bleed_mm, edges)  # a deck of 1,500 cards has a handful of shapes
    if edges not in ("auto", "art") or art.edges is None or fit.carries_mm >= bleed_mm - _SLACK_MM > 0:
        return fit
    sides = art.edges.sides(fit.turned)
    width_mm = fit.rect.height if fit.turned else fit.rect.width
    corner = art.edges.corner * width_mm if not fit.carries_mm else 0.0
    if not (bleed_mm or corner):
        return fit
    said = sides_text(sides) + ("; its round corners are filled" if corner else "")
    return replace(fit, sides=sides, corner_mm=corner, how=said)


@lru_cache(maxsize=2048)
def _decided(art: Art, card: CardSize, bleed_mm: float, edges: EdgeMode) -> ArtFit:
    size = card.width_mm, card.height_mm
    own = _by_own_trim(art, size, bleed_mm, edges)
    if own:
        return own
    off, carries = _best(art, size, bleed_mm, edges)
    turned_off, turned_carries = _best(art, size[::-1], bleed_mm, edges)
    turned = off > ASPECT_TOLERANCE and turned_off < off - ASPECT_TOLERANCE
    if turned:
        off, carries = turned_off, turned_carries
    if off > ASPECT_TOLERANCE:
        carries = 0.0  # an odd shape covers the trim; what it has to spare on one axis serves as bleed there
    target = Rect(0, 0, *size).grown(Edges.all(carries))
    made: MadeBleed = "mirror" if edges == "auto" or edges == "art" else edges
    reading = f"carries {mm_text(carries, 3)} mm of bleed" if carries else "is the trim size"
    how = {"mirror": "bleed is mirrored", "stretch": "bleed is stretched", "colour": "bleed takes its edge colour",
           "none": "no bleed"}.get(edges, SUITED)
    decision = reading if carries >= bleed_mm - _SLACK_MM > 0 else f"{reading}; {how}"
    if turned:
        decision += "; turned a quarter to fit"
    if off <= ASPECT_TOLERANCE:
        return ArtFit(target, turned, made, carries, 0.0, decision)
    rect, cropped = _cover(art.aspect if not turned else 1 / art.aspect, target)
    return ArtFit(rect, turned, made, carries, cropped,
                  f"fits neither the trim nor the trim with bleed; {mm_text(cropped, 1)} mm of the "
                  "picture falls outside the card"
                  f"{'; turned a quarter' if turned else ''}; {how}")


def _by_own_trim(art: Art, size: tuple[float, float], bleed_mm: float, edges: EdgeMode) -> ArtFit | None:
    """How art lies that states its own trim, where that has the card's proportions."""
    trim = art.trim_mm
    if trim is None or art.size_mm is None or edges not in ("auto", "art"):
        return None
    across, down = art.size_mm[0] - trim.left - trim.right, art.size_mm[1] - trim.top - trim.bottom
    if min(across, down) <= 0:
        return None
    turned = _off(across / down, *size) > ASPECT_TOLERANCE >= _off(down / across, *size)
    if turned:  # a quarter turn clockwise: what was below lies to the left
        across, down, trim = down, across, Edges(trim.bottom, trim.left, trim.top, trim.right)
    if _off(across / down, *size) > ASPECT_TOLERANCE:
        return None
    wide, high = size[0] / across, size[1] / down
    around = Edges(trim.left * wide, trim.top * high, trim.right * wide, trim.bottom * high)
    carries = min(around.left, around.top, around.right, around.bottom)
    decision = f"states its trim, with {mm_text(carries, 3)} mm of bleed" if carries else "states its trim"
    decision += "" if carries >= bleed_mm - _SLACK_MM > 0 else f"; {SUITED}"
    return ArtFit(Rect(0, 0, *size).grown(around), turned, "mirror", carries, 0.0,
                  decision + ("; turned a quarter to fit" if turned else ""))


def _best(art: Art, size: tuple[float, float], bleed_mm: float, edges: EdgeMode) -> tuple[float, float]:
    """(how far off, bleed carried in mm) of the nearest reading of the art at that trim size."""
    readings = [0.0] if edges != "art" else []
    if edges in ("auto", "art"):
        readings += [bleed for bleed in (bleed_mm, *COMMON_BLEEDS_MM) if bleed > 0]
    if not readings:
        readings = [0.0]
    offs = [(_off(art.aspect, size[0] + 2 * bleed, size[1] + 2 * bleed), bleed) for bleed in readings]
    near = [(off, bleed) for off, bleed in offs
            if off <= (ASPECT_TOLERANCE if bleed in (0.0, bleed_mm) else COMMON_TOLERANCE)]
    claimed = art.size_mm
    if claimed and len(near) > 1:
        by_size = [reading for reading in near
                   if max(abs(given - side - 2 * reading[1])
                          for given, side in zip(claimed, size, strict=True)) <= _SIZE_TOLERANCE_MM]
        near = by_size or near
    # Of several near readings the trim or the bleed that was asked for comes first; a square, whose proportions tell
    # nothing, is so taken as trim size unless its own resolution says otherwise.
    asked = [reading for reading in near if reading[1] in (0.0, bleed_mm)]
    # But a miss doesn't stand against a match: 0.2 % is more than rounding to whole pixels takes.
    asked = [reading for reading in asked if reading[0] <= min(off for off, _ in near) + 0.002]
    far = [(max(off, 2 * ASPECT_TOLERANCE), bleed) for off, bleed in offs]
    return min(asked or near or far, key=lambda reading: (round(reading[0], 4), reading[1] != 0.0))


def _cover(aspect: float, target: Rect) -> tuple[Rect, float]:
    """The art's own shape laid centred over ``target`` so that it is covered, and the mm lost in all on one axis."""
    width, height = target.width, target.width / aspect
    if height < target.height:
        width, height = target.height * aspect, target.height
    x, y = target.centre
    return Rect(x - width / 2, y - height / 2, width, height), max(width - target.width, height - target.height)


def stamps(fit: ArtFit, card: CardSize, bleed: Edges, edge_rgb: tuple[int, int, int] | None,
           see_through: bool = False, is_vector: bool = False) -> tuple[Stamp | Flood, ...]:
    """What to draw for one card face, bottom first: made bleed, then the art. ``bleed`` is in the card's frame.

    Art that is ``see_through`` has its made bleed beside it, not under it. Of art that ``is_vector`` the outermost hair
    is left to the bleed that reaches under it: shapes that end there one over another mix their soft edges, which shows
    as a light hairline.
    """
    region = Rect(0, 0, card.width_mm, card.height_mm).grown(bleed)
    art = Stamp(fit.matrix, fit.rect.shared(region))
    if (fit.rect.contains(region) and not fit.corner_mm) or fit.made == "none":
        return (art,)
    if is_vector:
        rect, hair = fit.rect, OVERLAP_MM
        art = Stamp(fit.matrix, art.clip.shared(rect.grown(Edges(
            -hair if rect.x > region.x else 0, -hair if rect.y > region.y else 0,
            -hair if rect.right < region.right else 0, -hair if rect.bottom < region.bottom else 0))))
    if fit.made == "colour":
        flood = Flood(region, edge_rgb or (255, 255, 255))
        return (*_beside(flood, fit.rect), art) if see_through else (flood, art)
    if fit.sides:
        made = side_layers(fit.rect, fit.matrix, region, fit.sides)
        rounded = corner_layers(fit.rect, fit.matrix, region, fit.corner_mm, fit.sides) if fit.corner_mm else ()
        under = [] if see_through else [_stretched(fit, region)]
        return (*under, *made, art, *rounded)
    # Under a mirrored bleed lies a stretched one, so that at any zoom the soft edge between the mirrored copy and the
    # art shows their own colour and no light hairline.
    below = _stretched(fit, region)
    if see_through:
        return (*(_beside(below, fit.rect) if fit.made == "stretch" else _mirrored(fit, region)), art)
    return (below, art) if fit.made == "stretch" else (below, *_mirrored(fit, region), art)


def _beside(layer: Stamp | Flood, rect: Rect) -> list[Stamp | Flood]:
    """``layer`` cut into the bands that lie outside ``rect``, a little of its edge counted in."""
    whole = layer.rect if isinstance(layer, Flood) else layer.clip
    hole = rect.grown(Edges.all(-2 * OVERLAP_MM))
    # Colour may lie on colour at the corners; a see-through stamp may not lie on another.
    level = whole if isinstance(layer, Flood) else whole.shared(Rect(whole.x, hole.y, whole.width, hole.height))
    bands = (Rect(whole.x, whole.y, whole.width, hole.y - whole.y),
             Rect(whole.x, hole.bottom, whole.width, whole.bottom - hole.bottom),
             Rect(level.x, level.y, hole.x - level.x, level.height),
             Rect(hole.right, level.y, level.right - hole.right, level.height))
    return [Flood(band, layer.rgb) if isinstance(layer, Flood) else Stamp(layer.matrix, band)
            for band in bands if band.width > 0 and band.height > 0]


def _stretched(fit: ArtFit, region: Rect) -> Stamp:
    wide = _around(fit.rect, region)
    grow = Affine.shift(wide.x, wide.y).after(
        Affine.scaling(wide.width / fit.rect.width, wide.height / fit.rect.height)
    ).after(Affine.shift(-fit.rect.x, -fit.rect.y))
    return Stamp(grow.after(fit.matrix), region)


def _around(first: Rect, second: Rect) -> Rect:
    x, y = min(first.x, second.x), min(first.y, second.y)
    return Rect(x, y, max(first.right, second.right) - x, max(first.bottom, second.bottom) - y)


def _mirrored(fit: ArtFit, region: Rect) -> list[Stamp | Flood]:
    """Reflections about lines just inside the art's edges: corners first, sides over them, the art over all."""
    return side_layers(fit.rect, fit.matrix, region, (MadeSide("mirror"),) * 4)
