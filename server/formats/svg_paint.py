"""What an SVG's shapes are filled and stroked with: colours, gradients and patterns (SVG 2, chapters 13 and 14)."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING

from server.core.geometry import Affine, Edges, Rect
from server.formats.svg_canvas import Canvas, array, matrix_text
from server.formats.svg_css import Style
from server.formats.svg_rules import reference
from server.formats.svg_shapes import box_path
from server.formats.svg_tree import CantDraw, Node
from server.formats.svg_values import Rgb, Rgba, colour, fitted, length, share, transform, view_box

if TYPE_CHECKING:
    from server.formats.svg_draw import Drawing

_GRADIENT = frozenset(["gradientUnits", "gradientTransform", "spreadMethod", "href"])
ATTRIBUTES: dict[str, frozenset[str]] = {
    "linearGradient": _GRADIENT | {"x1", "y1", "x2", "y2"},
    "radialGradient": _GRADIENT | {"cx", "cy", "r", "fx", "fy", "fr"}, "stop": frozenset(("offset",)),
    "pattern": frozenset(["x", "y", "width", "height", "patternUnits", "patternContentUnits", "patternTransform",
                          "viewBox", "preserveAspectRatio", "href"]),
}
_LAP_PT = 0.2  # 0.07 mm: how much each cell of a pattern reaches over the next
_MOST_TURNS = 200  # of a gradient that repeats
# What says where a gradient lies, and whether it is a percentage where nothing is said.
_USER_SPACE_LINE = (("x1", ""), ("y1", ""), ("x2", "%"), ("y2", ""))
_USER_SPACE_CIRCLE = (("cx", "%"), ("cy", "%"), ("r", "%"), ("fx", ""), ("fy", ""), ("fr", ""))
_Stops = list[tuple[float, Rgba]]


@dataclass(frozen=True, slots=True)
class Ink:
    """A plain colour, a pattern object, or what is laid under the shape in the space ``onto``: shading objects over one
    another, or a single ``cell`` of a pattern. ``mask`` masks it; ``in_parts`` says that it has several."""

    colour: Rgb = (0.0, 0.0, 0.0)
    alpha: float = 1.0
    pattern: int = 0
    shadings: tuple[int, ...] = ()
    cell: int = 0
    onto: Affine = Affine()
    mask: str = ""
    in_parts: bool = False


def ink_of(drawing: Drawing, style: Style, use: str, room: Callable[[], Rect | None], canvas: Canvas,
           view: tuple[float, float]) -> Ink | None:
    """What ``use`` ("fill" or "stroke") paints with; None for nothing. Raises CantDraw."""
    value, alpha = style[use], share(style[f"{use}-opacity"])
    while value.startswith("url("):
        name, fallback = reference(value) or "", value.partition(")")[2].strip()
        node = drawing.tree.by_id.get(name)
        if node is not None and node.tag in ("linearGradient", "radialGradient", "pattern"):
            return _server_ink(drawing, node, style, use, room, canvas, view)
        if not fallback:
            raise CantDraw(f"{use}: {value[:40]}, which isn't there")
        value = fallback
    if value == "none" or alpha == 0:
        return None
    red, green, blue, own = colour_of(value, style)
    return Ink(canvas.seen((red, green, blue)), own * alpha)


def colour_of(value: str, style: Style) -> Rgba:
    if value.lower() == "currentcolor":
        value = style["color"] if style["color"].lower() != "currentcolor" else "black"
    return colour(value)


def _server_ink(drawing: Drawing, node: Node, style: Style, use: str, room: Callable[[], Rect | None],
                canvas: Canvas, view: tuple[float, float]) -> Ink | None:
    alpha = share(style[f"{use}-opacity"])
    chain = list(_chain(drawing, node))
    for one in chain:
        drawing.check(one, ATTRIBUTES[one.tag])
        drawing.check_shown(one)
    if node.tag == "pattern":
        return _pattern(drawing, chain, use, alpha, room, canvas, view)
    stops = _stops(drawing, chain)
    if not stops or alpha == 0:
        return None
    box: Rect | None = None
    onto = transform(_said(chain, "gradientTransform"))
    if _said(chain, "gradientUnits", "objectBoundingBox") == "objectBoundingBox":
        box = room()
        if box is None or box.width <= 0 or box.height <= 0:
            return None
        onto = Affine(box.width, 0, 0, box.height, box.x, box.y).after(onto)
        view = (1.0, 1.0)
    else:
        drawing.check_whole(node, view, *(_said(chain, name, otherwise) for name, otherwise in (
            _USER_SPACE_LINE if node.tag == "linearGradient" else _USER_SPACE_CIRCLE)))
    if onto.determinant == 0:
        return None
    ends = _ends(node.tag, chain, view, style.em)
    if len(stops) == 1 or ends is None:
        red, green, blue, own = stops[-1][1]
        return Ink(canvas.seen((red, green, blue)), own * alpha)
    return _shaded(canvas, ends, stops, onto, _said(chain, "spreadMethod", "pad"), alpha, use)


def _chain(drawing: Drawing, node: Node) -> Iterator[Node]:
    """The element and those that it takes after by ``href``, the nearest first."""
    seen: set[Node] = set()
    while True:
        if node in seen:
            raise CantDraw(f"a <{node.tag}> that refers to itself")
        seen.add(node)
        yield node
        target = reference(node.get("href")) if node.get("href") else None
        if target is None:
            return
        after = drawing.tree.by_id.get(target)
        kinds = ("pattern",) if node.tag == "pattern" else ("linearGradient", "radialGradient")
        if after is None or after.tag not in kinds:
            raise CantDraw(f"a <{node.tag}> after #{target[:40]}, which isn't there")
        node = after


def _said(chain: list[Node], name: str, otherwise: str = "") -> str:
    return next((node.get(name) for node in chain if name in node.attributes), otherwise)


def _stops(drawing: Drawing, chain: list[Node]) -> _Stops:
    """Where each stop lies, 0 to 1 and never before the one before it, and its colour."""
    holder = next((node for node in chain if any(child.tag == "stop" for child in node.children)), None)
    found: _Stops = []
    for node in holder.children if holder else ():
        if node.tag != "stop":
            drawing.pass_over(node)
            continue
        drawing.check(node, ATTRIBUTES["stop"])
        style = drawing.cascade.in_place(node)
        red, green, blue, alpha = colour_of(style["stop-color"], style)
        at = max(share(node.get("offset") or "0"), found[-1][0] if found else 0.0)
        found.append((at, (red, green, blue, alpha * share(style["stop-opacity"]))))
    return found


def _ends(tag: str, chain: list[Node], view: tuple[float, float], em: float) -> tuple[float, ...] | None:
    """The axis (x1, y1, x2, y2), or the circles (fx, fy, fr, cx, cy, r); None where they have no extent."""
    across, down, both = view[0], view[1], math.hypot(*view) / math.sqrt(2)

    def read(name: str, whole: float, otherwise: str) -> float:
        return length(_said(chain, name) or otherwise, whole, em)

    if tag == "linearGradient":
        axis = (read("x1", across, "0%"), read("y1", down, "0%"), read("x2", across, "100%"), read("y2", down, "0%"))
        return None if axis[:2] == axis[2:] else axis
    cx, cy, r = read("cx", across, "50%"), read("cy", down, "50%"), read("r", both, "50%")
    fx, fy = (read("fx", across, _said(chain, "cx") or "50%"), read("fy", down, _said(chain, "cy") or "50%"))
    fr = read("fr", both, "0%")
    if r <= 0:
        return None
    if math.hypot(fx - cx, fy - cy) + fr > r * 0.999:
        raise CantDraw("a gradient whose focus lies outside its circle")
    return fx, fy, fr, cx, cy, r


@dataclass(frozen=True, slots=True)
class _Turn:
    """One turn of a gradient: its axis or circles, its stops from 0 to 1, and whether it reaches out before it."""

    ends: tuple[float, ...]
    stops: _Stops
    first: bool = True

    def shading(self, canvas: Canvas, of: Callable[[Rgba], tuple[float, ...]]) -> int:
        """The number of a shading object (ISO 32000-1, 8.7.4.5); ``of`` says what of each stop it shows."""
        parts = [(one, other) for one, other in pairwise(self.stops) if other[0] > one[0]]
        functions = " ".join(f"<</FunctionType 2 /Domain [0 1] /N 1 /C0 {array(of(one[1]))} /C1 {array(of(other[1]))}>>"
                             for one, other in parts)
        space = "DeviceRGB" if len(of(self.stops[0][1])) == 3 else "DeviceGray"
        return canvas.objects.put(
            f"<</ShadingType {2 if len(self.ends) == 4 else 3} /ColorSpace /{space} /Coords {array(self.ends)} "
            f"/Extend [{str(self.first).lower()} true] /Function <</FunctionType 3 /Domain [0 1] "
            f"/Functions [{functions}] /Bounds {array(one[0] for one, _ in parts[1:])} "
            f"/Encode {array([0, 1] * len(parts))}>>>>")


def _shaded(canvas: Canvas, ends: tuple[float, ...], stops: _Stops, onto: Affine, spread: str, alpha: float,
            use: str) -> Ink:
    whole = [(0.0, stops[0][1]), *stops, (1.0, stops[-1][1])]
    turns = [_Turn(ends, whole)]
    if spread in ("repeat", "reflect"):
        turns = _turns(canvas, ends, whole, onto, spread)
        if use == "stroke" and len(turns) > 1:
            raise CantDraw(f"spreadMethod {spread} in a stroke")
    elif spread != "pad":
        raise CantDraw(f"spreadMethod {spread[:20]}")
    colours = tuple(turn.shading(canvas, lambda rgba: canvas.seen(rgba[:3])) for turn in turns)
    pattern = 0
    if use == "stroke":
        pattern = canvas.objects.put(f"<</Type /Pattern /PatternType 2 /Shading {colours[0]} 0 R "
                                     f"/Matrix [{matrix_text(canvas.matrix.after(onto))}]>>")
    ink = Ink(pattern=pattern, shadings=() if pattern else colours, onto=onto, in_parts=len(colours) > 1)
    levels = {rgba[3] for _, rgba in stops}
    if len(levels) == 1:
        return replace(ink, alpha=alpha * levels.pop())
    veil = canvas.child(grey=False)
    levels_of = (turn.shading(canvas, lambda rgba: (rgba[3] * alpha,)) for turn in turns)
    veil.shade(box_path(canvas.visible), onto, levels_of)
    return replace(ink, mask=veil.as_mask())


def _turns(canvas: Canvas, ends: tuple[float, ...], stops: _Stops, onto: Affine, spread: str) -> list[_Turn]:
    """A gradient that repeats as one for each turn that can be seen: each covers all from its beginning on."""
    corners = [onto.inverse()(corner) for corner in canvas.visible.corners]
    if len(ends) == 4:
        x1, y1, x2, y2 = ends
        dx, dy = x2 - x1, y2 - y1
        reach = [((x - x1) * dx + (y - y1) * dy) / (dx * dx + dy * dy) for x, y in corners]
        first, last = math.floor(min(reach)), math.ceil(max(reach))
    else:
        fx, fy, fr, cx, cy, r = ends
        if (fx, fy, fr) != (cx, cy, 0.0):
            raise CantDraw(f"spreadMethod {spread} with a focus")
        first, last = 0, math.ceil(max(math.hypot(x - cx, y - cy) for x, y in corners) / r)
    if last - first > _MOST_TURNS:
        raise CantDraw(f"spreadMethod {spread} of more than {_MOST_TURNS} turns", "too-much-inside")
    back = [(1 - at, rgba) for at, rgba in reversed(stops)]
    found = []
    for turn in range(first, max(last, first + 1)):
        at = (x1 + dx * turn, y1 + dy * turn, x2 + dx * turn, y2 + dy * turn) if len(ends) == 4 else (
            cx, cy, r * turn, cx, cy, r * (turn + 1))
        found.append(_Turn(at, back if spread == "reflect" and turn % 2 else stops, turn == first))
    return found


def _pattern(drawing: Drawing, chain: list[Node], use: str, alpha: float, room: Callable[[], Rect | None],
             canvas: Canvas, view: tuple[float, float]) -> Ink | None:
    holder = next((node for node in chain if any(drawing.draws(child) for child in node.children)), None)
    box = room()
    by_box = _said(chain, "patternUnits", "objectBoundingBox") == "objectBoundingBox"
    content_by_box = _said(chain, "patternContentUnits", "userSpaceOnUse") == "objectBoundingBox"
    if holder is None or ((by_box or content_by_box) and (box is None or box.width <= 0 or box.height <= 0)):
        return None
    if not by_box:
        drawing.check_whole(holder, view, *(_said(chain, name) for name in ("x", "y", "width", "height")))
    across, down = (1.0, 1.0) if by_box else view
    x, y, width, height = (length(_said(chain, name) or "0", whole) for name, whole in
                           (("x", across), ("y", down), ("width", across), ("height", down)))
    if by_box and box:
        x, y, width, height = box.x + x * box.width, box.y + y * box.height, width * box.width, height * box.height
    if width <= 0 or height <= 0:
        return None
    cell = Rect(0, 0, width, height)
    shown = view_box(_said(chain, "viewBox"))
    into = Affine()  # what it holds is seen from the cell's own corner
    if shown:
        into = fitted(shown, cell, _said(chain, "preserveAspectRatio"))
    elif content_by_box and box:
        into = Affine.scaling(box.width, box.height)
    onto = transform(_said(chain, "patternTransform")).after(Affine.shift(x, y))
    if onto.determinant == 0:
        return None

    def drawn(lap: float) -> Canvas:
        base = canvas.base.after(canvas.matrix).after(onto)
        inner = Canvas(canvas.objects, cell.grown(Edges.all(lap)), canvas.grey, base)
        larger = Affine.scaling(1 + 2 * lap / width, 1 + 2 * lap / height, cell.centre)
        drawing.inside(holder, inner, larger.after(into), (shown.width, shown.height) if shown else view)
        return inner

    inner = drawn(0.0)
    if use == "fill" and box and all(cell.grown(Edges.all(1e-3 * max(width, height))).contains(Rect(*corner, 0, 0))
                                     for corner in map(onto.inverse(), box.corners)):
        return Ink(cell=inner.as_group(), onto=onto, alpha=alpha)
    if inner.is_opaque:
        # Readers shade the edges of neighbouring cells one by one, which shows what is under both.
        inner = drawn(min(_LAP_PT / inner.unit_pt, 0.02 * min(width, height)))
    return Ink(pattern=inner.as_cell((width, height), canvas.matrix.after(onto)), alpha=alpha, in_parts=True)
