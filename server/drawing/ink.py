"""Ink as it is printed: every page of a PDF of ours, rendered small, art, bleed and marks as they are placed."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from PIL import Image, ImageChops, ImageStat

from server.core.ink import Ink, mean_of
from server.drawing.pdf_surface import PALE_LAYER
from server.formats.pdf_source import load_pymupdf

# Fine enough that the mean of the largest of R, G and B is that of the art and not of its blur (within some tenths of
# a percent against 300 dpi), coarse enough to cost less than writing the file.
_DPI = 72


def ink_of_pdf(path: Path, *, without_pale: bool = False) -> Ink:
    """Mean cover over all pages. ``without_pale``: as it would be if the white over the art were taken off.

    Loads PyMuPDF: never in a server's own process.
    """
    return mean_of(ink_of_pages(path, without_pale=without_pale))


def ink_of_pages(path: Path, *, without_pale: bool = False) -> Iterator[Ink]:
    """The cover of each page in turn."""
    pymupdf = load_pymupdf()
    with pymupdf.open(path) as document:
        for layer in document.layer_ui_configs() if without_pale else ():
            if layer["text"] == PALE_LAYER:
                document.set_layer_ui_config(layer["number"], action=2)  # off
        for page in document:
            pixels = page.get_pixmap(dpi=_DPI, colorspace=pymupdf.csRGB, alpha=False)
            yield cover(Image.frombytes("RGB", (pixels.width, pixels.height), pixels.samples))


def cover(image: Image.Image) -> Ink:
    """The mean cover of a picture in RGB."""
    red, green, blue = image.split()
    brightest = ImageChops.lighter(ImageChops.lighter(red, green), blue)
    means = [ImageStat.Stat(band).mean[0] / 255.0 for band in (red, green, blue, brightest)]
    return Ink.seen(*means)
