"""Nothing lies where the printer can't reach: not a line, not a strip, not after a correction."""

from __future__ import annotations

import io
import json
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from server.core.geometry import Edges
from server.core.methods import METHODS
from server.core.plan_json import plan_to_json
from server.core.planning import plan_deck
from server.core.registration import Drift
from server.core.registration.printer import Printer
from server.core.settings import DeckSettings
from server.core.sizes import paper_named
from server.drawing.pdf_surface import PdfSurface
from server.drawing.sheet import draw_face
from tests.drawing.pdf_help import by_pdfium
from tests.drawing.test_pdf_trims import deck_of

PPI = 150
MARGIN_MM = 5.0


@pytest.mark.parametrize("style", ["full", "ticks"])
@pytest.mark.parametrize("method", sorted(METHODS))
def test_the_margin_stays_white_and_the_strip_free_of_cut_lines(tmp_path: Path, method: str, style: str) -> None:
    deck, paths = deck_of(tmp_path, "png", 7)
    paper = paper_named("a4")
    printer = Printer("Study", paper, "long-edge", margins=Edges.all(MARGIN_MM)).trued(
        Drift.of((105, 148.5), 1.6, -1.2, 0.3), date(2026, 1, 2))
    settings = DeckSettings().changed({"card": "44x63", "method": method, "cut_lines": "both", "line_style": style,
                                       "back_flood": "#1f5f6b"})
    planned = plan_deck(deck, settings, printer)
    out = io.BytesIO()
    surface = PdfSurface(out, lambda art: paths[art.key], title="Margins", duplex="Simplex")
    for face in planned.plan.faces:
        draw_face(surface, planned, face)
    surface.close()
    surface.release()
    strips = [page["hinge_strips"] for page in json.loads(json.dumps(plan_to_json(planned)))["pages"]]
    for number, strip in enumerate(strips):
        seen = by_pdfium(out.getvalue(), PPI, number).min(axis=2)
        edge = int(MARGIN_MM * PPI / 25.4) - 1
        ring = np.ones(seen.shape, bool)
        ring[edge:-edge, edge:-edge] = False
        assert seen[ring].min() >= 250, f"{method}: ink in the margin of page {number + 1}"
        for one in strip:
            _check_strip(seen, one)


def _check_strip(seen: np.ndarray, strip: dict[str, float]) -> None:
    """Along the strip's inner edge, a millimetre into it, stand its own words and nothing that runs out of it."""
    k = PPI / 25.4
    upright = strip["width"] < strip["height"]
    low, high = (strip["x"], strip["x"] + strip["width"]) if upright else (strip["y"], strip["y"] + strip["height"])
    inner = high if low < 1 else low
    inwards = -1 if low < 1 else 1
    at = int((inner + inwards * 1.0) * k)
    across = seen[:, at] if upright else seen[at]
    beside = seen[:, at + inwards * int(0.8 * k)] if upright else seen[at + inwards * int(0.8 * k)]
    both = (across < 200) & (beside < 200)
    assert both.sum() < 0.1 * len(both)
