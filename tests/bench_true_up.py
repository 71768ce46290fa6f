"""True-up's own figures for ``tests.bench``: nudging 200 pages against a plain open and save by the same library."""

from __future__ import annotations

import io
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numpy as np
import pikepdf
import pymupdf
from PIL import Image

from server.core.registration import Drift
from server.core.registration.printer import Printer
from server.core.sizes import paper_named
from server.drawing.nudge import nudge_pdf

PAGES = 200
NUDGE_GOAL = 3.0


def sheets_pdf(path: Path) -> Path:
    """200 A4 pages of nine cards each, by pikepdf: every page has a picture of its own, placed nine times."""
    random, stream = np.random.default_rng(1), io.BytesIO()
    Image.fromarray(random.integers(0, 256, (350, 250, 3), dtype=np.uint8)).save(stream, "JPEG", quality=60)
    pdf = pikepdf.new()
    cards = "".join(f"q 178.6 0 0 249.4 {29 + 179 * (n % 3)} {46 + 250 * (n // 3)} cm /Im0 Do Q\n" for n in range(9))
    for _ in range(PAGES):
        image = pikepdf.Stream(pdf, stream.getvalue(), Type=pikepdf.Name.XObject, Subtype=pikepdf.Name.Image,
                               Width=250, Height=350, ColorSpace=pikepdf.Name.DeviceRGB, BitsPerComponent=8,
                               Filter=pikepdf.Name.DCTDecode)
        page = pdf.add_blank_page(page_size=(595.276, 841.89))
        page.Resources = pikepdf.Dictionary(XObject=pikepdf.Dictionary(Im0=pdf.make_indirect(image)))
        page.Contents = pdf.make_stream(cards.encode())
    pdf.save(path)
    return path


def _best(turns: int, *works: Callable[[], object]) -> list[float]:
    """The best time of each in seconds; they take turns, so that a busy machine is busy for all."""
    best = [float("inf")] * len(works)
    for _ in range(turns):
        for at, work in enumerate(works):
            start = time.perf_counter()
            work()
            best[at] = min(best[at], time.perf_counter() - start)
    return best


def nudge_ratio(turns: int = 7) -> tuple[float, str]:
    """(nudge's time over a plain open and save, what was measured)."""
    with tempfile.TemporaryDirectory() as folder:
        source, out = sheets_pdf(Path(folder) / "in.pdf"), Path(folder) / "out.pdf"
        printer = Printer("bench", paper_named("a4"))
        printer = printer.trued(Drift.of(printer.centre, 1.3, -0.8, 0.2, 0.998, 0.998), date(2026, 1, 1))

        def plain() -> None:
            with pymupdf.open(source) as document:
                document.save(out)

        copied, nudged = _best(turns, plain, lambda: nudge_pdf(source, out, printer, range(1, PAGES, 2)))
        return nudged / copied, f"{PAGES} pages: {nudged * 1000:.0f} ms against {copied * 1000:.0f} ms"


if __name__ == "__main__":
    ratio, detail = nudge_ratio()
    print(f"nudge / open and save: {ratio:.2f} (goal {NUDGE_GOAL:g} or less), {detail}")
