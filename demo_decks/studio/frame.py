"""What the cards of the harbour share: the paper that the tide has cut, title, rules text and the badge."""

from __future__ import annotations

from studio.canvas import Canvas, mix
from studio.shapes import circle, under, wave
from studio.suits import FAINT, INK, PAPER

WIDTH, HEIGHT, BLEED = 63.0, 88.0, 3.0
MIDDLE = WIDTH / 2


def harbour_card() -> Canvas:
    return Canvas(WIDTH, HEIGHT, BLEED)


def panel(canvas: Canvas, accent: str, phase: float, top: float = 59.5) -> None:
    """The paper at the foot of a card, with a wave for its upper edge, down into the bleed."""
    bottom = HEIGHT + BLEED + 1
    canvas.fill(INK, under(wave(-4, 67, top - 1.5, 1.7, 17, phase + 0.12), bottom), alpha=0.55)
    canvas.fill(accent, under(wave(-4, 67, top - 0.7, 1.8, 17, phase), bottom))
    canvas.fill(PAPER, under(wave(-4, 67, top + 0.4, 1.8, 17, phase - 0.06), bottom))
    for step in range(3):
        level = HEIGHT + 0.2 + step * 1.3
        canvas.fill(mix(PAPER, accent, 0.16 + 0.14 * step),
                    under(wave(-4, 67, level, 0.8, 8.5, phase + 0.3 * step), bottom))


def title(canvas: Canvas, name: str, says: str, y: float = 67.0) -> None:
    canvas.text(MIDDLE, y, name, "serif-bold", 5.0, INK, "centre", tracking=0.04)
    canvas.text(MIDDLE, y + 4.0, says, "serif-italic", 3.0, FAINT, "centre", tracking=0.03)


def rules(canvas: Canvas, text: str, y: float, width: float = 54.0) -> None:
    canvas.paragraph(MIDDLE, y, width, text, "sans", 2.7, INK)


def badge(canvas: Canvas, text: str, accent: str, x: float = 8.8, y: float = 9.0) -> None:
    """The number of a card, in the corner where a held hand shows it."""
    canvas.fill(INK, circle(x, y, 5.5), alpha=0.85)
    canvas.fill(PAPER, circle(x, y, 5.0))
    canvas.stroke(accent, 0.55, circle(x, y, 4.3))
    canvas.text(x, y + 2.35, text, "serif-bold", 7.0, INK, "centre")
