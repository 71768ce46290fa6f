"""A surface that writes SVG for the screen: user units are millimetres, so nothing is converted.

Only presentation attributes are written, never ``style``: the pages' content security policy forbids inline style.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from html import escape

from server.core.art import Art
from server.core.geometry import Affine, Point, Rect
from server.core.plan import Line
from server.drawing.surface import BLACK, Anchor, Layer, Rgb, Stroke

_FONT = "Helvetica, Arial, sans-serif"


def _n(value: float) -> str:
    text = f"{value:.4f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text


def _colour(rgb: Rgb) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def _matrix(matrix: Affine) -> str:
    return "matrix(" + " ".join(
        f"{value:.6g}" for value in (matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f)) + ")"


def _pen(stroke: Stroke) -> str:
    dash = f' stroke-dasharray="{" ".join(_n(mm) for mm in stroke.dash_mm)}"' if stroke.dash_mm else ""
    return f'fill="none" stroke="{_colour(stroke.rgb)}" stroke-width="{_n(stroke.width_mm)}"{dash}'


class SvgSurface:
    """Implements ``Surface``. ``href`` gives the address of an art's upright picture; ``prefix`` keeps ids apart
    where several sheets stand on one page. One page per surface; ``svg()`` gives the document."""

    def __init__(self, href: Callable[[Art], str], prefix: str = "s") -> None:
        self._href = href
        self._prefix = prefix
        self._body: list[str] = []
        self._defs: list[str] = []
        self._clips: dict[Rect, str] = {}
        self._size = Rect(0, 0, 0, 0)
        self._label = ""

    def page(self, size: Rect, trim: Rect, bleed: Rect, label: str) -> None:
        if self._label:
            raise RuntimeError("SvgSurface: one page only; make a surface for each face.")
        self._size, self._label = size, label

    @contextmanager
    def within(self, *, layer: Layer | None = None, matrix: Affine | None = None,
               clip: Rect | None = None) -> Iterator[None]:
        attributes = ""
        if layer:
            attributes += f' data-layer={_quoted(layer.replace(" ", "-"))}'
        if matrix and not matrix.is_identity:
            attributes += f' transform="{_matrix(matrix)}"'
        if clip:
            attributes += f' clip-path="url(#{self._clip(clip)})"'
        if attributes:
            self._body.append(f"<g{attributes}>")
        yield
        if attributes:
            self._body.append("</g>")

    def art(self, art: Art, matrix: Affine) -> None:
        self._body.append(f'<image href={_quoted(self._href(art))} width="1" height="1" '
                          f'preserveAspectRatio="none" transform="{_matrix(matrix)}"/>')

    def fill(self, points: tuple[Point, ...], rgb: Rgb) -> None:
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        self._body.append(f'<polygon points="{path}" fill="{_colour(rgb)}"/>')

    def veil(self, points: tuple[Point, ...], opacity: float) -> None:
        path = " ".join(f"{_n(x)},{_n(y)}" for x, y in points)
        self._body.append(f'<polygon points="{path}" fill="#ffffff" fill-opacity="{_n(opacity)}"/>')

    def lines(self, lines: tuple[Line, ...], stroke: Stroke) -> None:
        path = "".join(f"M{_n(line.start[0])} {_n(line.start[1])}L{_n(line.end[0])} {_n(line.end[1])}"
                       for line in lines)
        if path:
            self._body.append(f'<path d="{path}" {_pen(stroke)}/>')

    def outline(self, rect: Rect, radius_mm: float, stroke: Stroke) -> None:
        radius = f' rx="{_n(radius_mm)}"' if radius_mm else ""
        self._body.append(f'<rect x="{_n(rect.x)}" y="{_n(rect.y)}" width="{_n(rect.width)}" '
                          f'height="{_n(rect.height)}"{radius} {_pen(stroke)}/>')

    def ring(self, centre: Point, radius_mm: float, stroke: Stroke) -> None:
        self._body.append(f'<circle cx="{_n(centre[0])}" cy="{_n(centre[1])}" r="{_n(radius_mm)}" {_pen(stroke)}/>')

    def text(self, at: Point, text: str, size_mm: float, rotation_deg: float = 0.0, anchor: Anchor = "start",
             rgb: Rgb = BLACK) -> None:
        turned = f' transform="rotate({_n(rotation_deg)} {_n(at[0])} {_n(at[1])})"' if rotation_deg else ""
        self._body.append(f'<text x="{_n(at[0])}" y="{_n(at[1])}" font-size="{_n(size_mm)}" font-family="{_FONT}" '
                          f'text-anchor="{anchor}" fill="{_colour(rgb)}"{turned}>{escape(text, quote=False)}</text>')

    def svg(self, says: str = "") -> str:
        """The page as one SVG element, its view box in mm. ``says`` is what it is called where it is read out."""
        size, says = self._size, says or f"Sheet {self._label}"
        defs = f"<defs>{''.join(self._defs)}</defs>" if self._defs else ""
        return (f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_n(size.width)} {_n(size.height)}" '
                f'data-label={_quoted(self._label)} role="img" aria-label={_quoted(says)}>{defs}'
                f'<rect width="{_n(size.width)}" height="{_n(size.height)}" fill="#ffffff"/>'
                f"{''.join(self._body)}</svg>")

    def _clip(self, rect: Rect) -> str:
        if rect not in self._clips:
            name = f"{self._prefix}{len(self._clips)}"
            self._clips[rect] = name
            self._defs.append(f'<clipPath id="{name}"><rect x="{_n(rect.x)}" y="{_n(rect.y)}" '
                              f'width="{_n(rect.width)}" height="{_n(rect.height)}"/></clipPath>')
        return self._clips[rect]


def _quoted(text: str) -> str:
    """``text`` as an attribute's value."""
    return f'"{escape(text)}"'
