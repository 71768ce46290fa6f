"""The colours of the game. Each light has a mark and a rhythm beside its colour, so nobody has to tell them by colour.

Marks follow buoys at sea (IALA's maritime buoyage system, region A): a can to port, a cone to starboard, a cross for a
special mark, a ball for safe water. Rhythms are written as on a nautical chart: Oc occulting, Q quick, Fl flashing, Iso
for as long lit as dark.
"""

from __future__ import annotations

from dataclasses import dataclass

from studio.canvas import Canvas, mix
from studio.shapes import circle, polygon, rect

PAPER, INK, FAINT = "#f5ecd7", "#1b2136", "#6d6575"
FOAM, BRASS, STONE, NIGHT = "#e9efe6", "#c79a4b", "#5c6172", "#131b30"


@dataclass(frozen=True, slots=True)
class Suit:
    """A colour of light. ``sky`` runs from the top to the horizon; ``edge`` shows on paper; ``rhythm`` is lit and dark
    spells in seconds, by turns."""

    name: str
    light: str
    deep: str
    sky: tuple[str, ...]
    sea: str
    edge: str
    mark: str
    says: str
    rhythm: tuple[float, ...]


SUITS = (
    Suit("red", "#e5573c", "#a5301f", ("#1d1a33", "#33203f", "#57273f", "#873a41", "#bf5b48"), "#2c2140", "#e5573c",
         "can", "port hand · Oc 6s", (4.5, 1.5)),
    Suit("green", "#5cc088", "#217a53", ("#0e2230", "#12343f", "#1c4c50", "#35706a", "#76a894"), "#123139", "#5cc088",
         "cone", "starboard hand · Q", (0.6, 0.6)),
    Suit("amber", "#f6b73c", "#b87413", ("#231d40", "#3c2a52", "#65405f", "#a2605a", "#e39a55"), "#2f2a4d", "#f6b73c",
         "cross", "special mark · Fl(2) 6s", (0.8, 0.8, 0.8, 3.6)),
    Suit("white", "#fbf3d9", "#4c6f92", ("#141f3c", "#1f3557", "#365577", "#648199", "#b4c5c9"), "#1c3150", "#8fb0c4",
         "ball", "safe water · Iso 4s", (2.0, 2.0)),
)
SUIT = {suit.name: suit for suit in SUITS}


def mark(canvas: Canvas, kind: str, x: float, y: float, size: float, colour: str) -> None:
    """A topmark within ``size`` mm of its centre."""
    if kind == "can":
        canvas.fill(colour, rect(x - size * 0.7, y - size * 0.85, size * 1.4, size * 1.7))
    elif kind == "cone":
        canvas.fill(colour, polygon((x, y - size), (x + size * 0.95, y + size * 0.8),
                                    (x - size * 0.95, y + size * 0.8)))
    elif kind == "ball":
        canvas.fill(colour, circle(x, y, size * 0.92))
    else:
        arm, thick = size * 0.62, size * 0.3
        for way in (1, -1):
            near, far = arm - thick, arm + thick
            canvas.fill(colour, polygon((x - far, y - way * near), (x - near, y - way * far),
                                        (x + far, y + way * near), (x + near, y + way * far)))


def lens(canvas: Canvas, suit: Suit, x: float, y: float, radius: float) -> None:
    """A round lamp glass of that colour with its mark."""
    canvas.fill(INK, circle(x, y, radius))
    canvas.fill(suit.light, circle(x, y, radius * 0.86))
    canvas.fill(mix(suit.light, "#ffffff", 0.45), circle(x - radius * 0.22, y - radius * 0.26, radius * 0.5))
    canvas.fill(suit.light, circle(x - radius * 0.12, y - radius * 0.14, radius * 0.5))
    mark(canvas, suit.mark, x, y, radius * 0.46, INK)


def rhythm_bar(canvas: Canvas, suit: Suit, x: float, y: float, width: float, height: float) -> None:
    """Twelve seconds of the light: lit spells filled, dark spells empty."""
    with canvas.inside(rect(x, y, width, height)):
        canvas.fill(mix(PAPER, INK, 0.82), rect(x, y, width, height))
        at, step = 0.0, 0
        while at < 12:
            spell = suit.rhythm[step % len(suit.rhythm)]
            if step % 2 == 0:
                canvas.fill(suit.light, rect(x + at / 12 * width, y, spell / 12 * width, height))
            at, step = at + spell, step + 1
    canvas.stroke(INK, 0.18, rect(x, y, width, height))
