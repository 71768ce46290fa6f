"""The printed side of the drawing protocol: faces as the pages of a PDF that is written while they are drawn.

Content is in mm with y down, as the protocol has it; one matrix at the head of each page carries it to PDF's points,
y up. Layers are optional-content groups (ISO 32000-1, 8.11), boxes and viewer preferences as in 14.11.2 and 12.2.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO, Literal

from server.core.art import Art
from server.core.geometry import Affine, Point, Rect
from server.core.lettering import helvetica_em, plain_line
from server.core.plan import Line
from server.core.units import POINTS_PER_MM
from server.drawing.pdf_file import PdfFile, literal, number, text_string
from server.drawing.pdf_images import Begun, ImageWriter, Placeable
from server.drawing.pdf_import import PageImporter
from server.drawing.pdf_text import SetLine, TextForms, runs
from server.drawing.surface import BLACK, Anchor, Layer, Rgb, Stroke
from server.formats.limits import DEFAULT_LIMITS, ArtLimits

Duplex = Literal["Simplex", "DuplexFlipShortEdge", "DuplexFlipLongEdge"]

PRODUCER = "Lampfold"
PALE_LAYER = "Pale ink"
LAYERS: tuple[Layer, ...] = ("art", "pale ink", "cut lines", "creases", "notes")
# A circle's quarter as a Bézier curve: the handles' length in radii, 4/3 (sqrt 2 - 1).
KAPPA = 0.5522847498307936
_ANCHORED: dict[Anchor, float] = {"start": 0.0, "middle": -0.5, "end": -1.0}


class PdfSurface:
    """Implements ``Surface``. ``source`` finds an art's file; ``close`` finishes the PDF and leaves ``out`` open;
    ``release`` lets go of it and of PDFs that art came from, whether the work was finished or not. ``begun`` says what
    stands on ``out`` already.

    ``duplex`` is what the print dialogue is asked for. Art is read and written when it is first placed, so that
    only the art in hand is in memory. Raises Unreadable or TooMuch, naming the art's file.
    """

    def __init__(self, out: BinaryIO, source: Callable[[Art], Path], *, title: str, duplex: Duplex,
                 limits: ArtLimits = DEFAULT_LIMITS, producer: str = PRODUCER, begun: Begun | None = None) -> None:
        self._producer = producer
        self._file = PdfFile(out, begun.file if begun else None)
        self._source = source
        self._title = title
        self._duplex = duplex
        self._images = ImageWriter(self._file, limits, begun.masked if begun else ())
        self._importer = PageImporter(self._file, *((begun.groups, begun.hidden) if begun else ()))
        self._texts = TextForms(self._file, self._importer)
        self._tree = begun.tree if begun else self._file.reserve()
        self._placed = dict(begun.placed) if begun else {}
        self._layers: dict[Layer, int] = {}
        self._font = 0
        self._pages: list[int] = []
        self._labels: list[str] = []
        self._content: list[str | bytes] = []
        self._used: set[int] = set()
        self._translucent = False
        self._veils: set[int] = set()  # opacities in percent
        self._boxes = ""
        self._muted = 0

    def page(self, size: Rect, trim: Rect, bleed: Rect, label: str) -> None:
        self._finish_page()
        self._labels.append(label)
        self._boxes = " ".join(f"/{name}Box [{_box(rect, size)}]" for name, rect in
                               (("Media", size), ("Bleed", bleed.shared(size)), ("Trim", trim.shared(size))))
        k = number(POINTS_PER_MM, 9)
        self._content = [f"{k} 0 0 -{k} 0 {number(size.height * POINTS_PER_MM, 5)} cm"]

    def _finish_page(self) -> None:
        if not self._boxes:
            return
        content = self._file.put_deflated(b"", b"\n".join(
            part if isinstance(part, bytes) else part.encode("ascii") for part in self._content))
        objects = " ".join(f"/X{mine} {mine} 0 R" for mine in sorted(self._used))
        layers = " ".join(f"/L{mine} {mine} 0 R" for mine in sorted(self._layers.values()))
        resources = f"/XObject <<{objects}>> /Properties <<{layers}>>"
        if self._font:
            resources += f" /Font <</F{self._font} {self._font} 0 R>>"
        if self._veils:
            states = " ".join(f"/V{percent} <</ca {number(percent / 100)}>>" for percent in sorted(self._veils))
            resources += f" /ExtGState <<{states}>>"
        # Without a blending space of the page's own, readers blend soft masks in the printer's colours.
        blends = self._translucent or self._images.blends(self._used)
        group = "/Group <</S /Transparency /CS /DeviceRGB>> " if blends else ""
        self._pages.append(self._file.put((
            f"<</Type /Page /Parent {self._tree} 0 R {self._boxes} {group}/Resources <<{resources}>> "
            f"/Contents {content} 0 R>>").encode("ascii")))
        self._used = set()
        self._translucent = False
        self._veils = set()
        self._boxes = ""

    @contextmanager
    def within(self, *, layer: Layer | None = None, matrix: Affine | None = None,
               clip: Rect | None = None) -> Iterator[None]:
        hidden = layer is not None and layer not in LAYERS
        self._muted += hidden
        if layer is not None and not hidden:
            self._say(f"/OC /L{self._group(layer)} BDC")
        saved = matrix is not None or clip is not None
        if saved:
            self._say("q")
        if matrix is not None:
            self._say(f"{_matrix(matrix)} cm")
        if clip is not None:
            self._say(f"{_mm(clip.x, clip.y, clip.width, clip.height)} re W n")
        try:
            yield
        finally:
            if saved:
                self._say("Q")
            if layer is not None and not hidden:
                self._say("EMC")
            self._muted -= hidden

    def _group(self, layer: Layer) -> int:
        if layer not in self._layers:
            self._layers[layer] = self._file.put(b"<</Type /OCG /Name %b>>" % text_string(layer.capitalize()))
        return self._layers[layer]

    def _say(self, operators: str | bytes) -> None:
        if not self._muted:
            self._content.append(operators)

    def _place(self, form: int, matrix: Affine) -> None:
        self._used.add(form)
        self._say(f"q {_matrix(matrix)} cm /X{form} Do Q")

    def art(self, art: Art, matrix: Affine) -> None:
        if self._muted:
            return
        placed = self._written(art)
        self._place(placed.number, matrix.after(placed.matrix))

    def _written(self, art: Art) -> Placeable:
        if art.key not in self._placed:
            add = self._importer.add if art.is_vector else self._images.add
            self._placed[art.key] = add(art, self._source(art))
        return self._placed[art.key]

    def begin(self, arts: Iterable[Art]) -> Begun:
        """Write ``arts`` before all pages; all of it is on ``out`` then."""
        for art in arts:
            self._written(art)
        self._images.finish()
        return Begun(self._file.so_far(), self._tree, self._placed, self._images.masked, self._importer.groups,
                     self._importer.hidden)

    def fill(self, points: tuple[Point, ...], rgb: Rgb) -> None:
        self._say(f"{_colour(rgb, 'g', 'rg')} {_path(points)} h f")

    def veil(self, points: tuple[Point, ...], opacity: float) -> None:
        """White of a constant alpha (ISO 32000-1, 11.6.4.4): what lies under it is not touched."""
        percent = round(100 * opacity)
        self._veils.add(percent)
        self._translucent = True
        self._say(f"q /V{percent} gs 1 g {_path(points)} h f Q")

    def lines(self, lines: tuple[Line, ...], stroke: Stroke) -> None:
        if lines:
            self._say(_stroked(lines, stroke))

    def outline(self, rect: Rect, radius_mm: float, stroke: Stroke) -> None:
        if radius_mm <= 0:
            self._say(f"{_pen(stroke)} {_mm(rect.x, rect.y, rect.width, rect.height)} re S")
            return
        r = min(radius_mm, rect.width / 2, rect.height / 2)
        self._say(f"{_pen(stroke)} {_rounded(rect, r)} h S")

    def ring(self, centre: Point, radius_mm: float, stroke: Stroke) -> None:
        if stroke.width_mm > 2 * radius_mm:
            self._say(_disc(centre, radius_mm + stroke.width_mm / 2, stroke.rgb))
            return
        x, y = centre
        self.outline(Rect(x - radius_mm, y - radius_mm, 2 * radius_mm, 2 * radius_mm), radius_mm, stroke)

    def text(self, at: Point, text: str, size_mm: float, rotation_deg: float = 0.0, anchor: Anchor = "start",
             rgb: Rgb = BLACK) -> None:
        line = plain_line(text)
        if not line or self._muted:
            return
        pieces = [self._piece(run, plain, rgb) for run, plain in runs(line)]
        width_em = sum(piece.width_em if isinstance(piece, SetLine) else helvetica_em(piece) for piece in pieces)
        turn, start = Affine.turn(rotation_deg), _ANCHORED[anchor] * width_em * size_mm
        pen = Affine(turn.a * size_mm, turn.b * size_mm, turn.c * size_mm, turn.d * size_mm,
                     at[0] + turn.a * start, at[1] + turn.b * start)
        for piece in pieces:
            if isinstance(piece, SetLine):
                self._place(piece.form, pen.after(piece.matrix))
                pen = pen.after(Affine.shift(piece.width_em, 0.0))
            else:
                self._font = self._font or self._texts.font
                self._say(_shown(self._font, piece, pen, rgb))
                pen = pen.after(Affine.shift(helvetica_em(piece), 0.0))

    def _piece(self, run: str, plain: bool, rgb: Rgb) -> SetLine | bytes:
        """A run as a form, or in WinAnsi; letters that no font has become question marks."""
        return (None if plain else self._texts.line(run, rgb)) or run.encode("cp1252", "replace")

    def close(self) -> None:
        """Write the last page, the page tree and the catalogue."""
        self._finish_page()
        self._images.finish()
        kids = " ".join(f"{page} 0 R" for page in self._pages)
        self._file.put(f"<</Type /Pages /Count {len(self._pages)} /Kids [{kids}]>>".encode("ascii"), self._tree)
        labels = b" ".join(b"%d <</P %b>>" % (at, text_string(label)) for at, label in enumerate(self._labels))
        root = self._file.put(
            b"<</Type /Catalog /Pages %d 0 R /PageLabels <</Nums [%b]>> /ViewerPreferences <</DisplayDocTitle true "
            b"/PrintScaling /None /Duplex /%b>>%b>>" % (self._tree, labels, self._duplex.encode("ascii"),
                                                         self._layer_list()))
        info = self._file.put(b"<</Title %b /Producer %b>>" % (text_string(self._title), text_string(self._producer)))
        self._file.close(root, info)

    def release(self) -> None:
        """Let go of ``out`` and of the PDFs that art came from."""
        self._images.release()
        self._file.release()
        self._importer.close()

    def _layer_list(self) -> bytes:
        """The catalogue's entry for layers (8.11.4): ours in order, those that came along with art unlisted."""
        ours = [self._layers[layer] for layer in LAYERS if layer in self._layers]
        if not ours and not self._importer.groups:
            return b""
        return (f" /OCProperties <</OCGs [{_refs(ours + self._importer.groups)}] /D <</Name (Sheets) "
                f"/Order [{_refs(ours)}] /OFF [{_refs(self._importer.hidden)}]>>>>").encode("ascii")


def _refs(numbers: list[int]) -> str:
    return " ".join(f"{mine} 0 R" for mine in numbers)


@lru_cache(maxsize=512)
def _mm(*values: float) -> str:
    """Lengths in mm; 0.0001 mm is 0.0003 pt."""
    return " ".join(number(value, 4) for value in values)


@lru_cache(maxsize=512)
def _matrix(matrix: Affine) -> str:
    """Ratios reach over a whole page of art in points, so they need more places than lengths."""
    ratios = " ".join(number(value, 8) for value in (matrix.a, matrix.b, matrix.c, matrix.d))
    return f"{ratios} {_mm(matrix.e, matrix.f)}"


def _box(rect: Rect, page: Rect) -> str:
    k = POINTS_PER_MM
    return " ".join(number(value, 4) for value in
                    (rect.x * k, (page.height - rect.bottom) * k, rect.right * k, (page.height - rect.y) * k))


def _colour(rgb: Rgb, grey: str, colour: str) -> str:
    """Greys are said as such, so that they print with black ink alone."""
    if rgb[0] == rgb[1] == rgb[2]:
        return f"{number(rgb[0] / 255)} {grey}"
    return f"{' '.join(number(value / 255) for value in rgb)} {colour}"


def _pen(stroke: Stroke) -> str:
    return f"{_mm(stroke.width_mm)} w [{_mm(*stroke.dash_mm)}] 0 d {_colour(stroke.rgb, 'G', 'RG')}"


@lru_cache(maxsize=256)  # marks stand on every sheet
def _disc(centre: Point, radius_mm: float, rgb: Rgb) -> str:
    """A point under a round pen. It is a micrometre long, because not all readers draw one that has no length."""
    x, y = centre
    return f"{_pen(Stroke(2 * radius_mm, rgb))} 1 J {_mm(x, y)} m {_mm(x + 0.001, y)} l S 0 J"


@lru_cache(maxsize=256)
def _stroked(lines: tuple[Line, ...], stroke: Stroke) -> str:
    """Kept, because rulers and cut lines lie at the same place on sheet after sheet."""
    return f"{_pen(stroke)} {' '.join(_path((line.start, line.end)) for line in lines)} S"


def _path(points: tuple[Point, ...]) -> str:
    return " ".join(f"{_mm(*point)} {'l' if at else 'm'}" for at, point in enumerate(points))


def _rounded(rect: Rect, r: float) -> str:
    """Four sides and four quarter circles, clockwise from the top-left corner's end."""
    left, top, right, bottom, h = rect.x, rect.y, rect.right, rect.bottom, r * (1 - KAPPA)
    return (f"{_mm(left + r, top)} m {_mm(right - r, top)} l {_mm(right - h, top, right, top + h, right, top + r)} c "
            f"{_mm(right, bottom - r)} l {_mm(right, bottom - h, right - h, bottom, right - r, bottom)} c "
            f"{_mm(left + r, bottom)} l {_mm(left + h, bottom, left, bottom - h, left, bottom - r)} c "
            f"{_mm(left, top + r)} l {_mm(left, top + h, left + h, top, left + r, top)} c")


@lru_cache(maxsize=64)  # most labels stand on every sheet
def _shown(font: int, code: bytes, pen: Affine, rgb: Rgb) -> bytes:
    setting = f"{_colour(rgb, 'g', 'rg')} BT /F{font} 1 Tf {_matrix(pen.after(Affine(d=-1.0)))} Tm "
    return setting.encode("ascii") + literal(code) + b" Tj ET"
