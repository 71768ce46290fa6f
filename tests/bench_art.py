"""Rows of ``python -m tests.bench`` for art that takes work: PNG with alpha, and the pages of a PDF.

Alpha is held against Pillow's decoding of the same files. PDF pages go in by our own import of their objects; the other
contender lays the same pages at the same places by PyMuPDF's ``show_pdf_page``, and draws nothing else.
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import pymupdf
from PIL import Image, ImageDraw, ImageFilter

from server.core.settings import DeckSettings
from server.core.units import POINTS_PER_MM
from server.intake.folder import read_folder
from server.prepress import build, prepare
from tests.bench import HEIGHT, WIDTH, Row, art, best, files_of, ours

ALPHA_CARDS, PDF_CARDS = 9, 54
_CARD_MM, _BLEED_MM = (69.0, 94.0), 3.0


def _folder(name: str) -> Path:
    fronts = Path(tempfile.gettempdir()) / "lampfold-bench" / name / "fronts"
    fronts.mkdir(parents=True, exist_ok=True)
    return fronts


def alpha_row(turns: int, room: Path) -> Row:
    """Cards as design programs export them: with soft round corners that are clear."""
    fronts = _folder(f"alpha-{ALPHA_CARDS}")
    clear = Image.new("L", (WIDTH, HEIGHT), 0)
    ImageDraw.Draw(clear).rounded_rectangle((0, 0, WIDTH - 1, HEIGHT - 1), 60, fill=255)
    for number in range(ALPHA_CARDS):
        path = fronts / f"card_{number:03}.png"
        if not path.exists():
            picture = art(number)
            picture.putalpha(clear.filter(ImageFilter.GaussianBlur(1)))
            picture.save(path)

    def decoded(_: Path) -> None:
        for path in files_of(fronts.parent):
            with Image.open(path) as picture:
                picture.load()

    times = best(turns, room, decoded=decoded, ours=lambda out: ours(fronts.parent, out))
    return Row(f"{ALPHA_CARDS} cards, PNG with alpha: time over Pillow's decoding", times["ours"] / times["decoded"],
               2.0, True, f"{times['ours'] * 1000:.0f} ms, decoding {times['decoded'] * 1000:.0f} ms")


def pdf_row(turns: int, room: Path) -> Row:
    """A PDF of pages with shapes, text and, on every third, a photograph."""
    source = _folder(f"pdf-{PDF_CARDS}") / "cards.pdf"
    if not source.exists():
        _draw_pdf(source)
    found = read_folder(source.parent.parent)
    prepared = prepare(found.deck, DeckSettings(), found.source)

    def shown(out: Path) -> None:
        plan, k = prepared.planned.plan, POINTS_PER_MM
        with pymupdf.open(source) as pages, pymupdf.open() as sheets:
            for face in plan.faces:
                page = sheets.new_page(width=plan.layout.page.width * k, height=plan.layout.page.height * k)
                for placement in plan.placements(face):
                    if placement.side == "front":
                        trim = placement.trim
                        page.show_pdf_page(
                            pymupdf.Rect(*((side + off) * k for side, off in zip(
                                (trim.x, trim.y, trim.right, trim.bottom),
                                (-_BLEED_MM, -_BLEED_MM, _BLEED_MM, _BLEED_MM), strict=True))),
                            pages, prepared.deck.cards[placement.card].front.page)
            sheets.save(out, deflate=True)

    def imported(out: Path) -> None:
        build(prepared, out)

    times = best(turns, room, ours=imported, shown=shown)
    imported(room / "a.pdf")
    shown(room / "b.pdf")
    sizes = [(room / name).stat().st_size for name in ("a.pdf", "b.pdf")]
    return Row(f"{PDF_CARDS} cards, PDF: time over show_pdf_page", times["ours"] / times["shown"], 1.0, True,
               f"{times['ours'] * 1000:.0f} and {times['shown'] * 1000:.0f} ms, sizes as {sizes[0] / sizes[1]:.3f}")


def _draw_pdf(path: Path) -> None:
    width, height = (side * POINTS_PER_MM for side in _CARD_MM)
    with pymupdf.open() as document:
        for number in range(PDF_CARDS):
            page = document.new_page(width=width, height=height)
            if number % 3 == 0:
                with tempfile.TemporaryDirectory() as folder:
                    art(number).save(Path(folder) / "a.jpg", quality=90)
                    page.insert_image(page.rect, filename=str(Path(folder) / "a.jpg"))
            shape = page.new_shape()
            for dot in range(120):
                shape.draw_circle((width * (dot % 12 + 0.5) / 12, height * (dot // 12 + 0.5) / 10), 4 + dot % 5)
                shape.finish(fill=(dot * 7 % 255 / 255, dot * 13 % 255 / 255, 0.4), color=(0, 0, 0), width=0.3)
            shape.commit()
            page.insert_text((20, 30), f"Harbour lamp {number}", fontsize=12)
            page.insert_textbox(pymupdf.Rect(20, 200, width - 20, height - 20), fontsize=8,
                                buffer="The tide turns at six; the lamp is lit at dusk. " * 4)
        document.save(path, deflate=True, garbage=3)
