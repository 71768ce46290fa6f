"""A path cut into its dashes, each a path of its own.

A PDF has dashes too, but readers begin a closed path's first one anew beside its last, where an SVG joins the two, and
they differ about dashes of no length. Cut here, all of them draw the same (SVG 2, 13.5.6).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from server.core.geometry import Point
from server.formats.svg_tree import CantDraw
from server.formats.svg_values import Path

_MOST_DASHES = 20_000
_PARTS = 32  # straight ones by which a curve's length is measured
_DOT = 1e-4  # of a dash of no length, which shows by its caps

Piece = tuple[Point, ...]  # a line of two points or a curve of four


def dashed(path: Path, pattern: Sequence[float], start: float) -> Path:
    """``path`` cut by ``pattern`` (dash, gap, dash, ...; together above zero), which begins ``start`` into it.

    Raises CantDraw for more dashes than any card needs.
    """
    found: Path = []
    for pieces, closed in _subpaths(path):
        dashes = _cut(pieces, pattern, start % sum(pattern))
        if closed and len(dashes) > 1 and dashes[0][0][0] == pieces[0][0] and dashes[-1][-1][-1] == pieces[0][0]:
            dashes[0] = dashes.pop() + dashes[0]
        whole = closed and len(dashes) == 1 and dashes[0] == pieces
        for dash in dashes:
            found.append(("M", dash[0][0]))
            found += [("L" if len(piece) == 2 else "C", *piece[1:]) for piece in dash]
            found += [("Z",)] if whole else []
        if len(found) > _MOST_DASHES * 4:
            raise CantDraw(f"stroke-dasharray of more than {_MOST_DASHES} dashes", "too-much-inside")
    return found


def _subpaths(path: Path) -> Iterator[tuple[list[Piece], bool]]:
    pieces: list[Piece] = []
    at = first = (0.0, 0.0)
    for step in path:
        if step[0] in "MZ":
            if step[0] == "Z" and at != first:
                pieces.append((at, first))
            if pieces:
                yield pieces, step[0] == "Z"
            pieces = []
            at = first = step[1:][-1] if step[0] == "M" else first
        else:
            pieces.append((at, *step[1:]))
            at = step[1:][-1]
    if pieces:
        yield pieces, False


def _cut(pieces: list[Piece], pattern: Sequence[float], into: float) -> list[list[Piece]]:
    turn = 0
    while into > pattern[turn] or (into == pattern[turn] > 0):
        into -= pattern[turn]
        turn = (turn + 1) % len(pattern)
    left = pattern[turn] - into
    dashes: list[list[Piece]] = [[]] if turn % 2 == 0 else []
    for piece in pieces:
        lengths = _lengths(piece)
        whole, done = lengths[-1], 0.0
        while whole - done > left:
            cut = done + left
            if turn % 2 == 0 and (left > _DOT or not dashes[-1]):
                dashes[-1].append(_part(piece, lengths, done, max(cut, done + _DOT)))
            done, turn = cut, (turn + 1) % len(pattern)
            left = pattern[turn]
            if turn % 2 == 0:
                dashes.append([])
                if len(dashes) > _MOST_DASHES:
                    raise CantDraw(f"stroke-dasharray of more than {_MOST_DASHES} dashes", "too-much-inside")
        if turn % 2 == 0 and whole - done > _DOT:
            dashes[-1].append(_part(piece, lengths, done, whole))
        left -= whole - done
    return [dash for dash in dashes if dash]


def _lengths(piece: Piece) -> list[float]:
    """How far it is along the piece to each of its equal parts in time, from 0."""
    if len(piece) == 2:
        return [0.0, math.dist(*piece)]
    points = [_at(piece, part / _PARTS) for part in range(_PARTS + 1)]
    found = [0.0]
    for one, other in pairwise(points):
        found.append(found[-1] + math.dist(one, other))
    return found


def _part(piece: Piece, lengths: list[float], start: float, end: float) -> Piece:
    """The piece between two lengths along it."""
    if start <= 0 and end >= lengths[-1]:
        return piece
    one, other = _time(lengths, start), _time(lengths, end)
    if len(piece) == 2:
        return _at(piece, one), _at(piece, other) if end < lengths[-1] else piece[1]
    return _split(_split(piece, other)[0], one / other if other else 0.0)[1]


def _time(lengths: list[float], along: float) -> float:
    parts = len(lengths) - 1
    for part in range(parts):
        if along <= lengths[part + 1] or part == parts - 1:
            span = lengths[part + 1] - lengths[part]
            return min(1.0, (part + ((along - lengths[part]) / span if span else 1.0)) / parts)
    return 1.0


def _at(piece: Piece, time: float) -> Point:
    return _split(piece, time)[0][-1] if len(piece) == 4 else _between(piece[0], piece[1], time)


def _between(one: Point, other: Point, time: float) -> Point:
    return one[0] + (other[0] - one[0]) * time, one[1] + (other[1] - one[1]) * time


def _split(curve: Piece, time: float) -> tuple[Piece, Piece]:
    """A curve in two, by de Casteljau's construction."""
    rows = [curve]
    while len(rows[-1]) > 1:
        rows.append(tuple(_between(one, other, time) for one, other in pairwise(rows[-1])))
    return tuple(row[0] for row in rows), tuple(row[-1] for row in reversed(rows))
