"""What worker processes do for True-up: draw the test sheet, and move the backs of a PDF that exists already."""

from __future__ import annotations

import io
import json
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.core.page_list import parse_pages
from server.core.paper import Paper
from server.core.plan import Flip
from server.core.registration.printer import Printer
from server.jobs.tasks import write_whole
from server.jobs.worker import Report


def draw_gauge_sheet_pdf(report: Report, paper: Paper, flip: Flip, printer: Printer | None) -> bytes:
    """The test sheet, corrected for ``printer`` where one is given. Raises BadValue where the paper is too small."""
    from server.drawing.gauge_sheet import gauge_sheet_pdf

    out = io.BytesIO()
    gauge_sheet_pdf(out, paper, flip, printer)
    return out.getvalue()


@dataclass(frozen=True, slots=True)
class NudgeOrder:
    """What to move: the PDF and what errors call it, the printer, which pages; ``pdf`` and ``info`` are where results
    go."""

    source: Path
    label: str
    printer: Printer
    backs: str
    pdf: Path
    info: Path


def nudge(report: Report, order: NudgeOrder) -> dict[str, Any]:
    """Write the moved PDF. Returns which pages were moved and what to look at.

    Raises BadValue for pages that aren't there, Unreadable for what is no PDF that can be changed.
    """
    from server.drawing.nudge import nudge_pdf, nudged_to_json, page_count

    pages = parse_pages(order.backs, page_count(order.source, order.label))
    done = nudge_pdf(order.source, order.pdf, order.printer, [number - 1 for number in pages], order.label)
    info = {**nudged_to_json(done), "bytes": order.pdf.stat().st_size}
    write_whole(order.info, json.dumps(info, ensure_ascii=False).encode("utf-8"))
    return info
