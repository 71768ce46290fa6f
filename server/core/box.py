"""A box for the deck: its panels lying flat on a page, and the creases that close them to a cuboid.

A net is seen from outside, printed side up: every crease is turned away from the reader by a quarter turn. Lengths are
those of the inside, from crease to crease; the clearance is what the board's own thickness and a finger need.
Proportions of flaps and tabs are common practice.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import product
from typing import Any, Literal, get_args

from server.core.geometry import Point, Rect, bounds
from server.core.plan import Line
from server.core.sizes import PAPERS, Paper
from server.core.units import mm_text
from server.errors import BadValue, DoesNotFit

BoxKind = Literal["tuck", "lid"]
DEFAULT_CLEARANCE_MM = 1.5  # a loose fit in board of 0.3 mm (common practice)
_CLEARANCES_MM = (0.0, 30.0)
_APART_MM = 6.0  # two nets on one page
_TAB_MM = 12.0
_TUCK_MM, _LEAST_TUCK_MM = 18.0, 8.0
_LID_PLAY_MM = 0.6  # what a lift-off lid is wider inside than its base is outside (common practice)
TURN_DEG = 90.0


@dataclass(frozen=True, slots=True)
class Panel:
    """A flat part of a box: ``corners`` clockwise on the page in mm, ``up_deg`` the clockwise turn with which it is
    read once the box stands; ``inside`` for flaps and tabs that nobody sees then."""

    name: str
    corners: tuple[Point, ...]
    up_deg: int = 0
    inside: bool = False

    @property
    def rect(self) -> Rect:
        return bounds(self.corners)


@dataclass(frozen=True, slots=True)
class Fold:
    """A crease between two panels; walking along ``line`` the second lies on the right, and is turned away."""

    between: tuple[str, str]
    line: Line
    turn_deg: float = TURN_DEG


@dataclass(frozen=True, slots=True)
class Box:
    """A box on a page of ``paper``: its nets' panels and creases in the page's frame, mm."""

    kind: BoxKind
    paper: Paper
    deck_mm: tuple[float, float, float]
    clearance_mm: float
    panels: tuple[Panel, ...]
    folds: tuple[Fold, ...]

    @property
    def inside_mm(self) -> tuple[float, float, float]:
        """Width, height, depth: the deck's, each with the clearance added once."""
        return inside_of(self.deck_mm, self.clearance_mm)

    @property
    def contour(self) -> tuple[Line, ...]:
        """Every edge that is cut: all edges of panels but the creases."""
        creased = {_key(fold.line) for fold in self.folds}
        edges = (edge for panel in self.panels for edge in _edges(panel.corners))
        return tuple(edge for edge in edges if _key(edge) not in creased)

    def panel(self, name: str) -> Panel:
        """Raises BadValue, naming the panels that there are."""
        found = next((panel for panel in self.panels if panel.name == name), None)
        if found is None:
            raise BadValue(f"panel: {name!r} is no panel of this box.",
                           f"Use {', '.join(panel.name for panel in self.panels)}.")
        return found


def inside_of(deck_mm: tuple[float, float, float], clearance_mm: float) -> tuple[float, float, float]:
    width, height, depth = deck_mm
    return width + clearance_mm, height + clearance_mm, depth + clearance_mm


def box_for(kind: str, deck_mm: tuple[float, float, float], paper: Paper, *, clearance_mm: float = DEFAULT_CLEARANCE_MM,
            margin_mm: float = 5.0, caliper_mm: float = 0.3) -> Box:
    """A box around a deck of (width, height, thickness) mm, drawn on ``paper`` of a board ``caliper_mm`` thick.

    Raises BadValue for what can't be meant, DoesNotFit with the net's size and the paper that would take it.
    """
    if kind not in get_args(BoxKind):
        raise BadValue(f"kind: {kind!r} is not known.", f"Use {' or '.join(get_args(BoxKind))}.")
    low, high = _CLEARANCES_MM
    if not low <= clearance_mm <= high:
        raise BadValue(f"clearance: {mm_text(clearance_mm)} mm is too {'little' if clearance_mm < low else 'much'}.",
                       f"Use {low:g} to {high:g} mm; {DEFAULT_CLEARANCE_MM:g} where nothing speaks against it.")
    inside = inside_of(deck_mm, clearance_mm)
    nets = [_tuck(*inside)] if kind == "tuck" else [_tray("base", *inside, False), _lid(inside, caliper_mm)]
    placed = _placed(nets, _room(paper, margin_mm))
    if placed is None:
        raise _too_large(kind, nets, paper, margin_mm)
    panels = tuple(panel for net in placed for panel in net.panels)
    folds = tuple(fold for net in placed for fold in net.folds)
    return Box("tuck" if kind == "tuck" else "lid", paper, deck_mm, clearance_mm, panels, folds)


@dataclass(frozen=True, slots=True)
class _Net:
    panels: tuple[Panel, ...]
    folds: tuple[Fold, ...]

    @property
    def size(self) -> Rect:
        return bounds(corner for panel in self.panels for corner in panel.corners)

    def moved(self, dx: float, dy: float) -> _Net:
        return self._mapped(lambda point: (point[0] + dx, point[1] + dy), 0)

    def turned(self) -> _Net:
        """A quarter turn clockwise on the page."""
        return self._mapped(lambda point: (-point[1], point[0]), 90)

    def _mapped(self, move: Callable[[Point], Point], turn: int) -> _Net:
        return _Net(
            tuple(replace(panel, corners=tuple(move(corner) for corner in panel.corners),
                          up_deg=(panel.up_deg + turn) % 360) for panel in self.panels),
            tuple(replace(fold, line=Line(move(fold.line.start), move(fold.line.end))) for fold in self.folds))


def _joined(panels: tuple[Panel, ...], pairs: tuple[tuple[str, str], ...]) -> _Net:
    """A net of ``panels`` with a crease wherever two of ``pairs`` share a whole edge."""
    by_name = {panel.name: panel for panel in panels}
    folds = []
    for pair in pairs:
        first, second = (by_name[name] for name in pair)
        keys = {_key(edge) for edge in _edges(second.corners)}
        edge = next(edge for edge in _edges(first.corners) if _key(edge) in keys)
        # Corners run clockwise, so the first panel lies on the right of its own edge; walked back, the second does.
        folds.append(Fold(pair, Line(edge.end, edge.start)))
    return _Net(panels, tuple(folds))


def _corners(x: float, y: float, width: float, height: float) -> tuple[Point, ...]:
    return Rect(x, y, width, height).corners


def _tuck(width: float, height: float, depth: float) -> _Net:
    """One piece: tab, back, left, front, right side by side; a lid and a bottom on the back, each with a flap that is
    tucked in behind the front, and dust flaps on both sides."""
    tab = min(_TAB_MM, depth * 0.9)
    tuck = min(max(depth, _LEAST_TUCK_MM), _TUCK_MM, height * 0.4)
    dust = min(max(depth, _LEAST_TUCK_MM), width * 0.48)
    slope, shoulder = min(4.0, height / 4), min(3.0, tuck / 3)
    left, front, right = tab + width, tab + width + depth, tab + 2 * width + depth
    top, bottom = tuck + depth, tuck + depth + height
    panels = [
        Panel("glue tab", ((0, top + slope), (tab, top), (tab, bottom), (0, bottom - slope)), inside=True),
        Panel("back", _corners(tab, top, width, height)), Panel("left", _corners(left, top, depth, height)),
        Panel("front", _corners(front, top, width, height)), Panel("right", _corners(right, top, depth, height)),
        Panel("lid", _corners(tab, tuck, width, depth), 180),
        Panel("lid flap", ((tab, tuck), (tab, shoulder), (tab + shoulder, 0), (left - shoulder, 0),
                           (left, shoulder), (left, tuck)), 180, inside=True),
        Panel("bottom", _corners(tab, bottom, width, depth), 180),
        Panel("bottom flap", ((left, bottom + depth), (left, bottom + depth + tuck - shoulder),
                              (left - shoulder, bottom + depth + tuck), (tab + shoulder, bottom + depth + tuck),
                              (tab, bottom + depth + tuck - shoulder), (tab, bottom + depth)), 180, inside=True),
    ]
    narrow = min(2.0, depth / 4)
    for side, x in (("left", left), ("right", right)):
        panels.append(Panel(f"{side} dust flap above", ((x, top), (x + narrow, top - dust),
                                                        (x + depth - narrow, top - dust), (x + depth, top)),
                            inside=True))
        panels.append(Panel(f"{side} dust flap below", ((x + depth, bottom), (x + depth - narrow, bottom + dust),
                                                        (x + narrow, bottom + dust), (x, bottom)), inside=True))
    return _joined(tuple(panels), (
        ("back", "glue tab"), ("back", "left"), ("left", "front"), ("front", "right"), ("back", "lid"),
        ("lid", "lid flap"), ("back", "bottom"), ("bottom", "bottom flap"),
        *((side, f"{side} dust flap {end}") for side in ("left", "right") for end in ("above", "below"))))


def _tray(name: str, width: float, height: float, depth: float, lid: bool) -> _Net:
    """A floor with four walls; a tab at each end of the left and the right wall is glued behind the other two. A lid's
    walls are read with the floor up, a base's with the floor down."""
    tab, slope = min(_TAB_MM, max(depth * 0.9, _LEAST_TUCK_MM), width / 2 - 1), min(3.0, depth / 4)
    far, low = depth + width, depth + height
    up = {"left": 90, "right": 270, "top": 180, "bottom": 0}
    walls = {"left": (0.0, depth, depth, height), "right": (far, depth, depth, height),
             "top": (depth, 0.0, width, depth), "bottom": (depth, low, width, depth)}
    panels = [Panel(name, _corners(depth, depth, width, height))]
    panels += [Panel(f"{name} {wall}", _corners(*walls[wall]), up[wall] if lid else (up[wall] + 180) % 360)
               for wall in walls]
    pairs = [(name, f"{name} {wall}") for wall in walls]
    for wall, x in (("left", 0.0), ("right", far)):
        above, below = f"{name} {wall} tab above", f"{name} {wall} tab below"
        panels.append(Panel(above, ((x, depth), (x + slope, depth - tab), (x + depth - slope, depth - tab),
                                    (x + depth, depth)), inside=True))
        panels.append(Panel(below, ((x + depth, low), (x + depth - slope, low + tab), (x + slope, low + tab), (x, low)),
                            inside=True))
        pairs += [(f"{name} {wall}", above), (f"{name} {wall}", below)]
    return _joined(tuple(panels), tuple(pairs))


def _lid(inside: tuple[float, float, float], caliper_mm: float) -> _Net:
    """A lid that goes over the base: wider by the board on both sides and some play, its walls 0.6 of the depth."""
    wider = 2 * caliper_mm + _LID_PLAY_MM
    width, height, depth = inside
    return _tray("lid", width + wider, height + wider, max(0.6 * depth, min(depth, 10.0)), True)


def _key(line: Line) -> frozenset[tuple[float, float]]:
    return frozenset((round(x, 6), round(y, 6)) for x, y in (line.start, line.end))


def _edges(corners: tuple[Point, ...]) -> Iterator[Line]:
    for start, end in zip(corners, (*corners[1:], corners[0]), strict=True):
        yield Line(start, end)


def _room(paper: Paper, margin_mm: float) -> Rect:
    return Rect(margin_mm, margin_mm, paper.width_mm - 2 * margin_mm, paper.height_mm - 2 * margin_mm)


def _placed(nets: list[_Net], room: Rect) -> list[_Net] | None:
    """The nets in the middle of ``room``, one below the other or beside it, each turned where that helps."""
    for turns in product((False, True), repeat=len(nets)):
        turned = [net.turned() if turn else net for net, turn in zip(nets, turns, strict=True)]
        sizes = [net.size for net in turned]
        for down in (True, False):
            wide = [size.width for size in sizes]
            high = [size.height for size in sizes]
            gaps = _APART_MM * (len(nets) - 1)
            whole = (max(wide), sum(high) + gaps) if down else (sum(wide) + gaps, max(high))
            if whole[0] > room.width + 1e-6 or whole[1] > room.height + 1e-6:
                continue
            x, y = room.x + (room.width - whole[0]) / 2, room.y + (room.height - whole[1]) / 2
            placed = []
            for net, size in zip(turned, sizes, strict=True):
                dx = (whole[0] - size.width) / 2 if down else 0.0
                dy = 0.0 if down else (whole[1] - size.height) / 2
                placed.append(net.moved(x + dx - size.x, y + dy - size.y))
                x, y = (x, y + size.height + _APART_MM) if down else (x + size.width + _APART_MM, y)
            return placed
    return None


def _too_large(kind: str, nets: list[_Net], paper: Paper, margin_mm: float) -> DoesNotFit:
    sizes = " and ".join(f"{mm_text(net.size.width, 1)} × {mm_text(net.size.height, 1)} mm" for net in nets)
    room = _room(paper, margin_mm)
    larger = sorted((one for one in PAPERS.values() if _placed(nets, _room(one, margin_mm))),
                    key=lambda one: one.width_mm * one.height_mm)
    takes = (f"Use {' or '.join(one.label for one in larger[:2])}, which takes it" if larger
             else "No paper known here takes it; put fewer cards in it")
    return DoesNotFit(
        f"box: lies {sizes} flat, and {paper.label} prints {mm_text(room.width, 1)} × {mm_text(room.height, 1)} mm "
        f"inside margins of {mm_text(margin_mm, 1)} mm.",
        f"{takes}, or less clearance{', or the other kind of box' if kind else ''}.")


def box_to_json(box: Box) -> dict[str, Any]:
    """The box as plain data, in the page's frame, mm: origin at its top-left corner, y down."""
    def point(at: Point) -> list[float]:
        return [round(value, 6) for value in at]
    return {
        "kind": box.kind, "paper": box.paper.name,
        "deck_mm": [round(side, 6) for side in box.deck_mm], "clearance_mm": box.clearance_mm,
        "inside_mm": [round(side, 6) for side in box.inside_mm],
        "panels": [{"name": panel.name, "corners_mm": [point(corner) for corner in panel.corners]}
                   for panel in box.panels],
        "creases": [{"between": list(fold.between), "from_mm": point(fold.line.start), "to_mm": point(fold.line.end),
                     "turn_deg": fold.turn_deg} for fold in box.folds],
    }
