"""What a file is, by its first bytes; its name has no say."""

from __future__ import annotations

import re

from server.core.art import KIND_ENDINGS, ArtKind

# How much of a file ``kind_of`` wants to see.
HEAD_BYTES = 1024

KIND_OF_ENDING: dict[str, ArtKind] = {ending: kind for kind, endings in KIND_ENDINGS.items() for ending in endings}
# Endings of pictures that can't be used as they are; each deserves a word rather than silence.
OTHER_PICTURES = frozenset({
    "bmp", "gif", "heic", "heif", "svgz", "psd", "psb", "xcf", "kra", "eps", "ps", "jp2", "jxl", "tga", "ico",
    "indd", "afdesign", "afphoto", "afpub", "cdr", "odg", "raw", "dng", "cr2", "nef", "exr", "hdr", "dds",
})
FORMATS_TEXT = "PNG, JPEG, WebP, TIFF, AVIF, PDF or SVG"

# What may come before an XML document's first element (XML 1.0, 2.8), and that element, whatever its prefix.
_SVG_START = re.compile(r"\s*(?:<\?.*?\?>\s*|<!--.*?-->\s*)*(?:<!DOCTYPE\s+(?:\w+:)?svg\b|"
                        r"(?:<!DOCTYPE[^>\[]*>\s*(?:<!--.*?-->\s*)*)?<(?:[A-Za-z_][\w.-]*:)?svg[\s>/])", re.S)
_TIFF_STARTS = (b"II*\x00", b"MM\x00*", b"II+\x00", b"MM\x00+")  # classic and BigTIFF, both byte orders


def kind_of(head: bytes) -> ArtKind | None:
    """The kind of art that begins with ``head`` (HEAD_BYTES of it, or the whole of a short file); None for others.

    PNG: W3C, 3rd edition, 5.2. JPEG: ITU-T T.81, B.1.1.3 (SOI and a marker). WebP: RFC 9649, 2.4. TIFF: revision 6.0,
    section 2. AVIF: ISO/IEC 14496-12, 4.3, with AV1 image brands. PDF: its header may come within the first 1,024
    bytes (PDF Reference 1.7, Appendix H, note 13). SVG: an XML document whose first element or document type is svg.
    """
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "png"
    if head.startswith(b"\xff\xd8\xff"):
        return "jpeg"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "webp"
    if head.startswith(_TIFF_STARTS):
        return "tiff"
    if head[4:8] == b"ftyp" and _has_avif_brand(head):
        return "avif"
    if b"%PDF-" in head[:HEAD_BYTES]:
        return "pdf"
    return "svg" if begins_svg(head[:HEAD_BYTES]) else None


def begins_svg(head: bytes) -> bool:
    text = head.decode("utf-16" if head[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig", "ignore")
    return _SVG_START.match(text) is not None


def _has_avif_brand(head: bytes) -> bool:
    size = min(int.from_bytes(head[:4], "big"), len(head))
    brands = [head[8:12], *(head[at:at + 4] for at in range(16, size, 4))]  # 12 to 16 is the minor version
    return b"avif" in brands or b"avis" in brands


def ending_of(file: str) -> str:
    """The ending of a file's label in lower case, without the dot; "" if there is none."""
    name = file.rpartition("/")[2]
    stem, dot, ending = name.rpartition(".")
    return ending.lower() if dot and stem else ""
