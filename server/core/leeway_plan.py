"""Leeway on a planned sheet: what lies beyond each back's cut edges where it is printed, neighbours counted."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from server.core.art import Art
from server.core.back_designs import flood_of
from server.core.geometry import Edges, Rect
from server.core.leeway import (
    EDGE_SPREAD,
    OPPOSITE,
    SIDE_NAMES,
    BackLook,
    BackProfile,
    EdgeLook,
    Leeway,
    SideName,
    Sides,
    least_of,
    leeway,
    on_card,
)
from server.core.plan import Face, Placement
from server.core.planning import Planned

_TOUCH_MM = 1e-6
# Clockwise from the left, as the edges of a card follow each other when it is turned on the page.
_ROUND: tuple[SideName, ...] = ("left", "top", "right", "bottom")


@dataclass(frozen=True, slots=True)
class PlacedBack:
    """A back in its place on a page, and how it looks there, in the card's own frame as it is held upright."""

    placement: Placement
    art: Art
    look: BackLook


def placed_backs(planned: Planned, face: Face, profiles: Mapping[str, BackProfile]) -> tuple[PlacedBack, ...]:
    """Every back of one page whose profile is known, by its art's key."""
    backs = [(placement, art) for placement in planned.plan.placements(face) if placement.side == "back"
             and (art := planned.deck.cards[placement.card].back) and art.key in profiles]
    if planned.plan.layout.in_pairs:
        return tuple(PlacedBack(placement, art, _folded(planned, placement, art, profiles[art.key]))
                     for placement, art in backs)
    flood = flood_of(planned, face)
    plain = {placement.slot: _look(planned, placement, art, profiles[art.key]) for placement, art in backs}
    placed = []
    for placement, art in backs:
        look = plain[placement.slot]
        reach, beyond = {}, {}
        for edge in _ROUND:
            side = _on_card(edge, placement.rotation_deg)
            gap, seen = _neighbour(placement, art, look.looks[side], edge, backs, plain)
            own = look.reach_mm[side]
            reach[side], beyond[side] = _beyond(own, gap, seen, _room(placement, edge, flood[0]) if flood else 0.0)
            if look.looks[side].is_paper:
                reach[side] = None
        placed.append(PlacedBack(placement, art, replace(look, reach_mm=_sides(reach), next_mm=_sides(beyond))))
    return tuple(placed)


def _folded(planned: Planned, placement: Placement, art: Art, profile: BackProfile) -> BackLook:
    """A back that is cut out with its front. Wherever it goes, its cut edges go along; only the fold can miss, and
    beyond that lies the spine with its share of bleed, and then the front."""
    slot = planned.plan.layout.slots[placement.slot]
    back, front = slot.back, slot.front
    gaps: dict[SideName, float] = {"left": back.x - front.right, "top": back.y - front.bottom,
                                   "right": front.x - back.right, "bottom": front.y - back.bottom}
    edge = max(gaps, key=lambda name: gaps[name])
    side = _on_card(edge, placement.rotation_deg)
    look = _look(planned, placement, art, profile)
    print_ends = gaps[edge] - getattr(slot.front_bleed, _ROUND[(_ROUND.index(edge) + 2) % 4])
    front_art = planned.deck.cards[placement.card].front
    paper, other = _beyond(look.reach_mm[side], max(0.0, print_ends), front_art.key != art.key, 0.0)

    def alone(value: float | None) -> Sides[float | None]:
        return Sides(*(value if one == side else None for one in SIDE_NAMES))

    across = {side, OPPOSITE[side]}
    return replace(
        look, reach_mm=alone(None if look.looks[side].is_paper else paper), next_mm=alone(other),
        art_mm=alone(look.art_mm[side]), fold_side=side,
        border_mm=Sides(*(look.border_mm[one] if one in across else None for one in SIDE_NAMES)))


def plan_leeways(planned: Planned, profiles: Mapping[str, BackProfile]) -> dict[str, Leeway]:
    """The leeway of each distinct back, by its art's key: the least over all its places in the plan.

    Whole sheets whose backs are the same are looked at once.
    """
    found: dict[str, list[Leeway]] = {}
    seen: set[tuple[str | None, ...]] = set()
    for face in planned.plan.faces:
        backs = tuple(back.key if (back := planned.deck.cards[card].back) else None
                      for card in planned.plan.cards_on(face.sheet))
        if face.name == "front" or backs in seen:
            continue
        seen.add(backs)
        for placed in placed_backs(planned, face, profiles):
            found.setdefault(placed.art.key, []).append(leeway(placed.look))
    return {key: least_of(several) for key, several in found.items()}


def _on_card(edge: SideName, rotation_deg: int) -> SideName:
    """Which edge of the upright card lies at that edge of the page, the card being turned clockwise on it."""
    return _ROUND[(_ROUND.index(edge) - rotation_deg // 90) % 4]


def _sides(found: Mapping[SideName, float | None]) -> Sides[float | None]:
    return Sides(*(found[side] for side in SIDE_NAMES))


def _look(planned: Planned, placement: Placement, art: Art, profile: BackProfile) -> BackLook:
    bleed = {_on_card(edge, placement.rotation_deg): getattr(placement.bleed, edge) for edge in _ROUND}
    edges = Edges(bleed["left"], bleed["top"], bleed["right"], bleed["bottom"])
    return on_card(profile, planned.fit(art), planned.settings.card_size, edges, edge_rgb=art.edge_rgb)


def _neighbour(placement: Placement, art: Art, look: EdgeLook, edge: SideName, backs: list[tuple[Placement, Art]],
               plain: Mapping[int, BackLook]) -> tuple[float | None, bool]:
    """(mm from the cut edge to the next back's print, whether it would be noticed)."""
    best: tuple[float, Placement, Art] | None = None
    for other, other_art in backs:
        gap = _gap(placement.trim, other.trim.grown(other.bleed), edge)
        if other.slot != placement.slot and gap is not None and (best is None or gap < best[0]):
            best = gap, other, other_art
    if best is None:
        return None, False
    gap, other, other_art = best
    facing = _ROUND[(_ROUND.index(edge) + 2) % 4]
    theirs = plain[other.slot].looks[_on_card(facing, other.rotation_deg)]
    return gap, not (other_art.key == art.key or _alike(look, theirs))


def _gap(trim: Rect, other: Rect, edge: SideName) -> float | None:
    """How far ``other`` lies beyond that edge of ``trim``; None if it doesn't lie there along most of it."""
    if edge in ("left", "right"):
        along = min(trim.bottom, other.bottom) - max(trim.y, other.y)
        away = trim.x - other.right if edge == "left" else other.x - trim.right
        return max(0.0, away) if along > trim.height / 2 and away > -trim.width / 2 else None
    along = min(trim.right, other.right) - max(trim.x, other.x)
    away = trim.y - other.bottom if edge == "top" else other.y - trim.bottom
    return max(0.0, away) if along > trim.width / 2 and away > -trim.height / 2 else None


def _alike(first: EdgeLook, second: EdgeLook) -> bool:
    apart = max(abs(a - b) for a, b in zip(first.rgb, second.rgb, strict=True))
    return first.is_one_colour and second.is_one_colour and apart <= EDGE_SPREAD


def _room(placement: Placement, edge: SideName, flood: Rect) -> float:
    trim = placement.trim
    return max(0.0, {"left": trim.x - flood.x, "top": trim.y - flood.y, "right": flood.right - trim.right,
                     "bottom": flood.bottom - trim.bottom}[edge])


def _beyond(own: float | None, gap: float | None, noticed: bool, flood_mm: float) -> tuple[float | None, float | None]:
    """(from where on paper shows, from where on the neighbour shows) beyond one cut edge; None for never."""
    reach = own or 0.0
    if gap is None:
        return (None if own is None else max(reach, flood_mm)), None
    shows = max(gap, reach) if noticed else None
    # Between two bleeds that don't meet lies paper, unless it is flooded.
    bare = own is not None and gap > reach + _TOUCH_MM and flood_mm <= 0
    return (reach if bare else None), shows
