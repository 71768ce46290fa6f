"""Rectangles cut out of one piece of paper: the fewest straight cuts, one piece at a time, each from edge to edge.

What costs a cut is a piece that is parted off, so the fewest cuts leave the fewest pieces of waste. Two things are
proven and used. Waste that lies along a whole side of a piece comes off first at no cost: a way to cut the piece,
applied to what is left of it, needs at least one cut less. And n rectangles take n - 1 cuts between them, one more for
each gap between two neighbours, and one more where a corner of their common box is empty. Where strips right across
reach that bound they are the answer; elsewhere all ways are tried, and those that were tried are remembered.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise
from typing import Literal

from server.core.geometry import Rect, bounds
from server.core.plan import Line

EdgeName = Literal["left", "top", "right", "bottom"]
Part = Literal["waste", "strip", "card"]
_EDGES: tuple[EdgeName, ...] = ("left", "right", "top", "bottom")
_SAME_MM = 1e-6

# A rectangle by the ranks of its edges among those of all: (left, top, right, bottom). How many cuts are needed hangs
# on nothing else, so that a strip of a large sheet is worked out once, wherever it lies.
_Ranks = tuple[int, int, int, int]
_Shape = tuple[_Ranks, ...]


@dataclass(frozen=True, slots=True)
class Cut:
    """One straight cut through one piece. ``step`` counts from 1; ``piece`` is "sheet", or "3a" for what step 3 left at
    the left or the top and "3b" for the other; ``line`` runs from edge to edge of it. The stop is set ``stop_mm`` from
    the edge ``stop_from`` of that piece; ``clean`` says that this edge was cut before, not the paper's own."""

    step: int
    piece: str
    line: Line
    stop_mm: float
    stop_from: EdgeName
    clean: bool
    parts_off: Part


@dataclass(frozen=True, slots=True)
class _Ways:
    """The fewest cuts of a shape that fills its box, and the first of them: along ``axis`` (0: upright cuts part left
    from right), after each of the groups that end at the numbers in ``after``."""

    cuts: int
    axis: int
    after: tuple[int, ...]


def fewest_cuts(piece: Rect, wanted: Sequence[Rect]) -> int:
    """How many cuts free ``wanted`` (apart from one another, inside ``piece``). Raises ValueError where straight cuts
    right across can't."""
    if not wanted:
        return 0
    return len(_waste_sides(piece, bounds_of(wanted))) + _fewest(_canonical(_ranked(wanted)))


def cuts_out_of(piece: Rect, wanted: Sequence[Rect], first: Iterable[EdgeName] = ()) -> tuple[Cut, ...]:
    """Those cuts in order: waste off the whole (the sides in ``first`` before others), strips, then each strip apart.

    Raises ValueError as ``fewest_cuts`` does.
    """
    if not wanted:
        return ()
    first = tuple(first)
    cutter = _Cutter((*first, *(edge for edge in _EDGES if edge not in first)))
    cutter.part(_Piece(piece, -1, "", frozenset()), tuple(wanted), 0)
    return cutter.cuts()


def bounds_of(rects: Iterable[Rect]) -> Rect:
    """The smallest rectangle around all of them."""
    return bounds(corner for rect in rects for corner in rect.corners)


def _waste_sides(piece: Rect, box: Rect) -> list[EdgeName]:
    room = {"left": box.x - piece.x, "right": piece.right - box.right, "top": box.y - piece.y,
            "bottom": piece.bottom - box.bottom}
    return [edge for edge in _EDGES if room[edge] > _SAME_MM]


def _ranked(wanted: Sequence[Rect]) -> _Shape:
    """By the ranks of their edges, those that are the same place sharing one."""
    across = _ranks(value for rect in wanted for value in (rect.x, rect.right))
    down = _ranks(value for rect in wanted for value in (rect.y, rect.bottom))
    return tuple((across[rect.x], down[rect.y], across[rect.right], down[rect.bottom]) for rect in wanted)


def _ranks(values: Iterable[float]) -> dict[float, int]:
    ranks: dict[float, int] = {}
    rank, before = -1, float("-inf")
    for value in sorted(set(values)):
        if value - before > _SAME_MM:
            rank += 1
        ranks[value], before = rank, value
    return ranks


def _canonical(shape: Iterable[_Ranks]) -> _Shape:
    """The same arrangement with ranks from 0, in one order."""
    rects = tuple(shape)
    across = {value: rank for rank, value in enumerate(sorted({rect[side] for rect in rects for side in (0, 2)}))}
    down = {value: rank for rank, value in enumerate(sorted({rect[side] for rect in rects for side in (1, 3)}))}
    return tuple(sorted((across[left], down[top], across[right], down[bottom]) for left, top, right, bottom in rects))


def _groups(shape: Sequence[_Ranks], axis: int) -> list[list[int]]:
    """Which rectangles lie together between two cuts along ``axis``, by their numbers, in order."""
    groups: list[list[int]] = []
    reach = -1
    for number in sorted(range(len(shape)), key=lambda at: shape[at][axis]):
        if shape[number][axis] >= reach:
            groups.append([])
        groups[-1].append(number)
        reach = max(reach, shape[number][axis + 2])
    return groups


def _fewest(shape: _Shape) -> int:
    return 0 if len(shape) == 1 else _ways(shape).cuts


@lru_cache(maxsize=4096)
def _ways(shape: _Shape) -> _Ways:
    """The fewest cuts of two or more rectangles that fill their box to its sides; strips right across where they will
    do, the fewer strips first."""
    bound = _bound(shape)
    by_axis = sorted(((axis, _groups(shape, axis)) for axis in (1, 0)), key=lambda found: len(found[1]))
    strips = []
    for axis, groups in by_axis:
        if len(groups) > 1:
            after = tuple(range(len(groups) - 1))
            strips.append(_Ways(_parted(shape, axis, groups), axis, after))
            if strips[-1].cuts == bound:
                return strips[-1]
    halves = [_Ways(_parted(shape, axis, _merged(groups, (at,))), axis, (at,))
              for axis, groups in by_axis for at in range(len(groups) - 1)]
    if not halves:
        raise ValueError("cuts: these rectangles interlock, so no straight cut right across parts them.")
    return min((*strips, *halves), key=lambda ways: ways.cuts)


def _bound(shape: _Shape) -> int:
    """No way has fewer cuts than this."""
    across = {rect[2] for rect in shape} & {rect[0] for rect in shape}
    down = {rect[3] for rect in shape} & {rect[1] for rect in shape}
    right, bottom = max(rect[2] for rect in shape), max(rect[3] for rect in shape)
    filled = sum(_corners(rect, right, bottom) for rect in shape)
    return (len(shape) - 1) * (1 if across or down else 2) + (filled < 4)


def _corners(rect: _Ranks, right: int, bottom: int) -> int:
    """How many corners of the common box this rectangle fills."""
    return ((rect[0] == 0) + (rect[2] == right)) * ((rect[1] == 0) + (rect[3] == bottom))


def _parted(shape: _Shape, axis: int, groups: Sequence[Sequence[int]]) -> int:
    """Cuts in all where ``shape`` is parted into ``groups`` along ``axis`` first."""
    parts = [[shape[number] for number in group] for group in groups]
    low = min(rect[1 - axis] for rect in shape)
    high = max(rect[3 - axis] for rect in shape)
    total = len(parts) - 1
    for before, after in pairwise(parts):
        total += max(rect[axis + 2] for rect in before) < min(rect[axis] for rect in after)
    for part in parts:
        total += (min(rect[1 - axis] for rect in part) > low) + (max(rect[3 - axis] for rect in part) < high)
        total += _fewest(_canonical(part))
    return total


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece in hand: which cut left it (-1: none yet), as its "a" or its "b", and which edges were cut."""

    rect: Rect
    cut: int
    half: str
    clean: frozenset[EdgeName]


@dataclass(frozen=True, slots=True)
class _Planned:
    piece: _Piece
    upright: bool
    at_mm: float
    stage: int
    parts_off: Part


class _Cutter:
    """Cuts on paper: keeps each cut with the piece that it goes through and how deep within strips it lies."""

    def __init__(self, sides: tuple[EdgeName, ...]) -> None:
        self._sides = sides
        self._planned: list[_Planned] = []

    def part(self, piece: _Piece, wanted: tuple[Rect, ...], stage: int) -> None:
        """Free ``wanted`` from ``piece``; cuts within its strips get a later stage."""
        piece = self._trim(piece, bounds_of(wanted), stage)
        if len(wanted) == 1:
            return
        ranked = _ranked(wanted)
        order = sorted(range(len(wanted)), key=lambda at: ranked[at])
        shape = tuple(ranked[at] for at in order)  # canonical, for these are all
        ways = _ways(shape)
        groups = [[order[number] for number in group] for group in _merged(_groups(shape, ways.axis), ways.after)]
        for group, later in zip(groups, [*groups[1:], []], strict=True):
            box = bounds_of(wanted[at] for at in group)
            part = piece
            if later:
                at_mm = box.right if ways.axis == 0 else box.bottom
                part, rest = self._cut(piece, ways.axis == 0, at_mm, stage, "strip" if len(group) > 1 else "card")
                ahead = bounds_of(wanted[at] for at in later)
                gap = ahead.x - at_mm if ways.axis == 0 else ahead.y - at_mm
                piece = rest
                if gap > _SAME_MM:
                    _, piece = self._cut(rest, ways.axis == 0, at_mm + gap, stage)
            self.part(part, tuple(wanted[at] for at in group), stage + 1)

    def _trim(self, piece: _Piece, box: Rect, stage: int) -> _Piece:
        at = {"left": box.x, "right": box.right, "top": box.y, "bottom": box.bottom}
        waste = _waste_sides(piece.rect, box)
        for edge in self._sides:
            if edge in waste:
                halves = self._cut(piece, edge in ("left", "right"), at[edge], stage)
                piece = halves[1] if edge in ("left", "top") else halves[0]
        return piece

    def _cut(self, piece: _Piece, upright: bool, at_mm: float, stage: int,
             parts_off: Part = "waste") -> tuple[_Piece, _Piece]:
        number, rect = len(self._planned), piece.rect
        self._planned.append(_Planned(piece, upright, at_mm, stage, parts_off))
        if upright:
            first = Rect(rect.x, rect.y, at_mm - rect.x, rect.height)
            second = Rect(at_mm, rect.y, rect.right - at_mm, rect.height)
        else:
            first = Rect(rect.x, rect.y, rect.width, at_mm - rect.y)
            second = Rect(rect.x, at_mm, rect.width, rect.bottom - at_mm)
        return (_Piece(first, number, "a", piece.clean | {"right" if upright else "bottom"}),
                _Piece(second, number, "b", piece.clean | {"left" if upright else "top"}))

    def cuts(self) -> tuple[Cut, ...]:
        """All of them in order, strips before cards, each named by its step."""
        ordered = sorted(range(len(self._planned)), key=lambda at: self._planned[at].stage)
        step = {number: at + 1 for at, number in enumerate(ordered)}
        return tuple(self._said(step, number) for number in ordered)

    def _said(self, step: dict[int, int], number: int) -> Cut:
        planned = self._planned[number]
        piece, at, rect = planned.piece, planned.at_mm, planned.piece.rect
        stops: list[tuple[EdgeName, float]]
        if planned.upright:
            line, stops = Line((at, rect.y), (at, rect.bottom)), [("left", at - rect.x), ("right", rect.right - at)]
        else:
            line, stops = Line((rect.x, at), (rect.right, at)), [("top", at - rect.y), ("bottom", rect.bottom - at)]
        # An edge that was cut is where it should be, while printing lies a little off the paper's own.
        edge, stop_mm = next((stop for stop in stops if stop[0] in piece.clean), min(stops, key=lambda stop: stop[1]))
        name = f"{step[piece.cut]}{piece.half}" if piece.half else "sheet"
        return Cut(step[number], name, line, stop_mm, edge, edge in piece.clean, planned.parts_off)


def _merged(groups: list[list[int]], after: tuple[int, ...]) -> list[list[int]]:
    """Neighbouring groups put together wherever no cut is made between them."""
    merged: list[list[int]] = [[]]
    for at, group in enumerate(groups):
        merged[-1] += group
        if at in after:
            merged.append([])
    return merged
