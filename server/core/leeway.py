"""How far a back may move before the cut card shows it: the leeway, with its direction.

Everything is said as the back is seen: "left" means that the back moves to the left as one looks at it. Three things
give a moved back away, and ``RULES`` states each with its threshold. All three bound the move along the card's own
axes, so the moves that show nothing form an upright rectangle; the nearest point of its border lies on an axis, and
no diagonal move shows sooner than the least of the four sides. That least number is ``Leeway.leeway_mm``.

Nothing here looks at pixels: ``server.intake.border`` measures a ``BackProfile``, this module reasons about it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Generic, Literal, TypeVar

from server.core.bleed import ArtFit
from server.core.geometry import Affine, Edges, Rect
from server.core.sizes import CardSize
from server.core.units import mm_text

T = TypeVar("T")
SideName = Literal["left", "right", "top", "bottom"]
RuleName = Literal["paper_shows", "neighbour_shows", "art_cut", "uneven"]
Verdict = Literal["holds", "holds barely", "will show"]

SIDE_NAMES: tuple[SideName, ...] = ("left", "right", "top", "bottom")
OPPOSITE: dict[SideName, SideName] = {"left": "right", "right": "left", "top": "bottom", "bottom": "top"}

# A pixel this near to white on every channel prints as bare paper (8 levels of 255: under 4 % of tint, at which a
# home printer's dots are hard to find; common practice).
PAPER_LEVEL = 247
# Along one cut edge, channel values this close together are one colour (JPEG noise and light paper textures pass).
EDGE_SPREAD = 24
# Opposite borders look uneven from this ratio on (common practice; no standard found).
UNEVEN_RATIO = 2.0
# A careful hand with a steel rule cuts this near to its line (common practice); what holds, holds with this to spare.
CUT_SPARE_MM = 0.3
_NEVER = 1e6


@dataclass(frozen=True, slots=True)
class Rule:
    """One way in which a cut card gives a moved back away."""

    name: RuleName
    title: str
    says: str


RULES: tuple[Rule, ...] = (
    Rule("paper_shows", "Unprinted paper shows",
         "A white sliver shows at a cut edge once the back has moved by the bleed it has there. An edge that is "
         f"itself white (every channel {PAPER_LEVEL} of 255 or more) never shows one."),
    Rule("neighbour_shows", "The print beside it shows",
         "Cards that share a cut, or a narrow gutter, uncover their neighbour instead of paper; one that is folded by "
         "itself uncovers its own front. What has the same art, or an edge of the same colour, isn't seen."),
    Rule("art_cut", "Art is cut into",
         "The cut meets the nearest art that stands apart from an edge of one colour (its channels within "
         f"{EDGE_SPREAD} of 255). Art that runs over the cut anyway is background and can't be cut into."),
    Rule("uneven", "An even border looks uneven",
         f"One border becomes {UNEVEN_RATIO:g} times as wide as the one opposite. Borders that are so from the "
         "start were never even, and tell nothing."),
)


@dataclass(frozen=True, slots=True)
class Sides(Generic[T]):
    """One value for each side of the card, as the back is seen."""

    left: T
    right: T
    top: T
    bottom: T

    def __getitem__(self, side: SideName) -> T:
        return {"left": self.left, "right": self.right, "top": self.top, "bottom": self.bottom}[side]

    def items(self) -> Iterator[tuple[SideName, T]]:
        return ((side, self[side]) for side in SIDE_NAMES)

    def turned(self) -> Sides[T]:
        """The same after a clockwise quarter turn: what was at the bottom is at the left."""
        return Sides(left=self.bottom, top=self.left, right=self.top, bottom=self.right)


@dataclass(frozen=True, slots=True)
class EdgeLook:
    """What lies along one cut edge: its middle colour, and how far its channels range (0 to 255).

    ``corners_differ`` says that the edge has one colour but for its ends, as art with round corners drawn in has.
    """

    rgb: tuple[int, int, int]
    spread: int
    corners_differ: bool = False

    @property
    def is_one_colour(self) -> bool:
        return self.spread <= EDGE_SPREAD

    @property
    def is_paper(self) -> bool:
        return self.is_one_colour and min(self.rgb) >= PAPER_LEVEL


@dataclass(frozen=True, slots=True)
class BackProfile:
    """What image analysis found on one back, in the art's own frame as it is viewed (unit square, y down).

    ``looks``: along each cut edge. ``nearest``: where the first art that stands apart from that edge's colour lies,
    an x for left and right, a y for top and bottom; None where the edge has no single colour or nothing follows.
    ``frame``: where a straight border ends, None without one. ``ink``: the outermost printed place on each side
    where the art's own rim is white, None where the art is printed right to its rim.
    """

    looks: Sides[EdgeLook]
    nearest: Sides[float | None]
    frame: Sides[float | None]
    ink: Sides[float | None] = Sides(None, None, None, None)


@dataclass(frozen=True, slots=True)
class BackLook:
    """A profile laid on its card, all in mm as the back is seen.

    ``reach_mm``: how far print goes on beyond each cut edge (None: the edge is white, there is nothing to run out).
    ``next_mm``: from where on another card's back shows beyond that edge (None: nowhere, or it looks the same).
    ``art_mm``: from each cut edge inwards to the nearest art; ``border_mm``: to the end of the border. None: none.
    ``fold_side``: the edge at which the card is folded, where the others are cut with the back and move along with it.
    """

    looks: Sides[EdgeLook]
    reach_mm: Sides[float | None]
    art_mm: Sides[float | None]
    border_mm: Sides[float | None]
    next_mm: Sides[float | None] = Sides(None, None, None, None)
    fold_side: SideName | None = None


@dataclass(frozen=True, slots=True)
class Leeway:
    """How far the back may move each way, in mm, before each rule is broken; None where that never happens."""

    paper_shows_mm: Sides[float | None]
    art_cut_mm: Sides[float | None]
    uneven_mm: Sides[float | None]
    neighbour_shows_mm: Sides[float | None] = Sides(None, None, None, None)

    def rule(self, name: RuleName) -> Sides[float | None]:
        return {"paper_shows": self.paper_shows_mm, "neighbour_shows": self.neighbour_shows_mm,
                "art_cut": self.art_cut_mm, "uneven": self.uneven_mm}[name]

    @property
    def first(self) -> tuple[float, RuleName, SideName] | None:
        """The shortest move that shows: its length, what shows, and which way the back moves."""
        found = [(value, rule.name, side) for rule in RULES
                 for side, value in self.rule(rule.name).items() if value is not None]
        return min(found, key=lambda item: item[0], default=None)

    @property
    def leeway_mm(self) -> float | None:
        """The least move, over all directions, that shows; None if no move does."""
        return self.first[0] if self.first else None

    @property
    def clean_mm(self) -> float | None:
        """The same without lopsided borders: up to here nothing foreign shows and nothing is lost."""
        values = [value for rule in RULES if rule.name != "uneven" for _, value in self.rule(rule.name).items()
                  if value is not None]
        return min(values, default=None)

    def broken_by(self, dx_mm: float, dy_mm: float) -> tuple[tuple[RuleName, SideName], ...]:
        """What shows when the back moves right by ``dx_mm`` and down by ``dy_mm``, as it is seen."""
        moved: Sides[float] = Sides(left=-dx_mm, right=dx_mm, top=-dy_mm, bottom=dy_mm)
        return tuple((rule.name, side) for rule in RULES for side, limit in self.rule(rule.name).items()
                     if limit is not None and moved[side] > limit + 1e-6)

    def says(self) -> str:
        """The leeway in one sentence."""
        if self.first is None:
            return "However far this back moves, the cut card doesn't show it."
        length, name, side = self.first
        what = {"paper_shows": "unprinted paper shows", "neighbour_shows": "the print beside it shows",
                "art_cut": "art is cut into", "uneven": "the border looks uneven"}[name]
        way = {"left": "to the left", "right": "to the right", "top": "up", "bottom": "down"}[side]
        if length <= 0:
            return f"With no leeway at all, {what} as soon as it moves {way}."
        return f"Moved {mm_text(length)} mm {way}, {what}."


def on_card(profile: BackProfile, fit: ArtFit, card: CardSize, bleed: Edges, beyond: Edges = Edges(),
            edge_rgb: tuple[int, int, int] | None = None) -> BackLook:
    """Lay ``profile`` on its card. ``bleed`` is what each edge may show, in the card's frame, in mm.

    ``beyond`` is what is printed past the trim anyway, such as a flood, in mm; ``math.inf`` where a neighbour adjoins.
    ``edge_rgb`` is the colour that bleed of one colour is made in: where it is white, nothing is made.
    """
    if fit.made == "colour" and edge_rgb and min(edge_rgb) >= PAPER_LEVEL:
        fit = replace(fit, made="none")
    looks = profile.looks.turned() if fit.turned else profile.looks
    nearest, frame, ink = (_depths(lines, fit, card) for lines in (profile.nearest, profile.frame, profile.ink))
    room = {side: _reach(fit, card, side, getattr(bleed, side), ink[side], looks[side]) for side in SIDE_NAMES}
    reach = Sides(*(None if looks[side].is_paper or getattr(beyond, side) >= _NEVER
                    else max(room[side], getattr(beyond, side)) for side in SIDE_NAMES))
    return BackLook(looks, reach, nearest, Sides(*_borders(nearest, frame)))


def leeway(look: BackLook) -> Leeway:
    """The three rules, each way. A back that moves left uncovers its right edge and cuts into its left."""
    paper, neighbour = (Sides(*(beyond[OPPOSITE[side]] for side in SIDE_NAMES))
                        for beyond in (look.reach_mm, look.next_mm))
    uneven = Sides(*(_uneven(look.border_mm[side], look.border_mm[OPPOSITE[side]], side, look.fold_side)
                     for side in SIDE_NAMES))
    return Leeway(paper, look.art_mm, uneven, neighbour)


def least_of(leeways: Iterable[Leeway]) -> Leeway:
    """The same back in several places of a sheet: each way, the place that shows first."""
    every = list(leeways)

    def least(name: RuleName) -> Sides[float | None]:
        return Sides(*(min((value for one in every if (value := one.rule(name)[side]) is not None), default=None)
                       for side in SIDE_NAMES))
    return Leeway(least("paper_shows"), least("art_cut"), least("uneven"), least("neighbour_shows"))


def verdict(leeway_mm: float | None, wander_mm: float) -> Verdict:
    """Whether a back with that leeway survives a printer's wander: the radius that 19 sheets of 20 stay within."""
    if leeway_mm is None or leeway_mm >= wander_mm + CUT_SPARE_MM:
        return "holds"
    return "holds barely" if leeway_mm >= wander_mm else "will show"


def trim_window(fit: ArtFit, card: CardSize) -> Rect:
    """The trim in the art's unit square as it is viewed: where ``server.intake.border`` looks for the cut edges."""
    back: Affine = fit.matrix.inverse()
    (x1, y1), (x2, y2) = back((0.0, 0.0)), back((card.width_mm, card.height_mm))
    return Rect(min(x1, x2), min(y1, y2), abs(x2 - x1), abs(y2 - y1))


def _depths(lines: Sides[float | None], fit: ArtFit, card: CardSize) -> Sides[float | None]:
    """Lines across the art as distances in mm from the card's cut edges inwards (negative: out in the bleed)."""
    matrix = fit.matrix

    def at(x: float | None, y: float | None) -> tuple[float, float] | None:
        return None if x is None and y is None else matrix((x or 0.0, y or 0.0))

    points = Sides(at(lines.left, None), at(lines.right, None), at(None, lines.top), at(None, lines.bottom))
    on = points.turned() if fit.turned else points
    return Sides(on.left[0] if on.left else None, card.width_mm - on.right[0] if on.right else None,
                 on.top[1] if on.top else None, card.height_mm - on.bottom[1] if on.bottom else None)


def _reach(fit: ArtFit, card: CardSize, side: SideName, bleed_mm: float, ink_mm: float | None,
           look: EdgeLook) -> float:
    """How far print goes on beyond one cut edge."""
    rect = fit.rect
    carried = {"left": -rect.x, "right": rect.right - card.width_mm, "top": -rect.y,
               "bottom": rect.bottom - card.height_mm}[side]
    reach = min(bleed_mm, max(0.0, carried)) if fit.made == "none" else bleed_mm
    # White bleed, drawn in or made from a white rim, is no better than none.
    return reach if ink_mm is None or look.is_paper else max(0.0, min(reach, -ink_mm))


def _borders(nearest: Sides[float | None], frame: Sides[float | None]) -> Iterator[float | None]:
    """The border of each side: to a straight frame where both of a pair have one, else to the nearest art."""
    for side in SIDE_NAMES:
        framed = frame[side] is not None and frame[OPPOSITE[side]] is not None
        yield frame[side] if framed else nearest[side]


def _uneven(narrowing: float | None, widening: float | None, side: SideName,
            fold_side: SideName | None) -> float | None:
    """The move towards ``side`` that makes the pair 2:1: (widening + d) = 2 (narrowing - d).

    At a fold only the border there changes: by d it narrows on one side, or widens on the other.
    """
    if narrowing is None or widening is None or min(narrowing, widening) <= 0:
        return None
    if max(narrowing, widening) >= UNEVEN_RATIO * min(narrowing, widening) - 1e-9:
        return None
    if fold_side == side:
        move = narrowing - widening / UNEVEN_RATIO
    elif fold_side == OPPOSITE[side]:
        move = UNEVEN_RATIO * narrowing - widening
    else:
        move = (UNEVEN_RATIO * narrowing - widening) / (1 + UNEVEN_RATIO)
    return move if math.isfinite(move) else None
