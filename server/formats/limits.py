"""Limits, each with its reason, and refusals: why a file can't be used, with a stable code and the way out.

The command line takes the limits as they are; a host who shares the machine can pass a narrower ``ArtLimits``.

A message always begins with the file's label, so that it can stand alone on a terminal; ``problem_from`` takes the
label off again for a record that names the file beside it.

| code | what it says |
| --- | --- |
| empty-file | no bytes at all |
| not-art | the content is none of the formats that can be used |
| unsupported | a picture, but of a kind that can't be used |
| truncated | the file ends early |
| damaged | the content contradicts itself |
| zero-size | no width or no height |
| odd-shape | longer than any card by far |
| too-many-pixels, too-many-pages, file-too-large, too-much-inside | over a limit |
| encrypted | a PDF that asks for a password |
| no-pages | a PDF without a page |
| svg-feature, svg-font | something in an SVG that isn't drawn here as it is meant |
| svg-outside, svg-script, svg-entities | what no art needs: another file, a script, a document type of its own |
| no-size | an SVG that doesn't say how large it is |
| own-sheets | a PDF of sheets that was made here |
| not-readable | the system does not let it be read |
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from server.core.art import Problem
from server.errors import LampfoldError, TooMuch, Unreadable

# 64 megapixels: an A4 page at 800 ppi, far above any card, and 256 MiB when decoded with alpha. Above it a file is
# more likely a trap or a slip than art.
MAX_PIXELS = 64_000_000
# What a decoder may hold for one picture: 64 megapixels as Pillow keeps them, and once more, so that a build stays
# under 600 MB. In their usual forms PNG, JPEG and TIFF always keep to it, AVIF up to 55 megapixels and WebP, whose
# decoder holds three copies, up to 43: an A4 page at 600 ppi has 35.
MAX_DECODING_BYTES = 525_000_000
# PDF and SVG are read by a process of their own, which is there besides.
WORKER_BYTES = 55_000_000
# Three times a thick deck, and still laid out in seconds; a PDF that claims 100,000 pages is refused by its count.
MAX_PDF_PAGES = 2_000
# 64 megapixels of 16-bit RGB without compression are 384 MB; nothing larger can be under the pixel cap and sensible.
MAX_FILE_BYTES = 512 * 1024 * 1024
# No card is 20 times as long as it is wide, and a sliver of 1 x 60,000,000 would leave a PDF's number range.
MAX_ASPECT = 20.0
# PDF units reach 14,400 per side (ISO 32000-1, Annex C): 5,080 mm. Under 1 mm there is nothing to print.
MIN_PAGE_MM, MAX_PAGE_MM = 1.0, 5080.0
# A deck list names a few thousand cards at most; a megabyte holds about 20,000 lines.
MAX_DECK_LIST_BYTES = 1024 * 1024
MAX_DECK_LIST_LINES = 5_000
# No game wants a thousand of one card; a larger number is a slip such as a year in the file name.
MAX_COPIES = 999
# 2,000 sheets of nine and more: days of cutting. Copies that come to more were multiplied by mistake.
MAX_CARDS = 20_000
# A folder of this many files, or this deep, was chosen by mistake (a home folder, a drive).
MAX_FILES = 10_000
MAX_FOLDER_DEPTH = 12
# A map of a whole city draws with some 20 MB; what a card's page or form unpacks to beyond this is a trap.
MAX_STREAM_BYTES = 64 * 1024 * 1024
# Chunks of one PNG: 500,000 of the common 8 KiB would be 4 GB, so only a trap has more.
MAX_PNG_CHUNKS = 500_000


@dataclass(frozen=True, slots=True)
class ArtLimits:
    """What a reader refuses by header alone: pixels of a picture (also inside a PDF), pages, bytes of a file; what
    a stream or a page's content in a PDF may unpack to; how many cards a deck may ask for, copies counted; and what
    memory a picture may take while it is decoded."""

    pixels: int = MAX_PIXELS
    pdf_pages: int = MAX_PDF_PAGES
    file_bytes: int = MAX_FILE_BYTES
    cards: int = MAX_CARDS
    stream_bytes: int = MAX_STREAM_BYTES
    decoding_bytes: int = MAX_DECODING_BYTES


DEFAULT_LIMITS = ArtLimits()


EXPORT_AGAIN = "Export it again from the program that made it, or copy it anew."


class BadArt(Unreadable):
    """A file that can't be used as art. ``code`` is one of the module's table."""

    def __init__(self, message: str, fix: str = "", code: str = "damaged") -> None:
        super().__init__(message, fix)
        self.code = code


class ArtTooLarge(TooMuch, BadArt):
    """Art over a limit: names the file, the limit and the way out."""


def truncated(file: str, detail: str) -> BadArt:
    """The refusal of a file that ends early."""
    return BadArt(f"{file}: the file is incomplete, {detail}.", EXPORT_AGAIN, "truncated")


def damaged(file: str, detail: str) -> BadArt:
    """The refusal of a file whose content contradicts itself."""
    return BadArt(f"{file}: is damaged, {detail}.", EXPORT_AGAIN, "damaged")


def problem_from(error: LampfoldError, file: str) -> Problem:
    """An error about ``file`` as a record, severity "error", its own label taken off the message."""
    message = error.message.removeprefix(f"{file}: ")
    return Problem(file, "error", getattr(error, "code", "damaged"), message[:1].upper() + message[1:], error.fix)


def check_pixels(file: str, width: int, height: int, limits: ArtLimits) -> None:
    """Raises BadArt or ArtTooLarge for a picture of no size, of no card's shape or over the pixel limit."""
    if width <= 0 or height <= 0:
        raise BadArt(f"{file}: is {width} × {height} pixels, so there is nothing to print.", EXPORT_AGAIN, "zero-size")
    if width * height > limits.pixels:
        raise ArtTooLarge(
            f"{file}: is {width} × {height} pixels, over the limit of {limits.pixels / 1e6:g} megapixels.",
            "Scale it down; 300 ppi at card size is about 750 × 1050 pixels.", "too-many-pixels")
    if max(width, height) > MAX_ASPECT * min(width, height):
        raise BadArt(f"{file}: is {width} × {height} pixels, which is no card's shape.",
                     "Crop it to one card.", "odd-shape")


def check_decoding(file: str, kind: str, width: int, height: int, takes: int, limits: ArtLimits) -> None:
    """Raises ArtTooLarge where so many bytes, which its decoder would take, are over the limit."""
    if takes > limits.decoding_bytes:
        raise ArtTooLarge(
            f"{file}: is {width} × {height} pixels, and to decode this kind of {kind} takes {takes / 1e6:.0f} MB, over "
            f"the limit of {limits.decoding_bytes / 1e6:.0f} MB.",
            "Save it as a PNG, which is decoded in less, or scale it down.", "too-many-pixels")


@contextmanager
def refusing(file: str) -> Iterator[None]:
    """Whatever a decoder raises inside becomes a BadArt that names ``file``.

    Decoders answer bad bytes with many types (TypeError, ValueError, SyntaxError, struct.error, OSError, ...), so all
    of them are caught; our own refusals pass.
    """
    try:
        yield
    except LampfoldError:
        raise
    except MemoryError:
        raise ArtTooLarge(f"{file}: takes more memory than there is.", "Scale it down.", "too-many-pixels") from None
    except Exception as error:
        detail = " ".join(str(error).split())[:120] or type(error).__name__
        raise damaged(file, f"a decoder says: {detail.rstrip('.')}") from None
