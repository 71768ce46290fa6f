"""The guide as pages: what to choose in the print dialog, every build step with its number, and the cautions."""

from __future__ import annotations

from server.core.geometry import Rect
from server.core.guide import build_steps, cautions, print_settings, scale_check
from server.core.planning import Planned
from server.drawing.surface import Surface
from server.drawing.text_flow import SOFT, TextFlow

_MARGIN_MM = 15.0


def draw_guide(surface: Surface, planned: Planned) -> None:
    """As many pages as it takes, in the deck's paper."""
    layout, settings = planned.plan.layout, planned.settings
    stock = settings.stock_record
    flow = TextFlow(surface, Rect(0, 0, layout.paper.width_mm, layout.paper.height_mm), _MARGIN_MM, "guide")
    flow.title(" ".join(name for name in (planned.deck.name, settings.version) if name))
    flow.heading("Be careful")
    for caution in cautions(layout):
        flow.text(f"{caution.title}. {caution.says}", size_mm=3.0)
    flow.heading("In the print dialog")
    for step in (*print_settings(layout, stock), *scale_check(layout)):
        flow.text(f"{step.title}. {step.says}", size_mm=3.0)
    for number, step in enumerate(build_steps(layout, stock, settings.core_mm), 1):
        flow.heading(f"{number}. {step.title}")
        flow.text(step.says)
        if step.why:
            flow.text(step.why, rgb=SOFT, size_mm=3.0)
