"""Refusals: why a file can't be used, with a stable code and the way out.

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

from server.core.art import Problem
from server.errors import LampfoldError, TooMuch, Unreadable
from server.formats.limits import MAX_ASPECT, ArtLimits

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
