"""The six tides, drawn as leaves of a chart, and the two kinds of fog."""

from __future__ import annotations

import math
from dataclasses import dataclass

from studio.canvas import Canvas, mix
from studio.frame import HEIGHT, MIDDLE, WIDTH, badge, harbour_card, panel, rules, title
from studio.scenery import fog, hills, moon, sea, sky
from studio.shapes import circle, open_line, polygon, rect, rounded, smooth, star, under, wave
from studio.suits import FAINT, FOAM, INK, PAPER

SHALLOW, DEEP, LAND, LINE = "#bcd8d3", "#2f6f82", "#e7d3a1", "#3a6a78"


@dataclass(frozen=True, slots=True)
class Tide:
    """``lamps`` may be lit while it runs; ``mean`` and ``swing`` in metres shape its curve; ``phase`` is the moon's."""

    name: str
    says: str
    lamps: int
    mean: float
    swing: float
    start: float
    phase: float
    rule: str


TIDES = (
    Tide("Neap Tide", "little rise, little fall", 2, 2.3, 0.7, 0.1, 0.25,
         "Easy water: a ship that asks for one light only needs a reach of one less."),
    Tide("Spring Tide", "the highest of the fortnight", 4, 2.4, 2.1, 0.0, 0.5,
         "Deep ships may cross the bar, and every fog card is swept away."),
    Tide("The Ebb", "the water leaves the harbour", 2, 2.6, 1.6, 0.25, 0.62,
         "A ship in a channel without a single lamp drifts out: put it under the pile."),
    Tide("The Flood", "the water comes in", 3, 2.2, 1.6, 0.75, 0.4,
         "Turn over a new ship for each empty channel before you light a lamp."),
    Tide("Slack Water", "the quarter hour between", 3, 2.4, 0.2, 0.5, 0.12,
         "Nothing moves: no ship, no lamp and no fog may change its channel."),
    Tide("Storm Surge", "wind on top of the tide", 1, 3.3, 1.5, 0.05, 0.97,
         "Waves come over the mole: the lowest lamp in each channel goes dark."),
)


def tide_card(tide: Tide) -> Canvas:
    number = TIDES.index(tide)
    canvas = harbour_card()
    _chart(canvas, number)
    _curve(canvas, tide, number)
    panel(canvas, DEEP, number * 0.19)
    badge(canvas, str(tide.lamps), DEEP)
    canvas.fill(PAPER, rounded(3.7, 15.2, 10.2, 3.3, 1.6))
    canvas.stroke(INK, 0.25, rounded(3.7, 15.2, 10.2, 3.3, 1.6))
    canvas.text(8.8, 17.55, "LAMPS" if tide.lamps > 1 else "LAMP", "sans-bold", 1.9, INK, "centre", tracking=0.15)
    canvas.fill(INK, circle(53.5, 9.5, 5.4))
    moon(canvas, 53.5, 9.5, 4.4, tide.phase, "#f6ecd0", "#39405c")
    title(canvas, tide.name, tide.says)
    rules(canvas, tide.rule, 77.4)
    return canvas


def _chart(canvas: Canvas, number: int) -> None:
    """Land, shoals and soundings as on a harbour chart."""
    canvas.fill(SHALLOW, rect(-4, -4, 72, 70))
    for step, share in enumerate((0.16, 0.34, 0.54)):
        canvas.fill(mix(SHALLOW, DEEP, share * 0.62),
                    smooth([(14 + 7 * step, -8), (18 + 9 * step, 12 + number % 3), (26 + 6 * step, 24 + 2 * step),
                            (48, 30 + 1.5 * step),
                            (74, 25 + 4 * step - number % 2), (76, 70), (90, 70), (90, -8)], closed=True))
    coast = [(-8, -8), (22 - number % 4, -8), (19, 1), (23, 6.5), (17.5, 12), (19.5, 19), (13, 23 + number % 3),
             (9, 30), (-2, 33), (-8, 34)]
    canvas.fill(LAND, smooth(coast, closed=True))
    canvas.stroke(LINE, 0.35, smooth(coast, closed=True))
    canvas.stroke(LINE, 0.2, smooth([(x + 2.4, y + 2.2) for x, y in coast], closed=True), dash=(0.9, 1.0))
    for step in range(22):
        x, y = 23 + (step * 17.3 + number * 5) % 40, 3 + (step * 11.7 + number * 7) % 30
        if math.hypot(x - 53.5, y - 9.5) > 7.5 and math.hypot(x - 38, y - 17.5) > 8 and x > 24:
            canvas.text(x, y, str(2 + (step * 5 + number) % 9), "serif-italic", 2.0, mix(LINE, INK, 0.3), "centre")
    for x in range(-3, 68, 7):
        canvas.stroke(LINE, 0.12, open_line((x, -4), (x, 64)), alpha=0.35)
    for y in range(3, 64, 7):
        canvas.stroke(LINE, 0.12, open_line((-4, y), (67, y)), alpha=0.35)
    x, y = 38.0, 17.5
    canvas.stroke(LINE, 0.2, circle(x, y, 6.2), circle(x, y, 5.5))
    canvas.fill(LINE, star(x, y, 4, 6.2, 1.2, -90 + 4 * number))
    canvas.fill(PAPER, circle(x, y, 0.8))


def _height(tide: Tide, hour: float) -> float:
    """Metres above chart datum: one tide of 12.42 h (the moon's half day) about a mean level."""
    return tide.mean + tide.swing * math.cos(2 * math.pi * (hour / 12.42 - tide.start))


def _curve(canvas: Canvas, tide: Tide, number: int) -> None:
    base, scale = 58.0, 5.0
    left, right = -4.0, 67.0
    points = [(left + (right - left) * step / 40, base - scale * max(0.25, _height(tide, 16 * step / 40)))
              for step in range(41)]
    canvas.fill(DEEP, under(points, 66), alpha=0.9)
    for step, share in enumerate((0.25, 0.5)):
        lower = [(x, y + 3.4 * (step + 1)) for x, y in points]
        canvas.fill(mix(DEEP, INK, share), under(lower, 66), alpha=0.75)
    canvas.stroke(FOAM, 0.7, smooth(points))
    canvas.fill(INK, rect(52.6, 30, 6.4, 34), alpha=0.35)
    canvas.fill(PAPER, rect(52.2, 29.6, 6.4, 34))
    canvas.stroke(INK, 0.2, rect(52.2, 29.6, 6.4, 34))
    for metre in range(1, 6):
        y = base - scale * metre
        canvas.fill(DEEP if metre % 2 else "#d9482f", rect(52.2, y, 1.9, scale / 2),
                    rect(54.1, y + scale / 2, 1.1, scale / 2))
        canvas.text(57.0, y + 0.9, str(metre), "sans-bold", 2.5, INK, "centre")
    level = points[14][1]
    canvas.fill("#d9482f", polygon((20.4, level - 4.6), (24.4, level - 4.6), (24.8, level + 1.2), (20, level + 1.2)))
    canvas.fill(INK, rect(22.2, level - 8, 0.4, 3.6),
                polygon((22.4, level - 8), (25, level - 7.2), (22.4, level - 6.3)))
    canvas.stroke(FOAM, 0.4, smooth([(18, level + 0.9), (22.4, level + 1.6), (27, level + 0.9)]))


FOGS = (("Sea Fret", "fog off the open water", "Lay it on a channel: its lamps are not seen until the next tide.",
         ("#8fa3ad", "#a8b8bd", "#c0cbcb", "#d5dcd7", "#e6e9e0"), "#5d7480"),
        ("Harbour Smoke", "a hundred chimneys and no wind",
         "Lay it on one lamp: it is dark until a keeper clears the glass.",
         ("#8d8292", "#a69aa2", "#beb3b3", "#d4cac3", "#e6dfd3"), "#6a5a69"))


def fog_card(which: int) -> Canvas:
    name, says, rule, colours, shade = FOGS[which]
    canvas = harbour_card()
    sky(canvas, colours, 44, 900 + which)
    canvas.fill("#fffdf2", circle(44, 18, 7), alpha=0.6)
    canvas.fill("#fffdf2", circle(44, 18, 11), alpha=0.25)
    (_ghost_ship if which == 0 else _chimneys)(canvas, shade, colours)
    sea(canvas, mix(shade, colours[2], 0.35), colours[4], 46, 62, 910 + which)
    for row in range(5):
        fog(canvas, mix(colours[4], "#ffffff", 0.45), 27 + 7.5 * row, 7, 920 + 10 * which + row, 0.3)
    panel(canvas, shade, 0.3 + which * 0.4)
    canvas.fill(INK, circle(8.8, 9, 5.5), alpha=0.85)
    canvas.fill(PAPER, circle(8.8, 9, 5))
    canvas.stroke(shade, 0.8, *(smooth(wave(5.6 + abs(dy) * 0.4, 12 - abs(dy) * 0.4, 9 + dy, 0.9, 3.2))
                                for dy in (-1.8, 0, 1.8)))
    title(canvas, name, says)
    rules(canvas, rule, 77.4)
    return canvas


def _ghost_ship(canvas: Canvas, shade: str, colours: tuple[str, ...]) -> None:
    far = mix(shade, colours[3], 0.45)
    hills(canvas, mix(far, colours[4], 0.5), 46, 8, 931)
    for x, top in ((22, 18), (33, 13), (44, 19)):
        canvas.stroke(far, 0.6, open_line((x, top), (x, 44)))
        for step in range(3):
            half, y = 3.6 + step * 1.2, top + 4 + step * 7.2
            canvas.fill(far, polygon((x - half, y), (x + half, y), (x + half + 1, y + 5.8), (x - half - 1, y + 5.8)),
                        alpha=0.8)
    canvas.fill(far, polygon((12, 42), (20, 44), (48, 44), (56, 41), (51, 49), (16, 49)))


def _chimneys(canvas: Canvas, shade: str, colours: tuple[str, ...]) -> None:
    for row, share in enumerate((0.62, 0.34, 0.08)):
        tone = mix(shade, colours[3], share)
        base = 40 + 4 * row
        for step in range(9):
            x = -6 + 8.6 * step + 2.6 * row
            high = 6 + (step * 7 + row * 5) % 6
            canvas.fill(tone, polygon((x, base + 6), (x, base - high), (x + 3.6, base - high - 3.4),
                                      (x + 7.2, base - high), (x + 7.2, base + 6)))
            if (step + row) % 2 == 0:
                canvas.fill(tone, rect(x + 4.6, base - high - 6, 1.9, 6))
                for puff in range(4):
                    canvas.fill(tone, circle(x + 5.6 + 1.3 * puff, base - high - 7.4 - 2.3 * puff, 1.0 + 0.5 * puff),
                                alpha=0.4 - 0.08 * puff)
            if row == 2:
                canvas.fill("#ffe3a0", rounded(x + 2.6, base - high + 2, 1.7, 2.2, 0.2), alpha=0.85)


def rules_card() -> Canvas:
    """The page of rules, kept as vector: four steps of a round and what ends the game."""
    canvas = harbour_card()
    canvas.fill(PAPER, rect(-4, -4, 72, 96))
    canvas.fill(DEEP, rect(-4, -4, 72, 21))
    for step, colour in enumerate((mix(DEEP, INK, 0.35), "#f6b73c", PAPER)):
        canvas.fill(colour, under(wave(-4, 67, 17.2 + 1.1 * step, 1.8, 17, 0.1 * step),
                                  HEIGHT + 4 if step == 2 else 24))
    canvas.text(MIDDLE, 9.0, "A Round at the Harbour", "serif-bold", 4.9, PAPER, "centre")
    canvas.text(MIDDLE, 13.2, "two to four keepers, half an hour", "serif-italic", 2.9, mix(PAPER, DEEP, 0.15),
                "centre")
    steps = (("Tide", "Turn over a tide. It says how many lamps you may light."),
             ("Lamps", "Lay that many from your hand into the channels, in any order."),
             ("Home", "A ship whose lights are all there comes in. Take it, score its berths, darken its lamps."),
             ("Draw", "Back to five cards. Keepers act once a tide; fog is played at any time."))
    y = 25.6
    for number, (name, says) in enumerate(steps, start=1):
        canvas.fill(INK, circle(8.6, y + 1.2, 3.1))
        canvas.text(8.6, y + 2.7, str(number), "serif-bold", 4.2, PAPER, "centre")
        canvas.text(14, y, name, "serif-bold", 3.7, INK)
        y = canvas.paragraph(14, y + 3.6, 44.5, says, "sans", 2.6, INK, "left") + 2.6
    canvas.stroke(FAINT, 0.2, open_line((6, 77.2), (WIDTH - 6, 77.2)), dash=(0.8, 0.8))
    ending = "When the sixth tide has run, the keeper with the most berths is harbour master."
    canvas.paragraph(MIDDLE, 80.8, 52, ending, "serif-italic", 2.8, INK)
    return canvas
