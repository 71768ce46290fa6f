"""An SVG's clips and masks (CSS Masking 1): a clip of shapes that lie apart stays a path, all else becomes a mask."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import nullcontext
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

from server.core.geometry import Affine, Point, Rect, bounds
from server.formats import svg_text
from server.formats.svg_canvas import Canvas
from server.formats.svg_css import Style
from server.formats.svg_shapes import SHAPES, box_path, moved, room
from server.formats.svg_tree import FRAMES, CantDraw, Node
from server.formats.svg_values import Path, length, transform

if TYPE_CHECKING:
    from server.formats.svg_draw import Drawing

_CLIP = frozenset(("clipPathUnits",))
_MASK = frozenset(["x", "y", "width", "height", "maskUnits", "maskContentUnits"])
Box = Callable[[], Rect | None]
View = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Outline:
    """One shape of a clip in the clip's own space, by which rule it is filled, and what clips it in turn."""

    path: Path
    even_odd: bool
    style: Style
    node: Node
    onto: Affine


def clip(drawing: Drawing, node: Node, canvas: Canvas, box: Box, view: View) -> str:
    """Clip what is drawn next. Returns the entry of a graphics state that must do it, "" where the path is enough."""
    drawing.check(node, _CLIP)
    own = drawing.cascade.in_place(node)
    if own["mask"] != "none":
        raise CantDraw("a mask on a <clipPath>")
    onto = transform(node.get("transform"))
    if node.get("clipPathUnits", "userSpaceOnUse") == "objectBoundingBox":
        found = box()
        if found is None or found.width <= 0 or found.height <= 0:
            canvas.clip([])
            return ""
        onto = onto.after(Affine(found.width, 0, 0, found.height, found.x, found.y))
        view = (1.0, 1.0)
    with drawing.inside_of(node), drawing.cascade.rules.as_used(None):
        outlines = list(_outlines(drawing, node, own, view))
        outer = drawing.referred(own["clip-path"], "clipPath")
        # A clip of the clip itself is in the space of what is clipped (CSS Masking 1, 6).
        outer_mask = clip(drawing, outer, canvas, box, view) if outer else ""
        if not outer_mask and _apart(outlines, onto):
            canvas.clip([step for one in outlines for step in moved(one.path, onto)],
                        any(one.even_odd for one in outlines))
            return ""
        if len(outlines) > 1 and any(one.even_odd for one in outlines):
            raise CantDraw("shapes in a <clipPath> that overlap by clip-rule: evenodd")  # readers differ
        veil = canvas.child(grey=True)
        if outer_mask:
            veil.state(outer_mask)
        inner = veil.child() if outer_mask else veil
        inner.save()
        inner.transform(onto)
        for one in outlines:
            _white(drawing, one, inner, view)
        inner.restore()
        if outer_mask:
            veil.paint_form(inner.as_group())
        return veil.as_mask()


def _white(drawing: Drawing, one: _Outline, canvas: Canvas, view: View) -> None:
    canvas.save()
    if clipped := drawing.referred(one.style["clip-path"], "clipPath"):
        canvas.transform(one.onto)
        back = one.onto.inverse()
        masked = clip(drawing, clipped, canvas, lambda: room(moved(one.path, back)), view)
        if masked:
            canvas.state(masked)
        path = moved(one.path, back)
    else:
        path = one.path
    canvas.write("1 g")
    if path:
        canvas.trace(path)
        canvas.write("f*" if one.even_odd else "f")
    canvas.restore()


def _apart(outlines: list[_Outline], onto: Affine) -> bool:
    """Whether one path of all shapes has the union of them inside: where they don't meet, and are filled alike."""
    if any(one.style["clip-path"] != "none" for one in outlines) or len({one.even_odd for one in outlines}) > 1:
        return False
    rooms = [found for one in outlines if (found := room(one.path))]
    return len(rooms) <= 100 and not any(one.overlaps(other) for one, other in combinations(rooms, 2))


def _outlines(drawing: Drawing, holder: Node, around: Style, view: View) -> Iterator[_Outline]:
    for child in holder.children:
        if drawing.draws(child):
            yield from _outline(drawing, child, around, view, Affine())


def _outline(drawing: Drawing, node: Node, around: Style, view: View, onto: Affine) -> Iterator[_Outline]:
    drawing.check_drawn(node)
    style = drawing.cascade.style(node, around)
    if style["display"] == "none":
        return
    onto = onto.after(transform(node.get("transform")))
    if onto.determinant == 0:
        return
    even_odd = style["clip-rule"] == "evenodd"
    if node.tag == "use":
        if style["clip-path"] != "none":
            raise CantDraw("a clip on a <use> in a <clipPath>")
        used, by = drawing.used(node, style, view)
        if used.tag not in SHAPES:
            raise CantDraw(f"<use> of a <{used.tag}> in a <clipPath>")
        with drawing.cascade.rules.as_used(used):
            yield from _outline(drawing, used, style, view, onto.after(by))
    elif style["visibility"] != "visible":
        return
    elif node.tag in SHAPES:
        yield _Outline(moved(drawing.path(node, style, view), onto), even_odd, style, node, onto)
    elif node.tag == "text":
        for run, path in svg_text.outlines(drawing, node, style, view):
            yield _Outline(moved(path, onto), False, run, node, onto)
    else:
        raise CantDraw(f"<{node.tag}> in a <clipPath>")


def mask(drawing: Drawing, node: Node, canvas: Canvas, box: Box, view: View) -> str:
    """The entry of a graphics state that masks what is drawn next."""
    drawing.check(node, _MASK)
    style = drawing.cascade.in_place(node)
    if style["mask"] != "none" or style["clip-path"] != "none":
        raise CantDraw("a mask on a <mask>")
    kind = {"luminance": "Luminosity", "alpha": "Alpha"}.get(style["mask-type"])
    if kind is None:
        raise CantDraw(f"mask-type: {style['mask-type'][:20]}")
    by_box = node.get("maskUnits", "objectBoundingBox") == "objectBoundingBox"
    content_by_box = node.get("maskContentUnits", "userSpaceOnUse") == "objectBoundingBox"
    found = box() if by_box or content_by_box else None
    veil = canvas.child(grey=True)
    if (by_box or content_by_box) and (found is None or found.width <= 0 or found.height <= 0):
        return veil.as_mask(kind)
    if not by_box:
        drawing.check_whole(node, view, *(node.get(name, "%") for name in ("x", "y", "width", "height")))
    across, down = (1.0, 1.0) if by_box else view
    x, y, width, height = (length(node.get(name) or otherwise, whole) for name, otherwise, whole in (
        ("x", "-10%", across), ("y", "-10%", down), ("width", "120%", across), ("height", "120%", down)))
    region = Rect(x, y, width, height)
    if by_box and found:
        region = Rect(found.x + x * found.width, found.y + y * found.height, width * found.width, height * found.height)
    if region.width > 0 and region.height > 0:
        veil.clip(box_path(region))
        into = Affine(found.width, 0, 0, found.height, found.x, found.y) if content_by_box and found else Affine()
        drawing.inside(node, veil, into, (1.0, 1.0) if content_by_box else view)
    return veil.as_mask(kind)


def room_of(drawing: Drawing, node: Node, style: Style, view: View, as_used: Node | None = None) -> Rect | None:
    """The room that an element's fill takes, in its own user space; None where it takes none."""
    drawing.count()
    if node.tag in SHAPES:
        return room(drawing.path(node, style, view))
    if node.tag == "text":
        raise CantDraw("a clip or mask by a text's own box", fix="Turn its text into paths, or save it as PDF.")
    if node.tag == "image":
        if not (node.get("width") and node.get("height")):
            raise CantDraw("a clip or mask by a picture's own box")
        return drawing.picture_place(node, style, view, (1, 1))
    into, inner, children = Affine(), view, list[tuple[Node, Node | None]]()
    if node.tag == "use":
        used, into = drawing.used(node, style, view)
        children = [(used, node)]
    else:
        if node.tag in FRAMES:
            _, into, inner = drawing.frame(node, style, view, as_used)
        children = [(child, None) for child in drawing.chosen(node)]
    found = list[Point]()
    for child, by in children:
        if not (by and child.tag in FRAMES) and not drawing.draws(child):
            continue
        with drawing.cascade.rules.as_used(child) if by else nullcontext(), drawing.inside_of(child):
            own = drawing.cascade.style(child, style)
            box = None if own["display"] == "none" else room_of(drawing, child, own, inner, by)
        if box:
            found += map(into.after(transform(child.get("transform"))), box.corners)
    return bounds(found) if found else None
