"""An SVG's elements, drawn one by one as PDF content; whatever isn't known to be drawn as it is meant is refused.

What is drawn is what stands in the tables here and in ``svg_css``: an element, an attribute, a property or a value that
stands in none of them ends the drawing with its name. What is never drawn, such as an unused definition, has no say.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from server.core.geometry import Affine, Rect
from server.formats import svg_mask, svg_text
from server.formats.svg_canvas import Canvas, Objects, text_of
from server.formats.svg_css import PROPERTIES, Cascade, Style
from server.formats.svg_image import put_picture
from server.formats.svg_markers import draw_markers, has_markers
from server.formats.svg_painting import paint, stroke_width
from server.formats.svg_rules import reference
from server.formats.svg_shapes import ATTRIBUTES, SHAPES, Units, box_path, path_of
from server.formats.svg_tree import FRAMES, CantDraw, Node, Tree
from server.formats.svg_values import Path, fitted, share, transform, view_box

View = tuple[float, float]  # width and height of what percentages are of, in user units

MOST_DRAWN = 60_000  # elements, counted anew each time that one is used
MOST_STEPS = 2_000_000  # of paths, likewise
_MOST_NESTED = 60  # uses, masks and patterns in one another
# What has no picture of its own.
_QUIET = frozenset({
    "defs", "title", "desc", "metadata", "style", "linearGradient", "radialGradient", "pattern", "clipPath", "mask",
    "symbol", "marker", "filter", "view", "font", "font-face", "color-profile",
})
_EVERYWHERE = frozenset({
    "id", "class", "style", "transform", "lang", "tabindex", "role", "focusable", "version", "baseProfile", "title",
    "contentStyleType", "contentScriptType", "zoomAndPan", "requiredFeatures", "xml:space", "xml:lang", "xml:id",
    "externalResourcesRequired",
})
_FRAME = frozenset(["x", "y", "width", "height", "viewBox", "preserveAspectRatio"])
_ATTRIBUTES: dict[str, frozenset[str]] = {
    **ATTRIBUTES, "g": frozenset(), "switch": frozenset(),
    "a": frozenset(["href", "target", "rel", "download", "type"]), "svg": _FRAME, "text": svg_text.ATTRIBUTES,
    "use": frozenset(["x", "y", "width", "height", "href"]),
    "image": frozenset(["x", "y", "width", "height", "preserveAspectRatio", "href", "decoding", "crossorigin"]),
}
_GROUPS = frozenset({"g", "a", "switch"})
_BLENDS = {name: "".join(part.capitalize() for part in name.split("-")) for name in (
    "multiply", "screen", "overlay", "darken", "lighten", "color-dodge", "color-burn", "hard-light", "soft-light",
    "difference", "exclusion", "hue", "saturation", "color", "luminosity")}


class Drawing:
    """One SVG being drawn. Raises CantDraw, from any of its methods, for what isn't drawn as it is meant."""

    def __init__(self, tree: Tree, objects: Objects) -> None:
        self.tree = tree
        self.objects = objects
        self.cascade = Cascade(tree)
        self._left = MOST_DRAWN
        self._steps = MOST_STEPS
        self._view: View | None = None
        self._blends = tree.mentions("mix-blend-mode")
        self._under: list[Node] = []

    def check(self, node: Node, known: frozenset[str]) -> None:
        """Refuse an attribute that isn't known."""
        for name in node.attributes:
            if not (name in known or name in PROPERTIES or name in _EVERYWHERE
                    or name.startswith(("data-", "aria-"))):
                raise CantDraw(f"{name} on a <{node.tag}>")

    def check_whole(self, node: Node, view: View, *said: str) -> None:
        """Refuse percentages of a definition that is used in another view than the page's: readers take them of
        either."""
        if view != self._view and any("%" in text for text in said):
            raise CantDraw(f"a <{node.tag}> by percentages in a nested <svg>")

    def check_drawn(self, node: Node) -> None:
        self.check(node, _ATTRIBUTES.get(node.tag, _FRAME | {"refX", "refY"}))
        self.count()

    def count(self) -> None:
        """One more element to draw or to measure."""
        self._left -= 1
        if self._left < 0:
            raise CantDraw(f"more than {MOST_DRAWN} elements to draw", "too-much-inside",
                           "Simplify it, or save it as PNG.")

    def path(self, node: Node, style: Style, view: View) -> Path:
        """A shape's outline, counted."""
        path = path_of(node, Units(view, style.em))
        self._steps -= len(path)
        if self._steps < 0:
            raise CantDraw(f"paths of more than {MOST_STEPS} steps to draw", "too-much-inside",
                           "Simplify it, or save it as PNG.")
        return path

    def draws(self, node: Node) -> bool:
        """Whether an element has a picture of its own. Raises CantDraw for one that isn't known."""
        if node.tag in _QUIET:
            return False
        if node.tag not in _ATTRIBUTES:
            raise CantDraw(f"<{node.tag}>")
        return True

    def pass_over(self, node: Node) -> None:
        """Refuse an element where none is meant to be, unless it draws nothing."""
        if self.draws(node):
            raise CantDraw(f"<{node.tag}> in a <{node.parent.tag if node.parent else ''}>")

    def inside(self, holder: Node, canvas: Canvas, into: Affine, view: View) -> None:
        """Draw what a pattern, a mask or the like holds, by the style of the place where it stands."""
        with_style = self.cascade.in_place(holder)
        with self.inside_of(holder), self.cascade.rules.as_used(None):
            canvas.save()
            canvas.transform(into)
            if canvas.matrix.determinant:
                for child in holder.children:
                    self.draw(child, canvas, with_style, view)
            canvas.restore()

    def draw(self, node: Node, canvas: Canvas, around: Style, view: View, as_used: Node | None = None) -> None:
        """Draw one element, its transform, clip, masks, opacity and blending counted."""
        if not (as_used and node.tag in FRAMES) and not self.draws(node):
            return
        self.check_drawn(node)
        style = self.cascade.style(node, around)
        if style["display"] == "none":
            return
        canvas.save()
        canvas.transform(transform(node.get("transform")))
        if canvas.matrix.determinant and share(style["opacity"]) > 0:
            self._with_effects(node, style, canvas, view, as_used)
        canvas.restore()

    def _with_effects(self, node: Node, style: Style, canvas: Canvas, view: View, as_used: Node | None) -> None:
        opacity, blend = share(style["opacity"]), style["mix-blend-mode"]
        if blend != "normal" and (blend not in _BLENDS or canvas.grey):
            raise CantDraw(f"mix-blend-mode: {blend[:20]}{' in a mask' if canvas.grey else ''}")
        if style["isolation"] not in ("auto", "isolate"):
            raise CantDraw(f"isolation: {style['isolation'][:20]}")

        def box() -> Rect | None:
            return svg_mask.room_of(self, node, style, view, as_used)

        masks = []
        # What is clipped or masked blends within itself alone (Compositing 1, 3.1).
        apart = style["isolation"] == "isolate" or (self._blends and style["clip-path"] != "none")
        if (clip := self.referred(style["clip-path"], "clipPath")) and (
                masked := svg_mask.clip(self, clip, canvas, box, view)):
            masks.append(masked)
        if mask := self.referred(style["mask"], "mask"):
            masks.append(svg_mask.mask(self, mask, canvas, box, view))
        alone = node.tag in SHAPES and not has_markers(node, style) and "none" in (style["fill"], style["stroke"])
        if not masks and blend == "normal" and not apart and (opacity == 1 or alone):
            self._content(node, style, canvas, view, opacity, as_used)
            return
        target = canvas.child()
        self._content(node, style, target, view, 1.0, as_used)
        while len(masks) > 1:
            outer = canvas.child()
            outer.state(masks.pop())
            outer.paint_form(target.as_group())
            target = outer
        mode = f" /BM /{_BLENDS[blend]}" if blend != "normal" else ""
        canvas.state(f"/ca {text_of(opacity)}{mode} {masks[0] if masks else ''}")
        canvas.paint_form(target.as_group())

    def referred(self, value: str, tag: str) -> Node | None:
        """The element that a clip-path or mask names; None for ``none``."""
        if value == "none":
            return None
        found = self.tree.by_id.get(reference(value) or "")
        if found is None or found.tag != tag:
            raise CantDraw(f"{'clip-path' if tag == 'clipPath' else tag}: {value[:40]}, which isn't there")
        self.check_shown(found)
        return found

    def check_shown(self, node: Node) -> None:
        """Refuse a definition that is hidden where it stands: readers differ about what is left of it."""
        if self.cascade.in_place(node)["opacity"] not in ("1", "100%"):
            raise CantDraw(f"an opacity on a <{node.tag}>")
        at: Node | None = node
        while at:
            if self.cascade.in_place(at)["display"] == "none":
                raise CantDraw(f"a <{node.tag}> that isn't displayed")
            at = at.parent

    @contextmanager
    def inside_of(self, node: Node) -> Iterator[None]:
        """While what ``node`` holds is drawn. Raises CantDraw where that is under way already."""
        if node in self._under:
            raise CantDraw(f"a <{node.tag}> within itself")
        if len(self._under) >= _MOST_NESTED:
            raise CantDraw("too many uses in one another", "too-much-inside")
        self._under.append(node)
        yield
        self._under.pop()

    def _content(self, node: Node, style: Style, canvas: Canvas, view: View, alpha: float,
                 as_used: Node | None) -> None:
        if node.tag in SHAPES:
            if style["visibility"] == "visible":
                path = self.path(node, style, view)
                paint(self, path, style, canvas, view, alpha, node.tag)
                if has_markers(node, style):
                    if "markers" in style["paint-order"].split()[:-1]:
                        raise CantDraw("markers under what they mark")
                    draw_markers(self, path, style, canvas, view, stroke_width(style, view))
        elif node.tag == "text":
            for run, path in svg_text.outlines(self, node, style, view):
                if run["visibility"] == "visible":
                    paint(self, path, run, canvas, view, alpha, node.tag)
        elif node.tag == "image":
            if style["visibility"] == "visible":
                self._image(node, style, canvas, view)
        elif node.tag == "use":
            used, into = self.used(node, style, view)
            with self.inside_of(used), self.cascade.rules.as_used(used):
                canvas.transform(into)
                self.draw(used, canvas, style, view, node)
        elif node.tag in _GROUPS:
            for child in self.chosen(node):
                self.draw(child, canvas, style, view)
        else:
            self._frame(node, style, canvas, view, as_used)

    def chosen(self, node: Node) -> Iterator[Node]:
        """The elements of a group that are drawn; of a <switch> the first that needs nothing special."""
        for child in node.children:
            special = child.get("requiredExtensions") != ""
            if "systemLanguage" in child.attributes or (special and node.tag != "switch"):
                raise CantDraw(f"systemLanguage on a <{child.tag}>" if not special else
                               f"requiredExtensions on a <{child.tag}>")
            if special or child.tag in _QUIET:
                continue
            yield child
            if node.tag == "switch":
                return

    def used(self, node: Node, style: Style, view: View) -> tuple[Node, Affine]:
        link, units = node.get("href"), Units(view, style.em)
        used = self.tree.by_id.get(link[1:]) if link.startswith("#") else None
        if used is None:
            raise CantDraw(f"<use> of {link[:40] or 'nothing'}, which isn't there")
        return used, Affine.shift(units.across(node.get("x") or "0"), units.down(node.get("y") or "0"))

    def frame(self, node: Node, style: Style, view: View, as_used: Node | None) -> tuple[Rect, Affine, View]:
        """Of an <svg> or <symbol> inside: its place, what carries its content there, and the content's own view."""
        units = Units(view, style.em)
        sizes = []
        for name, measure, whole in (("width", units.across, view[0]), ("height", units.down, view[1])):
            said = (as_used.get(name) if as_used else "") or node.get(name) or "auto"
            sizes.append(whole if said == "auto" else measure(said))
        place = Rect(units.across(node.get("x") or "0"), units.down(node.get("y") or "0"), max(0, sizes[0]),
                     max(0, sizes[1]))
        if node.get("refX") or node.get("refY"):
            raise CantDraw("refX on a <symbol>")
        shown = view_box(node.get("viewBox"))
        if shown is None or place.width == 0 or place.height == 0:
            return place, Affine.shift(place.x, place.y), (place.width, place.height)
        return place, fitted(shown, place, node.get("preserveAspectRatio")), (shown.width, shown.height)

    def _frame(self, node: Node, style: Style, canvas: Canvas, view: View, as_used: Node | None) -> None:
        place, into, inner = self.frame(node, style, view, as_used)
        self._view = self._view or inner  # the outermost is the first
        if place.width <= 0 or place.height <= 0:
            return
        if (style["overflow"] or "hidden") not in ("visible", "auto"):
            canvas.clip(box_path(place))
        canvas.transform(into)
        for child in self.chosen(node):
            self.draw(child, canvas, style, inner)

    def _image(self, node: Node, style: Style, canvas: Canvas, view: View) -> None:
        if not node.get("href"):
            return
        known_by = node.get("href"), canvas.grey
        if known_by not in self.objects.pictures:
            self.objects.pictures[known_by] = put_picture(canvas, node.get("href"))
        number, (across, down) = self.objects.pictures[known_by]
        place = self.picture_place(node, style, view, (across, down))
        if place.width <= 0 or place.height <= 0:
            return
        canvas.save()
        canvas.clip(box_path(place))
        canvas.transform(fitted(Rect(0, 0, across, down), place, node.get("preserveAspectRatio")))
        canvas.transform(Affine(across, 0, 0, -down, 0, down))  # a PDF's picture fills the unit square, y up
        canvas.paint_form(number)
        canvas.restore()

    def picture_place(self, node: Node, style: Style, view: View, pixels: tuple[int, int]) -> Rect:
        units = Units(view, style.em)
        width, height = (None if text in ("", "auto") else measure(text) for text, measure in
                         ((node.get("width"), units.across), (node.get("height"), units.down)))
        if width is None:
            width = pixels[0] if height is None else height * pixels[0] / pixels[1]
        if height is None:
            height = width * pixels[1] / pixels[0]
        return Rect(units.across(node.get("x") or "0"), units.down(node.get("y") or "0"), width, height)
