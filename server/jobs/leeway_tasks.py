"""What worker processes do for leeway: measure backs that are kept, and a back that is only drawn so far."""

from __future__ import annotations

import io
import tempfile
from pathlib import Path

from server.core.art import Art
from server.core.backs import BackDesign
from server.core.bleed import ArtFit, decide
from server.core.card_sizes import CardSize
from server.core.leeway import BackProfile
from server.errors import Unreadable
from server.jobs.worker import Report

MADE_KEY = "made-back"


def measure_profiles(report: Report, backs: tuple[tuple[Path, Art, ArtFit], ...],
                     card: CardSize) -> dict[str, BackProfile]:
    """The profile of each back by its art's key. One that can't be decoded is left out: it is named elsewhere."""
    from server.intake.border import measure_backs

    paths = {art.key: path for path, art, _ in backs}
    found = measure_backs([(art, fit) for _, art, fit in backs], lambda art: paths[art.key], card)
    return {key: profile for key, profile in found.items() if not isinstance(profile, Unreadable)}


def design_pdf(report: Report, design: BackDesign, card: CardSize, bleed_mm: float) -> bytes:
    """The design as a PDF of one page. Raises BadValue for a choice that can't be drawn."""
    from server.drawing.backs import write_back_pdf

    out = io.BytesIO()
    write_back_pdf(design, card, bleed_mm, out)
    return out.getvalue()


def design_art(card: CardSize, bleed_mm: float) -> Art:
    """The art that a design would be, before it is kept."""
    size = card.width_mm + 2 * bleed_mm, card.height_mm + 2 * bleed_mm
    return Art("backs/made.pdf", MADE_KEY, "pdf", size_mm=size)


def measure_design(report: Report, design: BackDesign, card: CardSize, bleed_mm: float) -> BackProfile:
    """The profile of a design as it will be printed: drawn, and measured like any other art."""
    from server.intake.border import measure_back

    art = design_art(card, bleed_mm)
    with tempfile.TemporaryDirectory(prefix="lampfold-") as folder:
        path = Path(folder) / "back.pdf"
        path.write_bytes(design_pdf(report, design, card, bleed_mm))
        return measure_back(path, art, card, decide(art, card, bleed_mm, "auto"))
