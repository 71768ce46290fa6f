"""Tide Tables: a leaf for each month of a harbour that is on no chart. Trim size, without backs.

The heights are two cosines, the moon's tide M2 and the sun's S2, at their usual speeds of 28.9841 and 30 degrees an
hour: where they fall together the tides are springs, where they oppose, neaps.
"""

from __future__ import annotations

import math

from studio.canvas import Canvas, mix
from studio.frame import HEIGHT, MIDDLE, WIDTH
from studio.scenery import moon
from studio.shapes import circle, ellipse, open_line, polygon, rect, rounded, smooth, star, under, wave
from studio.suits import FAINT, FOAM, INK, PAPER

_M2, _S2 = 28.9841, 30.0
_MEAN_M, _MOON_M, _SUN_M = 3.0, 1.75, 0.62
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September", "October", "November",
          "December")
_DAYS = (31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
# sky, far hill, near hill, accent
_SEASONS = (
    ("#b9c9d6", "#94a9bb", "#e8eef0", "#3f6480"), ("#c4d0da", "#9bb0ba", "#dfe8e6", "#4a6a8a"),
    ("#cfdcd4", "#9dbba4", "#a9c48f", "#4f7f5f"), ("#cfe3dd", "#8fbf9e", "#94bf72", "#3f8463"),
    ("#d3e8e3", "#83bf97", "#7fb562", "#2f8a6a"), ("#f4e3b4", "#9dc387", "#6fae5d", "#b8862b"),
    ("#f8dfa0", "#b6c57a", "#84ad54", "#c9792b"), ("#f9d59a", "#ccb968", "#b5a04b", "#c9662b"),
    ("#f3c79a", "#c9a062", "#b4813f", "#b3552e"), ("#e6b394", "#b37d58", "#96603c", "#9c4530"),
    ("#c8b3b0", "#8f7f84", "#76646a", "#6d4a5a"), ("#a9b4c9", "#7d8aa6", "#e6ecf2", "#3b4f7a"),
)


def height_m(hour: float) -> float:
    """Metres above chart datum, ``hour`` hours after the year's first midnight."""
    moon_tide = _MOON_M * math.cos(math.radians(_M2 * hour - 40))
    return _MEAN_M + moon_tide + _SUN_M * math.cos(math.radians(_S2 * hour - 85))


def high_waters(day: int) -> list[tuple[int, float]]:
    """(minute of the day, metres) of the high waters of a day counted from 0, to the minute."""
    heights = [height_m(24 * day + minute / 60) for minute in range(-1, 1441)]
    return [(minute - 1, heights[minute]) for minute in range(1, 1441)
            if heights[minute - 1] < heights[minute] >= heights[minute + 1]]


def month_card(month: int) -> Canvas:
    sky, far, near, accent = _SEASONS[month]
    canvas = Canvas(WIDTH, HEIGHT, 0.0)
    canvas.fill(PAPER, rect(0, 0, WIDTH, HEIGHT))
    _scene(canvas, month, sky, far, near, accent)
    canvas.text(6, 36.4, MONTHS[month], "serif-bold", 7.2, INK)
    canvas.text(57, 36.4, f"{month + 1}", "serif-italic", 5.4, accent, "right")
    first = sum(_DAYS[:month])
    _month_curve(canvas, first, _DAYS[month], accent)
    _table(canvas, first, _DAYS[month], accent)
    return canvas


def _phase(day: int) -> float:
    """The moon's age as a share of its 29.53 days: new and full where the two tides fall together."""
    return ((day * 24 * (_S2 - _M2) - 45) / 720) % 1.0


def _scene(canvas: Canvas, month: int, sky: str, far: str, near: str, accent: str) -> None:
    with canvas.inside(under(wave(0, WIDTH, 27, 2.2, 34, month * 0.09), -1)):
        canvas.fill(sky, rect(0, 0, WIDTH, 34))
        sun_x, sun_y = 9 + 4.1 * month, 18 - 10 * math.sin(math.pi * (month + 0.5) / 12)
        canvas.fill(mix(sky, "#fff7dc", 0.85), circle(sun_x, sun_y, 4.6 - abs(month - 6) * 0.25))
        for band in range(3):
            canvas.fill(mix(sky, "#ffffff", 0.25 + 0.12 * band),
                        ellipse(14 + 17 * band + 3 * (month % 4), 7 + 4.2 * ((band + month) % 3), 9, 0.9))
        canvas.fill(far, under(wave(-3, 66, 20.5, 5, 41, month * 0.13), 34))
        canvas.fill(mix(accent, "#2f6f82", 0.55), rect(0, 22, WIDTH, 12))
        canvas.fill(mix(accent, "#ffffff", 0.55), *(ellipse(6 + (step * 13.7 + month * 5) % 52, 23.2 + step % 4, 2.2,
                                                            0.16) for step in range(9)))
        canvas.fill(near, smooth([(30, 40), (36, 25), (44, 19.6), (54, 17.4), (70, 15.6), (74, 40)], closed=True))
        _tower(canvas, 50, 18.6, accent)
        _weather(canvas, month)
    canvas.stroke(accent, 0.7, smooth(wave(0, WIDTH, 27, 2.2, 34, month * 0.09)))


def _tower(canvas: Canvas, x: float, foot: float, accent: str) -> None:
    tower = polygon((x - 1.3, foot - 10), (x + 1.3, foot - 10), (x + 2.2, foot + 1), (x - 2.2, foot + 1))
    canvas.fill("#fbf6e8", tower)
    with canvas.inside(tower):
        canvas.fill(accent, rect(x - 3, foot - 7.6, 6, 2.3), rect(x - 3, foot - 3, 6, 2.3))
        canvas.fill(INK, rect(x + 0.6, foot - 12, 3, 14), alpha=0.2)
    canvas.fill("#ffd45e", rect(x - 1, foot - 12.4, 2, 2.4))
    canvas.fill(INK, rounded(x - 1.9, foot - 10.2, 3.8, 0.6, 0.2),
                polygon((x - 1.4, foot - 12.3), (x + 1.4, foot - 12.3), (x, foot - 14.2)))
    canvas.fill("#fbf6e8", rect(x + 3.4, foot - 2.4, 4, 3))
    canvas.fill(accent, polygon((x + 3, foot - 2.3), (x + 7.8, foot - 2.3), (x + 6.6, foot - 4.2),
                                (x + 4.2, foot - 4.2)))


def _weather(canvas: Canvas, month: int) -> None:
    for step in range(26):
        x, y = (step * 23.7 + month * 11) % 63, (step * 9.3 + month * 5) % 26
        if month in (11, 0, 1):
            canvas.fill("#ffffff", circle(x, y, 0.3 + 0.12 * (step % 3)), alpha=0.9)
        elif month in (9, 10) and step < 16:
            canvas.fill(("#b3552e", "#d98a3a", "#8a3f2a")[step % 3], ellipse(x, y, 0.75, 0.38), alpha=0.9)
        elif month in (2, 3) and step < 18:
            canvas.stroke("#7f9fb0", 0.18, open_line((x, y), (x - 0.7, y + 2.2)), alpha=0.8)
        elif month in (4, 5, 6) and step < 7 and 42 < x < 62:
            canvas.fill("#f6e27a", star(x, 17 + y % 8, 5, 0.6, 0.3))


def _month_curve(canvas: Canvas, first: int, days: int, accent: str) -> None:
    """Every tide of the month, springs and neaps, over a scale of metres."""
    left, right, base, scale = 9.0, 58.0, 58.0, 2.9
    for metre in range(0, 6):
        y = base - scale * metre
        canvas.stroke(FAINT, 0.1, open_line((left, y), (right, y)), dash=(0.5, 0.7))
        canvas.text(left - 1.2, y + 0.7, str(metre), "sans", 2.0, FAINT, "right")
    hours = [first * 24 + step * 0.75 for step in range(int(days / 0.75 * 24) + 1)]
    line = [(left + (right - left) * (hour - first * 24) / (days * 24), base - scale * height_m(hour))
            for hour in hours]
    canvas.fill(mix(accent, PAPER, 0.72), polygon((left, base), *line, (right, base)))
    canvas.stroke(accent, 0.24, open_line(*line))
    for day in range(days):
        x = left + (right - left) * (day + 0.5) / days
        canvas.stroke(INK, 0.1, open_line((x, base), (x, base + (1.2 if (day + 1) % 7 == 1 else 0.6))))
    for quarter in range(5):
        day = first + round((days - 1) * quarter / 4)
        x = left + (right - left) * (day - first + 0.5) / days
        canvas.fill(INK, circle(min(x, 56.4), 63, 1.95))
        moon(canvas, min(x, 56.4), 63, 1.6, _phase(day), "#f8efd6", "#4a5068")


def _table(canvas: Canvas, first: int, days: int, accent: str) -> None:
    """The high waters of four days."""
    top, row = 67.4, 3.5
    canvas.fill(accent, rounded(5, top, 53, 3.6, 0.7))
    for x, head in ((11, "day"), (25, "high water"), (43, "high water")):
        canvas.text(x, top + 2.55, head, "sans-bold", 2.1, FOAM, "centre")
    for line, day in enumerate((0, 7, 14, 21)):
        y = top + 3.6 + row * line
        if line % 2:
            canvas.fill(mix(PAPER, accent, 0.12), rect(5, y, 53, row))
        canvas.text(11, y + 2.5, str(day + 1), "serif-bold", 2.9, INK, "centre")
        for column, (minute, metres) in enumerate(high_waters(first + day)[:2]):
            x = 25 + 18 * column
            canvas.text(x - 1, y + 2.5, f"{minute // 60:02d}.{minute % 60:02d}", "sans", 2.5, INK, "right")
            canvas.text(x + 1.4, y + 2.5, f"{metres:.1f} m", "sans", 2.5, accent)
    canvas.stroke(accent, 0.3, open_line((5, top + 3.6 + 4 * row), (58, top + 3.6 + 4 * row)))


def reading_card() -> Canvas:
    """How to read the leaves."""
    canvas = Canvas(WIDTH, HEIGHT, 0.0)
    accent = "#2f6f82"
    canvas.fill(accent, rect(0, 0, WIDTH, HEIGHT))
    for step in range(7):
        canvas.fill(mix(accent, INK, 0.08 * step), under(wave(0, WIDTH, 52 + 5.4 * step, 2.4, 21, 0.17 * step),
                                                         HEIGHT + 1))
    canvas.fill(INK, circle(MIDDLE, 20, 10.6))
    moon(canvas, MIDDLE, 20, 9.2, 0.31, "#f8efd6", "#3b4563")
    canvas.text(MIDDLE, 40.6, "Tide Tables", "serif-bold", 7.4, PAPER, "centre")
    canvas.text(MIDDLE, 45.2, "for a harbour that is on no chart", "serif-italic", 3.0, mix(PAPER, accent, 0.2),
                "centre")
    canvas.paragraph(MIDDLE, 60, 50,
                     "Turn over one leaf a night. Whoever names the height at the hour, to half a metre, "
                     "keeps it. New and full moon bring springs, the quarters neaps.", "sans", 2.75, FOAM)
    return canvas
