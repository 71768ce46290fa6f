"""A card's page in millimetres, kept as PDF operators: rendered to pixels for PNG and JPEG, or saved as a vector page.

The origin is the trim's top-left corner, x right and y down, so bleed lies at negative coordinates. Operators are those
of ISO 32000-1, 8.5 (paths) and 9.4 (text). Text is set in the metric twins of Helvetica and Times that MuPDF carries.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pymupdf
from PIL import Image

from studio.shapes import number

PT_PER_MM = 72 / 25.4
PPI = 300
FONTS = {"sans": "helv", "sans-bold": "hebo", "sans-italic": "heit",
         "serif": "tiro", "serif-bold": "tibo", "serif-italic": "tiit"}
_FACES = {name: pymupdf.Font(code) for name, code in FONTS.items()}
Colour = str


def rgb(colour: Colour) -> tuple[int, int, int]:
    """``"#14213a"`` to (20, 33, 58)."""
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)


def mix(first: Colour, second: Colour, share: float) -> Colour:
    """``share`` of the way from one colour to the other."""
    parts = (round(a + (b - a) * share) for a, b in zip(rgb(first), rgb(second), strict=True))
    return "#" + "".join(f"{part:02x}" for part in parts)


def text_width(text: str, font: str, size: float, tracking: float = 0.0) -> float:
    """Width in mm of one line, ``size`` being the em in mm."""
    return float(_FACES[font].text_length(text, size)) + tracking * (len(text) - 1)


class Canvas:
    """One card face. Everything drawn later lies on top."""

    def __init__(self, width: float, height: float, bleed: float) -> None:
        self.width, self.height, self.bleed = width, height, bleed
        k = PT_PER_MM
        self._ops = [f"{number(k)} 0 0 {number(-k)} {number(bleed * k)} {number((height + bleed) * k)} cm"]
        self._alphas: set[int] = set()

    def fill(self, colour: Colour, *paths: str, alpha: float = 1.0) -> None:
        self._paint(f"{_colour(colour)} rg", paths, "f", alpha)

    def fill_holes(self, colour: Colour, *paths: str) -> None:
        """Filled by the even-odd rule: a path inside another is a hole."""
        self._paint(f"{_colour(colour)} rg", ("\n".join(paths),), "f*", 1.0)

    def stroke(self, colour: Colour, width: float, *paths: str, alpha: float = 1.0,
               dash: tuple[float, ...] = ()) -> None:
        pen = f"{_colour(colour)} RG {number(width)} w 1 J 1 j"
        if dash:
            pen += f" [{' '.join(map(number, dash))}] 0 d"
        self._paint(pen, paths, "S", alpha)

    def _paint(self, pen: str, paths: tuple[str, ...], operator: str, alpha: float) -> None:
        level = round(alpha * 100)
        self._ops.append("q")
        if level < 100:
            self._alphas.add(level)
            self._ops.append(f"/A{level} gs")
        self._ops += [pen, *(f"{path}\n{operator}" for path in paths), "Q"]

    @contextmanager
    def inside(self, path: str) -> Iterator[None]:
        """Whatever is drawn meanwhile is cut off at ``path``."""
        self._ops += ["q", path, "W n"]
        yield
        self._ops.append("Q")

    @contextmanager
    def placed(self, x: float, y: float, scale: float = 1.0, mirror: bool = False) -> Iterator[None]:
        """Whatever is drawn meanwhile is scaled about its own origin, which lies at (x, y)."""
        across = -scale if mirror else scale
        self._ops += ["q", f"{number(across)} 0 0 {number(scale)} {number(x)} {number(y)} cm"]
        yield
        self._ops.append("Q")

    def text(self, x: float, y: float, text: str, font: str, size: float, colour: Colour, align: str = "left",
             tracking: float = 0.0) -> None:
        """One line with its baseline at ``y``; ``align`` says what lies at ``x``: left, centre or right."""
        x -= {"left": 0.0, "centre": 0.5, "right": 1.0}[align] * text_width(text, font, size, tracking)
        coded = "".join(f"{_FACES[font].has_glyph(ord(letter)):04x}" for letter in text)
        self._ops.append(f"BT {_colour(colour)} rg /own-{FONTS[font]} {number(size)} Tf {number(tracking)} Tc "
                         f"1 0 0 -1 {number(x)} {number(y)} Tm <{coded}> Tj ET")

    def paragraph(self, x: float, y: float, width: float, text: str, font: str, size: float, colour: Colour,
                  align: str = "centre", leading: float = 1.28) -> float:
        """Lines of even length, none over ``width``, the first baseline at ``y``; returns where the next would be."""
        for line in _balanced(text, font, size, width):
            self.text(x, y, line, font, size, colour, align)
            y += size * leading
        return y

    def document(self) -> pymupdf.Document:
        """The page as a one-page PDF with its fonts embedded, cut down to the letters used."""
        document = pymupdf.open()
        k, bleed = PT_PER_MM, self.bleed
        page = document.new_page(width=(self.width + 2 * bleed) * k, height=(self.height + 2 * bleed) * k)
        for name, code in FONTS.items():
            if any(f"/own-{code} " in op for op in self._ops):
                page.insert_font(fontname=f"own-{code}", fontbuffer=_FACES[name].buffer)
        states = " ".join(f"/A{level} <</ca {level / 100:.2f} /CA {level / 100:.2f}>>"
                          for level in sorted(self._alphas))
        kind, where = document.xref_get_key(page.xref, "Resources")
        owner, path = (int(where.split()[0]), "ExtGState") if kind == "xref" else (page.xref, "Resources/ExtGState")
        document.xref_set_key(owner, path, f"<<{states}>>")
        contents = document.get_new_xref()
        document.update_object(contents, "<<>>")
        document.update_stream(contents, "\n".join(self._ops).encode("ascii"))
        document.xref_set_key(page.xref, "Contents", f"{contents} 0 R")
        if bleed:
            page.set_trimbox(pymupdf.Rect(bleed * k, bleed * k, (self.width + bleed) * k, (self.height + bleed) * k))
        return document

    def picture(self, ppi: float = PPI) -> Image.Image:
        """The page with its bleed, in RGB."""
        width = round((self.width + 2 * self.bleed) / 25.4 * ppi)
        height = round((self.height + 2 * self.bleed) / 25.4 * ppi)
        with self.document() as document:
            page = document[0]
            zoom = pymupdf.Matrix(width / page.rect.width, height / page.rect.height)
            drawn = page.get_pixmap(matrix=zoom, alpha=False)
            picture = Image.frombytes("RGB", (drawn.width, drawn.height), drawn.samples)
        return picture.crop((0, 0, width, height))

    def save_pdf(self, path: Path) -> None:
        """The page as it is, vector, with the same bytes each time."""
        with self.document() as document:
            document.subset_fonts()
            document.set_metadata({})
            document.save(path, garbage=4, deflate=True, no_new_id=True)


def _colour(colour: Colour) -> str:
    return " ".join(number(part / 255) for part in rgb(colour))


def _broken(text: str, font: str, size: float, width: float) -> list[str]:
    lines: list[str] = []
    for paragraph in text.split("\n"):
        line = ""
        for word in paragraph.split():
            longer = f"{line} {word}".strip()
            if line and text_width(longer, font, size) > width:
                lines.append(line)
                line = word
            else:
                line = longer
        lines.append(line)
    return lines


def _balanced(text: str, font: str, size: float, width: float) -> list[str]:
    """Broken so that the lines are as few as they can be and, so few, as short as they can be."""
    best = _broken(text, font, size, width)
    narrower = width
    while narrower > width * 0.4:
        narrower -= 0.5
        lines = _broken(text, font, size, narrower)
        if len(lines) > len(best) or max(text_width(line, font, size) for line in lines) > width:
            break
        best = lines
    return best
