"""Art made on the spot, and every byte-level fault that the readers must survive."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import pymupdf
from PIL import Image, ImageDraw

MM_PER_POINT = 25.4 / 72  # ISO 32000-1, 8.3.2.3
PICTURES = ("PNG", "JPEG", "WEBP", "TIFF", "AVIF")
ENDINGS = {"PNG": "png", "JPEG": "jpg", "WEBP": "webp", "TIFF": "tif", "AVIF": "avif", "PDF": "pdf"}


def picture(width: int = 63, height: int = 88, mode: str = "RGB") -> Image.Image:
    """A card-shaped picture with another colour in each corner, so that every turn of it shows."""
    image = Image.new("RGB", (width, height), (200, 180, 60))
    draw = ImageDraw.Draw(image)
    x, y = width // 3, height // 3
    for box, colour in (((0, 0, x, y), "red"), ((width - x, 0, width, y), "green"),
                        ((width - x, height - y, width, height), "blue"), ((0, height - y, x, height), "black")):
        draw.rectangle(box, fill=colour)
    return image.convert(mode)


def encoded(kind: str, image: Image.Image | None = None, **given: object) -> bytes:
    """``image`` in the format of that name by Pillow."""
    out = io.BytesIO()
    (image or picture()).save(out, kind, **given)
    return out.getvalue()


def oriented(kind: str, orientation: int, image: Image.Image | None = None) -> bytes:
    """A picture that says by EXIF (CIPA DC-008) how it wants to be turned."""
    exif = Image.Exif()
    exif[0x0112] = orientation
    return encoded(kind, image, exif=exif)


def pdf(pages: int = 1, width_mm: float = 63, height_mm: float = 88, **save: object) -> bytes:
    """A PDF with one coloured page for each card."""
    with pymupdf.open() as document:
        for number in range(pages):
            page = document.new_page(width=width_mm / MM_PER_POINT, height=height_mm / MM_PER_POINT)
            page.draw_rect(page.rect, fill=(0.1, 0.5, (number % 10) / 10), color=None)
            page.insert_text((20, 40), f"card {number + 1}")
        return document.tobytes(**save)


def write(folder: Path, path: str, data: bytes) -> Path:
    """Write one file with the folders that it needs."""
    place = folder / path
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(data)
    return place


def chunk(name: bytes, data: bytes) -> bytes:
    """One PNG chunk (W3C PNG, third edition, 5.3)."""
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png_header(width: int, height: int, depth: int = 8, colour: int = 2) -> bytes:
    """A PNG's signature and header chunk."""
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, depth, colour, 0, 0, 0))


def huge(kind: str) -> bytes:
    """A small file whose header claims 65,000 x 65,000 pixels, or the most that its format can say."""
    if kind == "PNG":
        return png_header(65000, 65000) + chunk(b"IDAT", zlib.compress(b"\0" * 100)) + chunk(b"IEND", b"")
    data = bytearray(encoded(kind, picture(640, 480)))
    if kind == "JPEG":  # SOF0: length, precision, height, width (ITU-T T.81, B.2.2)
        at = data.index(b"\xff\xc0") + 5
        data[at:at + 4] = struct.pack(">HH", 65000, 65000)
    elif kind == "WEBP":  # an extended header of 16,384 x 16,384 (RFC 9649, 2.7) before the picture
        size = (16383).to_bytes(3, "little")
        body = b"WEBPVP8X" + struct.pack("<I", 10) + b"\0\0\0\0" + size + size + bytes(data[12:])
        return b"RIFF" + struct.pack("<I", len(body)) + body
    elif kind == "TIFF":  # the values of tags 256 and 257 (TIFF 6.0, section 2)
        start, = struct.unpack_from("<I", data, 4)
        for entry in range(struct.unpack_from("<H", data, start)[0]):
            at = start + 2 + 12 * entry
            tag, = struct.unpack_from("<H", data, at)
            if tag in (256, 257):
                struct.pack_into("<HHII", data, at, tag, 4, 1, 65000)
    elif kind == "AVIF":  # the spatial extents property (ISO/IEC 23008-12, 6.5.3)
        at = data.index(b"ispe") + 8
        data[at:at + 8] = struct.pack(">II", 65000, 65000)
    return bytes(data)
