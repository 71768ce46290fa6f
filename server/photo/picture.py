"""Pictures in and out: photographs, scans and the pages of a scanner's PDF as grey arrays, upright and bounded, and
the picture back with what was found drawn on it: rings, back marks, numbers, and what couldn't be read.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageOps

from server.core.camera_marks import DISC_MM, REACH_MM
from server.errors import BadValue, NotArt
from server.formats.apart import apart
from server.formats.header import HEAD_BYTES, kind_of
from server.formats.limits import DEFAULT_LIMITS, ArtLimits, check_pixels, refusing
from server.formats.pdf_pages import open_pdf
from server.photo.sight import Found

Grey = NDArray[np.uint8]

_HEIC_BRANDS = (b"heic", b"heix", b"hevc", b"heim", b"heis", b"mif1", b"msf1")
_SCAN_PX = 300 / 72  # a scanned page is looked at with 300 pixels an inch
_MOST_PAGES = 100
_END_OF_JPEG, _TAIL_BYTES = b"\xff\xd9", 4096


def greys(path: Path, label: str, limits: ArtLimits = DEFAULT_LIMITS) -> tuple[Grey, ...]:
    """The picture, or every page of a scanner's PDF, in grey, turned as its camera says.

    Raises BadValue for a HEIC file, NotArt for what is no picture, BadArt for one that is damaged or too large.
    """
    try:
        with path.open("rb") as file:
            head = file.read(HEAD_BYTES)
    except OSError as error:
        raise BadValue(f"{label} can't be read: {error.strerror or error}.", "Check the place and who may read it."
                       ) from None
    if head[4:8] == b"ftyp" and head[8:12] in _HEIC_BRANDS:
        raise NotArt(f"{label}: is a HEIC picture, which can't be read here.",
                     "Have the phone save JPEG (Settings, Camera, Formats, Most compatible), or share the picture as "
                     "JPEG.")
    kind = kind_of(head)
    if kind == "pdf":
        return apart(label, _pages, path, label, limits, times=10)
    if kind not in ("jpeg", "png", "webp"):
        raise NotArt(f"{label}: is no picture that can be read by its content.",
                     "Take or save it as JPEG, PNG or WebP.")
    with refusing(label), Image.open(path) as picture:
        check_pixels(label, *picture.size, limits)
        if kind == "jpeg" and picture.mode in ("L", "RGB"):
            grey = _brightness(path)
            if grey is not None:
                return (grey,)
        plain = picture.convert("L") if picture.mode not in ("LA", "RGBA", "PA") else _on_white(picture)
        return (np.asarray(ImageOps.exif_transpose(plain), np.uint8),)


def _brightness(path: Path) -> Grey | None:
    """A whole JPEG's brightness alone, turned as its camera says: no colour is decoded, and nothing is copied. None for
    one that is cut off or otherwise not as it should be, which Pillow has the words for."""
    content = path.read_bytes()
    if _END_OF_JPEG not in content[-_TAIL_BYTES:]:
        return None
    found = cv2.imdecode(np.frombuffer(content, np.uint8), cv2.IMREAD_GRAYSCALE)
    return None if found is None else np.asarray(found, np.uint8)


def _on_white(picture: Image.Image) -> Image.Image:
    clear = picture.convert("RGBA")
    ground = Image.new("RGBA", clear.size, "white")
    ground.alpha_composite(clear)
    return ground.convert("L")


def _pages(path: Path, label: str, limits: ArtLimits) -> tuple[Grey, ...]:
    return tuple(_each_page(path, label, limits))


def _each_page(path: Path, label: str, limits: ArtLimits) -> Iterator[Grey]:
    source = open_pdf(path, label, limits)
    try:
        document: Any = source.document
        if document.page_count > _MOST_PAGES:
            raise BadValue(f"{label}: has {document.page_count} pages.", f"Give scans of {_MOST_PAGES} pages or fewer.")
        for page in document:
            check_pixels(label, round(page.rect.width * _SCAN_PX), round(page.rect.height * _SCAN_PX), limits)
            with refusing(label):
                pixels = page.get_pixmap(matrix=_matrix(), colorspace="GRAY", alpha=False)
            yield np.frombuffer(pixels.samples, np.uint8).reshape(pixels.height, pixels.stride)[:, :pixels.width].copy()
    finally:
        source.close()


def _matrix() -> Any:
    from server.formats.pdf_source import load_pymupdf

    return load_pymupdf().Matrix(_SCAN_PX, _SCAN_PX)


_LONGEST_PX = 1600
# Blue-green for the front, orange for the back, red for what wasn't read; told by shape as well (B, G, R).
_FRONT, _BACK, _LOST = (120, 110, 20), (20, 110, 230), (40, 40, 200)
_TURN_POINTS = 48


def drawn(grey: NDArray[np.uint8], found: Found, ending: str = ".png") -> bytes:
    """A picture (".png" or ".jpg") of at most 1,600 pixels: circles round rings and back marks, dx and dy beside,
    crosses where a station in view wasn't read."""
    factor = min(1.0, _LONGEST_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) if factor < 1 else grey
    canvas = cv2.cvtColor(small, cv2.COLOR_GRAY2BGR)
    lens = found.lens
    if lens is not None:
        backs, size = dict(found.backs), max(0.45, canvas.shape[1] / 2600)

        def at(points: list[tuple[float, float]]) -> NDArray[np.int32]:
            pixels = lens.to_picture(np.array(points, np.float64)) * factor
            return np.asarray(np.round(pixels), np.int32)

        for sight in found.sight.stations:
            x, y = sight.at
            shape = at(_circle(x, y, found.size * (REACH_MM + 0.7)))
            if sight.read:
                cv2.polylines(canvas, [shape], True, _FRONT, 2, cv2.LINE_AA)
            else:
                arm = 5 * found.size
                corners = at([(x - arm, y - arm), (x + arm, y + arm), (x - arm, y + arm), (x + arm, y - arm)])
                for start, end in ((0, 1), (2, 3)):
                    cv2.line(canvas, _point(corners[start]), _point(corners[end]), _LOST, 2, cv2.LINE_AA)
            if sight.station in backs:
                u, v = backs[sight.station]
                cv2.polylines(canvas, [at(_circle(u, v, found.size * (DISC_MM + 0.25)))], True, _BACK, 2, cv2.LINE_AA)
            said = f"{sight.dx_mm:+.2f} {sight.dy_mm:+.2f}" if sight.read else "not read"
            low = shape[:, 1].max() + round(24 * size)
            _text(canvas, f"{sight.station}: {said}", (int(shape[:, 0].mean()) - round(75 * size), int(low)), size,
                  _FRONT if sight.read else _LOST)
    done, picture = cv2.imencode(ending, canvas)
    assert done
    return bytes(picture)


def _circle(x: float, y: float, radius: float) -> list[tuple[float, float]]:
    turns = np.linspace(0, 2 * np.pi, _TURN_POINTS, endpoint=False)
    return [(x + radius * float(np.cos(turn)), y + radius * float(np.sin(turn))) for turn in turns]


def _point(pixel: NDArray[np.int32]) -> tuple[int, int]:
    return int(pixel[0]), int(pixel[1])


def _text(canvas: NDArray[np.uint8], text: str, at: tuple[int, int], size: float, colour: tuple[int, int, int]) -> None:
    cv2.putText(canvas, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, (255, 255, 255), 6, cv2.LINE_AA)
    cv2.putText(canvas, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, 2, cv2.LINE_AA)
