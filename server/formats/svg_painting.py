"""A path filled and stroked, with what a style says of both (SVG 2, 13)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from server.core.geometry import Rect
from server.formats.svg_canvas import Canvas, text_of
from server.formats.svg_css import Style
from server.formats.svg_dashes import dashed
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
