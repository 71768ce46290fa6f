"""A path filled and stroked, with what a style says of both (SVG 2, 13).

Dashes are cut, each a path of its own. A PDF has dashes too, but readers begin a closed path's first one anew beside
its last, where an SVG joins the two, and they differ about dashes of no length. Cut here, all of them draw the same
(SVG 2, 13.5.6).
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

from server.core.geometry import Point, Rect
from server.formats.svg_canvas import Canvas, text_of
from server.formats.svg_css import Style
from server.formats.svg_paint import Ink, ink_of
from server.formats.svg_shapes import Units, room
from server.formats.svg_tree import CantDraw
from server.formats.svg_values import Path, numbers

if TYPE_CHECKING:
    from server.formats.svg_draw import Drawing

_LARGEST_UNIT_PT = 2000.0  # the library rounds curves to some thousandths of a unit
View = tuple[float, float]
_CAPS, _JOINS = {"butt": 0, "round": 1, "square": 2}, {"miter": 0, "round": 1, "bevel": 2}


def paint(drawing: Drawing, path: Path, style: Style, canvas: Canvas, view: View, alpha: float, tag: str) -> None:
    """Fill and stroke a path."""
    if not path:
        return
    if canvas.unit_pt > _LARGEST_UNIT_PT:
        raise CantDraw("shapes in units larger than a sheet", "too-much-inside", "Give it a viewBox in larger numbers.")
    order = style["paint-order"].split()
    if not set(order) <= {"normal", "fill", "stroke", "markers"}:
        raise CantDraw(f"paint-order: {style['paint-order'][:40]}")
    uses = ["stroke", "fill"] if "stroke" in order and (
        "fill" not in order or order.index("stroke") < order.index("fill")) else ["fill", "stroke"]

    def box() -> Rect | None:
        if tag == "text":
            raise CantDraw("a gradient or pattern of a text's own box",
                           fix="Turn its text into paths, or save it as PDF.")
        return room(path)

    for use in uses:
        if use == "stroke" and (style["stroke"] == "none" or stroke_width(style, view) <= 0):
            continue
        if use == "fill" and tag == "line":
            continue
        ink = ink_of(drawing, style, use, box, canvas, view)
        if ink is None:
            continue
        canvas.save()
        if ink.mask:
            canvas.state(ink.mask)
        canvas.alpha(alpha * ink.alpha)
        if ink.in_parts and (ink.pattern or ink.mask or alpha * ink.alpha < 1):
            # Laid as one: what is clear would show one part through another.
            group = canvas.child()
            own = ink_of(drawing, style, use, box, group, view)
            if own:
                _lay(path, own, use, style, group, view)
            canvas.paint_form(group.as_group())
        else:
            _lay(path, ink, use, style, canvas, view)
        canvas.restore()


def stroke_width(style: Style, view: View) -> float:
    """In user units."""
    return Units(view, style.em).any(style["stroke-width"])


def _lay(path: Path, ink: Ink, use: str, style: Style, canvas: Canvas, view: View) -> None:
    stroke, even_odd = use == "stroke", style["fill-rule"] == "evenodd"
    if ink.shadings or ink.cell:
        canvas.shade(path, ink.onto, ink.shadings, ink.cell, even_odd)
        return
    if ink.pattern:
        name = canvas.name("Pattern", ink.pattern)
        canvas.write(f"/Pattern {'CS' if stroke else 'cs'} {name} {'SCN' if stroke else 'scn'}")
    else:
        canvas.write(f"{text_of(*ink.colour)} {'RG' if stroke else 'rg'}")
    if stroke:
        _stroke_style(style, canvas, view)
    canvas.trace(_cut(path, style, view) if stroke else path)
    canvas.write("S" if stroke else "f*" if even_odd else "f")


def _stroke_style(style: Style, canvas: Canvas, view: View) -> None:
    cap, join = style["stroke-linecap"], style["stroke-linejoin"]
    if cap not in _CAPS or join not in _JOINS:
        raise CantDraw(f"stroke-linecap: {cap[:20]}" if cap not in _CAPS else f"stroke-linejoin: {join[:20]}")
    miter = numbers(style["stroke-miterlimit"])
    if len(miter) != 1 or miter[0] < 1:
        raise CantDraw(f"stroke-miterlimit: {style['stroke-miterlimit'][:20]}")
    canvas.write(f"{text_of(stroke_width(style, view))} w {_CAPS[cap]} J {_JOINS[join]} j {text_of(*miter)} M")


def _cut(path: Path, style: Style, view: View) -> Path:
    """What of a path is stroked: all of it, or its dashes."""
    if style["stroke-dasharray"] == "none":
        return path
    units = Units(view, style.em)
    dashes = [units.any(part) for part in style["stroke-dasharray"].replace(",", " ").split()]
    if any(dash < 0 for dash in dashes):
        raise CantDraw("stroke-dasharray with a length below zero")
    if sum(dashes) <= 0:
        return path
    return dashed(path, dashes * (2 if len(dashes) % 2 else 1), units.any(style["stroke-dashoffset"]))


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
        dashes = _in_dashes(pieces, pattern, start % sum(pattern))
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


def _in_dashes(pieces: list[Piece], pattern: Sequence[float], into: float) -> list[list[Piece]]:
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
