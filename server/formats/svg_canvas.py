"""PDF content under way: what an SVG draws, as operators and resources (ISO 32000-1, 8 and 11).

A ``Canvas`` is one content stream: the page, a group, a mask or a pattern's cell. Objects are made in a document of the
PDF library's own, in memory, so that what comes out is read like any other PDF.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Any

from server.core.geometry import Affine, Edges, Rect, bounds
from server.formats.limits import ArtLimits
from server.formats.pdf_source import load_pymupdf
from server.formats.svg_tree import CantDraw
from server.formats.svg_values import Path, Rgb

# Luminance by which an SVG's mask is read (CSS Masking 1, 7.10.1: linear coefficients on sRGB's own values).
_LUMINANCE = (0.2125, 0.7154, 0.0721)
_GROUP = "/Group <</S /Transparency /CS /DeviceRGB /I true>>"


def text_of(*values: float) -> str:
    """Numbers as PDF writes them, to a millionth."""
    return " ".join(map(_number, values))


def _number(value: float) -> str:
    text = f"{value:.6f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def matrix_text(matrix: Affine) -> str:
    return text_of(matrix.a, matrix.b, matrix.c, matrix.d, matrix.e, matrix.f)


class Objects:
    """Objects of the document under way; equal ones are made once. Raises CantDraw over the limit of drawing."""

    def __init__(self, limits: ArtLimits) -> None:
        self.document: Any = load_pymupdf().open()
        self.limits = limits
        self.pictures: dict[tuple[str, bool], tuple[int, tuple[int, int]]] = {}
        self._pixels = limits.pixels
        self._left = limits.stream_bytes
        self._known: dict[object, int] = {}

    def put(self, text: str) -> int:
        if text not in self._known:
            self.spend(len(text))
            self._known[text] = number = self.document.get_new_xref()
            self.document.update_object(number, text)
        return self._known[text]

    def put_stream(self, entries: str, data: bytes, packed_by: str = "") -> int:
        """A stream; ``packed_by`` names the filter that ``data`` has been through, else it is packed here."""
        if (entries, data) not in self._known:
            number = self.document.get_new_xref()
            self.document.update_object(number, f"<<{entries}>>")
            self.document.update_stream(number, data, compress=not packed_by)
            if packed_by:
                self.document.xref_set_key(number, "Filter", packed_by)
            if len(data) > 1_000_000:
                return int(number)
            self._known[entries, data] = number
        return self._known[entries, data]

    def spend_pixels(self, pixels: int) -> None:
        """Count the pixels of one more picture: all together are held to the limit for one."""
        self._pixels -= pixels
        if self._pixels < 0:
            raise CantDraw(f"pictures of more than {self.limits.pixels / 1e6:g} megapixels", "too-many-pixels",
                           "Scale them down and export it again.")

    def spend(self, size: int) -> None:
        """Count so many characters of drawing."""
        self._left -= size
        if self._left < 0:
            raise CantDraw(f"more than {self.limits.stream_bytes / 1e6:.0f} MB of drawing", "too-much-inside",
                           "Simplify it, or save it as PNG.")


class Canvas:
    """One content stream. ``area`` is what of it can be seen, in its own space; ``matrix`` is what carries the user
    space of the moment into that, and ``base`` that into the page's points. ``grey`` turns colours into the light that
    a mask reads in them."""

    def __init__(self, objects: Objects, area: Rect, grey: bool = False, base: Affine = Affine()) -> None:
        self.objects = objects
        self.grey = grey
        self.base = base
        self.matrix = Affine()
        self._area = area
        self._ops: list[str] = []
        self._saved: list[Affine] = []
        self._names: dict[str, dict[int, str]] = {}

    @property
    def visible(self) -> Rect:
        """What can be seen at most, in the user space of the moment."""
        back = self.matrix.inverse()
        return bounds(map(back, self._area.corners))

    def child(self, grey: bool | None = None) -> Canvas:
        """A canvas of its own space, which is this one's user space of the moment."""
        return Canvas(self.objects, self.visible, self.grey if grey is None else grey, self.base.after(self.matrix))

    @property
    def unit_pt(self) -> float:
        """How long a unit of the moment's user space is on the page, in points."""
        return math.sqrt(abs(self.base.after(self.matrix).determinant))

    @property
    def is_opaque(self) -> bool:
        """Whether nothing was drawn so far that may let through what lies under it."""
        return not self._names.keys() & {"ExtGState", "XObject", "Pattern"}

    def write(self, text: str) -> None:
        self.objects.spend(len(text))
        self._ops.append(text)

    def save(self) -> None:
        self._saved.append(self.matrix)
        self.write("q")

    def restore(self) -> None:
        self.matrix = self._saved.pop()
        self.write("Q")

    def transform(self, by: Affine) -> None:
        if not by.is_identity:
            self.matrix = self.matrix.after(by)
            self.write(f"{matrix_text(by)} cm")

    def name(self, kind: str, number: int) -> str:
        names = self._names.setdefault(kind, {})
        return names.setdefault(number, f"/{kind[0]}{len(names)}")

    def state(self, text: str) -> None:
        """Set an extended graphics state, such as ``/ca 0.5``."""
        self.write(f"{self.name('ExtGState', self.objects.put(f'<<{text}>>'))} gs")

    def alpha(self, level: float) -> None:
        if level < 1:
            self.state(f"/ca {text_of(level)} /CA {text_of(level)}")

    def seen(self, colour: Rgb) -> Rgb:
        """A colour as this canvas shows it."""
        if not self.grey:
            return colour
        light = sum(part * weight for part, weight in zip(colour, _LUMINANCE, strict=True))
        return light, light, light

    def trace(self, path: Path) -> None:
        """The path, to be painted or clipped by what is written next."""
        marks = {"M": "m", "L": "l", "C": "c", "Z": "h"}
        self.write("\n".join(
            f"{text_of(*(value for point in step[1:] for value in point))} {marks[step[0]]}".lstrip() for step in path))

    def clip(self, path: Path, even_odd: bool = False) -> None:
        if path:
            self.trace(path)
            self.write("W* n" if even_odd else "W n")
        else:
            self.write("0 0 0 0 re W n")

    def shade(self, path: Path, onto: Affine, shadings: Iterable[int], cell: int = 0, even_odd: bool = False) -> None:
        """Fill a path with shadings, and with a form, which are in the space ``onto``."""
        self.save()
        self.clip(path, even_odd)
        self.transform(onto)
        if cell:
            self.paint_form(cell)
        for number in shadings:
            self.write(f"{self.name('Shading', number)} sh")
        self.restore()

    def paint_form(self, number: int) -> None:
        self.write(f"{self.name('XObject', number)} Do")

    def content(self) -> bytes:
        return "\n".join(self._ops).encode("ascii")

    def resources(self) -> str:
        kinds = (f"/{kind} <<{' '.join(f'{name} {number} 0 R' for number, name in names.items())}>>"
                 for kind, names in self._names.items())
        return f"/Resources <<{' '.join(kinds)}>>"

    def as_group(self) -> int:
        """A transparency group of all that was drawn: its object's number."""
        return self.objects.put_stream(
            f"/Type /XObject /Subtype /Form {_box(self._area)} {_GROUP} {self.resources()}", self.content())

    def as_mask(self, kind: str = "Luminosity") -> str:
        """The entry of a graphics state that masks by what was drawn."""
        return f"/SMask <</Type /Mask /S /{kind} /G {self.as_group()} 0 R>>"

    def as_cell(self, step: tuple[float, float], matrix: Affine) -> int:
        """A tiling pattern of what was drawn, a cell every ``step``: its object's number."""
        # Readers differ about whether a cell begins with the alpha of the group that it is used in.
        area = self._area
        if area == Rect(0, 0, *step):  # pdfium lays cells that fill their step by whole pixels, further off by each
            area = area.grown(Edges.all(1e-3 * min(step)))
        own = f"{self.name('ExtGState', self.objects.put('<</ca 1 /CA 1 /SMask /None /BM /Normal>>'))} gs\n".encode()
        return self.objects.put_stream(
            f"/Type /Pattern /PatternType 1 /PaintType 1 /TilingType 1 {_box(area)} /XStep {text_of(step[0])} "
            f"/YStep {text_of(step[1])} /Matrix [{matrix_text(matrix)}] {self.resources()}", own + self.content())


def _box(box: Rect) -> str:
    return f"/BBox [{text_of(box.x, box.y, box.right, box.bottom)}]"


def array(values: Iterable[float]) -> str:
    return f"[{text_of(*values)}]"
