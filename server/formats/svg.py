"""An SVG as a PDF of one page, drawn as vector, so that it is read, shown and laid out like a PDF page."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from server.core.geometry import Affine, Rect
from server.core.units import POINTS_PER_INCH
from server.formats.limits import DEFAULT_LIMITS, ArtLimits, ArtTooLarge, BadArt, refusing
from server.formats.pdf_source import load_pymupdf
from server.formats.svg_canvas import Canvas, Objects
from server.formats.svg_css import Style
from server.formats.svg_draw import Drawing
from server.formats.svg_tree import CantDraw, Node, parse
from server.formats.svg_values import UNITS_PX, length, view_box

_POINTS = POINTS_PER_INCH / UNITS_PX["in"]  # of a px


def open_svg(path: Path, file: str, limits: ArtLimits = DEFAULT_LIMITS) -> Any:
    """The SVG as a PDF document with one page, in memory; the caller closes it.

    Raises BadArt or ArtTooLarge, naming ``file`` and what in it isn't drawn as it is meant.
    """
    try:
        size = path.stat().st_size
        if size > limits.stream_bytes:
            raise CantDraw(f"{size / 1e6:.0f} MB, over the limit of {limits.stream_bytes / 1e6:.0f} MB for an SVG",
                           "file-too-large", "Simplify it, scale its pictures down, or save it as PDF.")
        with refusing(file):
            drawn = _drawn(path.read_bytes(), limits)
    except CantDraw as error:
        kind = ArtTooLarge if error.code.startswith(("too-m", "file-too")) else BadArt
        word = "is damaged," if error.code == "damaged" else "has"
        say = f"{file}: {word} {error.what}"
        say += ". It wouldn't be printed as it is meant." if error.code in ("svg-feature", "svg-font") else "."
        raise kind(say, error.fix, error.code) from None
    except RecursionError:
        raise ArtTooLarge(f"{file}: has elements too deep in one another.", "Ungroup it.", "too-much-inside") from None
    return load_pymupdf().open(stream=drawn, filetype="pdf")


@lru_cache(maxsize=2)  # a file is read, and then looked at
def _drawn(data: bytes, limits: ArtLimits) -> bytes:
    tree = parse(data)
    width, height = _sized(tree.root)
    objects = Objects(limits)
    try:
        drawing = Drawing(tree, objects)
        page = objects.document.new_page(width=width * _POINTS, height=height * _POINTS)
        canvas = Canvas(objects, Rect(0, 0, width * _POINTS, height * _POINTS))
        canvas.save()
        canvas.transform(Affine(_POINTS, 0, 0, -_POINTS, 0, height * _POINTS))  # px, y down
        drawing.draw(tree.root, canvas, Style(), (width, height))
        canvas.restore()
        content = objects.put_stream("", canvas.content())
        number = page.xref
        for key, value in (("Contents", f"{content} 0 R"), ("Group", "<</S /Transparency /CS /DeviceRGB /I true>>"),
                           ("Resources", canvas.resources().removeprefix("/Resources "))):
            objects.document.xref_set_key(number, key, value)
        return bytes(objects.document.tobytes(no_new_id=True))
    finally:
        objects.document.close()


def _sized(root: Node) -> tuple[float, float]:
    """Width and height in px, by CSS 96 to the inch; the root says them then. Raises CantDraw where nothing does."""
    shown = view_box(root.get("viewBox"))
    width, height = (_side(root.get(name)) for name in ("width", "height"))
    if shown is None and (width is None or height is None):
        raise CantDraw("no size of its own", "no-size", "Give its <svg> a width and a height in mm, or a viewBox.")
    if shown:
        if width is None:
            width = shown.width if height is None else height * shown.width / shown.height
        if height is None:
            height = width * shown.height / shown.width
    if "transform" in root.attributes:
        raise CantDraw("transform on its outermost <svg>")
    if not width or not height or width <= 0 or height <= 0:
        raise CantDraw("no width or no height, so there is nothing to print", "zero-size")
    root.attributes |= {"width": repr(width), "height": repr(height), "x": "0", "y": "0"}
    return width, height


def _side(text: str) -> float | None:
    if text in ("", "auto", "100%"):
        return None
    if text.endswith(("%", "em")):
        raise CantDraw(f"a size of {text[:20]}, which has no measure of its own", "no-size",
                       "Give its <svg> a width and a height in mm.")
    return length(text, 0.0)
