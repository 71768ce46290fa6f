"""The four keepers, in oilskins, each at an hour of the day; and the one back that all cards of the harbour share."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from studio.canvas import Canvas, mix
from studio.frame import MIDDLE, harbour_card, panel, rules, title
from studio.scenery import gleam, gull, halo, hills, sea, sky, stars
from studio.shapes import circle, ellipse, open_line, polygon, rect, rounded, smooth, star, under, wave, wedge
from studio.suits import BRASS, FOAM, INK, NIGHT, PAPER, STONE

SKIN, BEARD, GLOW = "#d9a07a", "#e9e2d4", "#ffd98a"


@dataclass(frozen=True, slots=True)
class Keeper:
    name: str
    hour: str
    rule: str
    coat: str
    sky: tuple[str, ...]
    scene: Callable[[Canvas], None]
    tool: Callable[[Canvas], None]


def _wick_scene(canvas: Canvas) -> None:
    stars(canvas, "#fff2c9", 34, 501, 40)
    canvas.fill(INK, rect(-4, -4, 8, 70), rect(58.6, -4, 10, 70))
    for x in (4, 22, 40.5, 58.6):
        canvas.stroke(INK, 1.1, open_line((x, -4), (x, 62)))
    for y in (4, 24):
        canvas.stroke(INK, 0.8, open_line((-4, y), (67, y)))
    canvas.fill("#3b2a2a", rect(-4, 43, 71, 24))
    canvas.fill("#5a3d33", rect(-4, 43, 71, 1.6))
    for step in range(4):
        canvas.stroke("#2c1f22", 0.3, open_line((-4, 47.5 + 4.2 * step), (67, 47.5 + 4.2 * step)))


def _wick_tool(canvas: Canvas) -> None:
    x, y = 49.0, 33.0
    halo(canvas, x, y, "#ffcf6b", 17)
    canvas.fill(BRASS, polygon((x - 5, 55), (x + 5, 55), (x + 2, 47), (x + 2, 42), (x - 2, 42), (x - 2, 47)))
    canvas.fill(mix(BRASS, INK, 0.35), rounded(x - 3.4, 40, 6.8, 2.6, 0.5))
    canvas.fill("#fff3cf", smooth([(x - 2.6, 40), (x - 3.8, 35), (x - 2, 27), (x - 1.6, 22), (x + 1.6, 22), (x + 2, 27),
                                   (x + 3.8, 35), (x + 2.6, 40)], closed=True), alpha=0.55)
    canvas.fill("#ffb43f", smooth([(x, 29), (x + 2, 36), (x, 39.6), (x - 2, 36)], closed=True))
    canvas.fill("#fffdf0", smooth([(x, 33), (x + 1, 36.6), (x, 39), (x - 1, 36.6)], closed=True))
    canvas.stroke("#c9ccd6", 0.9, open_line((41.2, 42.4), (46.4, 37.2)), open_line((41.2, 39.6), (46.6, 40.2)))
    canvas.stroke("#c9ccd6", 0.7, circle(40, 43.4, 1.3), circle(40, 39, 1.3))


def _bell_scene(canvas: Canvas) -> None:
    hills(canvas, "#8ba0a6", 44, 8, 502)
    sea(canvas, "#5d7f8a", "#e6e6d8", 44, 64, 503)
    canvas.fill(mix(STONE, "#8ba0a6", 0.3), polygon((-4, 53), (67, 50), (67, 66), (-4, 66)))


def _bell_tool(canvas: Canvas) -> None:
    x = 50.0
    canvas.fill(INK, rect(42, 14.2, 16.5, 1.8), rect(56.4, 14.2, 2, 40))
    canvas.stroke(INK, 0.7, open_line((56.6, 22), (51, 16)))
    canvas.fill(mix(BRASS, INK, 0.3), rect(x - 1, 15.6, 2, 3))
    bell = smooth([(x - 2, 18), (x + 2, 18), (x + 4, 22), (x + 4.6, 28), (x + 7, 31.6), (x - 7, 31.6), (x - 4.6, 28),
                   (x - 4, 22)], closed=True)
    canvas.fill(BRASS, bell)
    with canvas.inside(bell):
        canvas.fill(mix(BRASS, "#ffffff", 0.45), rect(x - 4.2, 16, 2.2, 18), alpha=0.7)
        canvas.fill(INK, rect(x + 2.6, 16, 6, 18), alpha=0.25)
    canvas.fill(mix(BRASS, INK, 0.45), rounded(x - 7.4, 30.6, 14.8, 1.6, 0.7))
    canvas.fill(INK, circle(x, 33.4, 1.4))
    canvas.stroke("#d8cdb4", 0.5, smooth([(x, 34.6), (x - 1.6, 39), (x - 5.4, 43)]))
    canvas.stroke(FOAM, 0.35, *(smooth([(x + s * r, 23), (x + s * (r + 1.6), 27.4), (x + s * r, 32)]) for s in (-1, 1)
                                for r in (8.6, 11)), alpha=0.8)


def _tide_scene(canvas: Canvas) -> None:
    hills(canvas, "#5f8f93", 42, 7, 504)
    sea(canvas, "#2f7480", "#f2ead0", 42, 64, 505)
    gull(canvas, 10, 25, 6, INK)
    gull(canvas, 15, 29, 4, INK)


def _tide_tool(canvas: Canvas) -> None:
    canvas.fill(INK, rect(45.6, 11, 7.6, 52), alpha=0.3)
    canvas.fill(PAPER, rect(45, 10.6, 7.6, 52))
    canvas.stroke(INK, 0.3, rect(45, 10.6, 7.6, 52))
    for metre in range(6):
        y = 15 + 7 * metre
        canvas.fill("#d9482f" if metre % 2 else INK, rect(45, y, 2.2, 3.5), rect(47.2, y + 3.5, 1.3, 3.5))
        canvas.text(50.6, y + 4.4, str(7 - metre), "sans-bold", 3.4, INK, "centre")
    canvas.fill("#2f7480", under(wave(38, 67, 51.4, 1.4, 10, 0.2), 64), alpha=0.92)
    canvas.stroke(FOAM, 0.45, smooth(wave(38, 67, 51.4, 1.4, 10, 0.2)))
    canvas.fill("#7a4a33", polygon((38.4, 40.2), (44.6, 38.4), (45.6, 44), (39.4, 45.8)))
    canvas.fill("#fffaf0", polygon((39, 40.6), (44.3, 39.1), (45, 43.6), (39.9, 45)))


def _pilot_scene(canvas: Canvas) -> None:
    canvas.fill("#ffdf9e", circle(46, 33, 9), alpha=0.95)
    hills(canvas, "#6b4a66", 42, 7, 506, -4, 45)
    sea(canvas, "#3c3357", "#f2a765", 42, 64, 507)
    gleam(canvas, 46, 42, 60, "#ffc476", 508, 5)


def _pilot_tool(canvas: Canvas) -> None:
    x, y = 46.8, 42.0
    canvas.stroke("#6b3f2a", 1.3, circle(x, y, 8.2))
    canvas.stroke("#8f5a3a", 0.6, circle(x, y, 6.4))
    for step in range(8):
        dx, dy = math.cos(math.pi * step / 4), math.sin(math.pi * step / 4)
        canvas.stroke("#6b3f2a", 0.9, open_line((x + 1.6 * dx, y + 1.6 * dy), (x + 11 * dx, y + 11 * dy)))
        canvas.fill("#8f5a3a", circle(x + 10.6 * dx, y + 10.6 * dy, 0.95))
    canvas.fill(BRASS, circle(x, y, 2.1))
    canvas.fill("#6b3f2a", circle(x, y, 0.9))


KEEPERS = (
    Keeper("The Wick Trimmer", "keeps the night watch", "Once a tide, take one dark lamp back into your hand.",
           "#c9932f",
           ("#141a36", "#1b2447", "#26325a", "#37456d", "#4c5b80"), _wick_scene, _wick_tool),
    Keeper("The Bell Ringer", "keeps the morning fog", "Once a tide, clear one fog card from any channel or lamp.",
           "#365f73",
           ("#9fb0b3", "#b4c0bf", "#c9cfc8", "#dcddd0", "#ece8d8"), _bell_scene, _bell_tool),
    Keeper("The Tide Reader", "keeps the noon height",
           "Look at the next tide before you light. Leave it, or put it under.", "#c2502f",
           ("#6fb0b5", "#8dc1bf", "#acd2c8", "#cbe1d0", "#e7eed9"), _tide_scene, _tide_tool),
    Keeper("The Pilot", "keeps the evening bar", "Once a tide, bring home a ship that lacks a reach of one.", "#26425f",
           ("#5a3a66", "#8a4d6a", "#bb6a63", "#e2935f", "#f7c07a"), _pilot_scene, _pilot_tool),
)


def keeper_card(keeper: Keeper) -> Canvas:
    number = KEEPERS.index(keeper)
    canvas = harbour_card()
    sky(canvas, keeper.sky, 44, 600 + number)
    keeper.scene(canvas)
    _figure(canvas, keeper.coat, number)
    keeper.tool(canvas)
    _arm(canvas, keeper.coat, number)
    panel(canvas, keeper.coat, 0.15 + number * 0.27)
    canvas.fill(INK, circle(8.8, 9, 5.5), alpha=0.85)
    canvas.fill(PAPER, circle(8.8, 9, 5))
    canvas.stroke(keeper.coat, 0.55, circle(8.8, 9, 4.3))
    _hat(canvas, 8.8, 8.7, 0.33, keeper.coat)
    title(canvas, keeper.name, keeper.hour)
    rules(canvas, keeper.rule, 77.4)
    return canvas


def _hat(canvas: Canvas, x: float, y: float, scale: float, coat: str) -> None:
    """A sou'wester: dome, and a brim that is longer at the neck."""
    with canvas.placed(x, y, scale):
        canvas.fill(mix(coat, INK, 0.22), smooth([(-7.6, 3), (0, 0.6), (9.6, 3.4), (11.4, 6.6), (5.4, 5), (-4.6, 4.6),
                                                  (-8.8, 5.4)], closed=True))
        canvas.fill(coat, smooth([(-6.4, 3.6), (-5.4, -3), (0, -6.6), (5.4, -3), (6.8, 3.6), (0, 2.4)], closed=True))
        canvas.stroke(mix(coat, INK, 0.3), 0.45, smooth([(0, -6.4), (0.8, -2), (0.4, 2.2)]))
        canvas.stroke(mix(coat, "#ffffff", 0.35), 0.5, smooth([(-4.4, 1), (-3.8, -2.6), (-1.8, -4.6)]))


def _figure(canvas: Canvas, coat: str, number: int) -> None:
    x = 27.0
    dark, light = mix(coat, INK, 0.3), mix(coat, "#ffffff", 0.2)
    body = [(x - 7, 32), (x - 13, 37), (x - 16.5, 50), (x - 18, 66), (x + 17, 66), (x + 15, 50), (x + 11.5, 37),
            (x + 6, 32)]
    canvas.fill(coat, smooth(body, closed=True))
    with canvas.inside(smooth(body, closed=True)):
        canvas.fill(dark, polygon((x + 3, 30), (x + 20, 30), (x + 20, 67), (x + 7, 67)), alpha=0.7)
        canvas.fill(light, polygon((x - 11, 40), (x - 9, 40), (x - 12, 67), (x - 15, 67)), alpha=0.6)
    canvas.stroke(mix(coat, INK, 0.5), 0.4, open_line((x, 35), (x + 0.8, 62)))
    canvas.fill(BRASS, *(circle(x - 2.2, 41 + 6 * step, 0.85) for step in range(4)))
    canvas.fill(dark, polygon((x - 8, 33), (x, 37.6), (x + 7.6, 33), (x + 5, 30), (x - 5.6, 30)))
    canvas.fill(SKIN, ellipse(x, 25.4, 5.6, 6.4))
    canvas.fill(mix(SKIN, INK, 0.22), smooth([(x + 1.2, 19.6), (x + 5.6, 22), (x + 5.4, 28), (x + 2, 31.4),
                                              (x + 3, 26)], closed=True), alpha=0.6)
    if number % 2 == 0:
        hair = BEARD if number == 0 else "#a5673f"
        canvas.fill(hair, smooth([(x - 5.7, 25.4), (x - 3, 27.2), (x, 26.8), (x + 3, 27.2), (x + 5.7, 25.4),
                                  (x + 5.2, 31), (x, 36), (x - 5.2, 31)], closed=True))
        canvas.stroke(mix(hair, INK, 0.45), 0.45, smooth([(x - 1.8, 29.4), (x, 30), (x + 1.8, 29.4)]))
    else:
        canvas.fill("#3c2a2a" if number == 1 else "#7a4a33",
                    smooth([(x - 5.8, 21), (x - 4.4, 26), (x - 5.4, 32.4), (x - 7.4, 31), (x - 7.2, 24)], closed=True),
                    smooth([(x + 5.8, 21), (x + 4.6, 26), (x + 5.6, 32.4), (x + 7.6, 31), (x + 7.2, 24)], closed=True))
        canvas.stroke(mix(SKIN, "#a5301f", 0.6), 0.5, smooth([(x - 1.7, 29), (x, 29.7), (x + 1.7, 29)]))
    canvas.fill(INK, circle(x - 2.2, 24.4, 0.55), circle(x + 2.4, 24.4, 0.55))
    canvas.stroke(mix(SKIN, INK, 0.4), 0.4, smooth([(x + 0.1, 24.6), (x + 0.8, 26.4), (x - 0.2, 26.8)]))
    canvas.fill("#d8785c", circle(x - 3.4, 26.6, 0.9), circle(x + 3.6, 26.6, 0.9), alpha=0.4)
    with canvas.placed(x, 18.6):
        _hat(canvas, 0, 0, 1.0, coat)


def _arm(canvas: Canvas, coat: str, number: int) -> None:
    hands = ((39.8, 41.4), (44.6, 42.6), (41.2, 44), (39.4, 45.2))
    x, y = hands[number]
    sleeve = [(31, 38), (35.6, 38.6), (x - 1.6, y - 2.4), (x + 0.4, y + 2.2), (35.4, 50), (30.4, 48)]
    canvas.fill(mix(coat, INK, 0.12), smooth(sleeve, closed=True))
    canvas.stroke(mix(coat, INK, 0.45), 0.35, smooth([(31, 47.6), (35.4, 49.8), (x + 0.2, y + 2.2)]))
    canvas.fill(SKIN, circle(x + 0.4, y, 2.1))
    canvas.fill(mix(SKIN, INK, 0.18), *(rounded(x + 0.8, y - 1.4 + 1.05 * step, 1.9, 0.8, 0.4) for step in range(3)))


def back_card() -> Canvas:
    """The back: a lens that throws four beams, the same when it is turned by half, dark to the edge on all sides."""
    canvas = harbour_card()
    x, y, sea_blue = MIDDLE, 44.0, "#1d3a52"
    canvas.fill(NIGHT, rect(-4, -4, 72, 97))
    for row in range(-1, 25):
        for column in range(-1, 10):
            cx, cy = column * 8 + (4 if row % 2 else 0) - 0.5, row * 4.0  # a half turn lays the pattern on itself
            for radius, tone in ((2.75, 0.35), (2.3, 0.92), (1.5, 0.45), (0.8, 0.95)):
                canvas.fill(mix(sea_blue, NIGHT, tone), circle(cx, cy, radius))
    for heading in (45, 135, 225, 315):
        for spread, alpha in ((26, 0.16), (14, 0.22), (6, 0.3)):
            canvas.fill("#f6b73c", wedge(x, y, heading, spread, 70), alpha=alpha)
    for radius, colour in ((19.4, INK), (18.6, BRASS), (17.8, NIGHT), (16.6, "#8a5f22"), (15.4, "#c98a2c"),
                           (13.2, "#f0ac3a"),
                           (10.4, "#f8c765"), (7.4, "#fde2a0"), (4.2, "#fff6dc")):
        canvas.fill(colour, circle(x, y, radius))
    canvas.stroke(INK, 0.35, *(circle(x, y, radius) for radius in (15.4, 13.2, 10.4, 7.4, 4.2)), alpha=0.55)
    for step in range(24):
        dx, dy = math.cos(math.pi * step / 12), math.sin(math.pi * step / 12)
        canvas.stroke(INK, 0.3, open_line((x + 10.4 * dx, y + 10.4 * dy), (x + 16.6 * dx, y + 16.6 * dy)), alpha=0.45)
        canvas.fill(PAPER, circle(x + 18.2 * dx, y + 18.2 * dy, 0.32))
    canvas.fill(INK, star(x, y, 8, 3.6, 1.3))
    for side in (-1, 1):
        _corner_lamps(canvas, x, y, side)
    return canvas


def _corner_lamps(canvas: Canvas, x: float, y: float, side: int) -> None:
    """The four lights on an axis above the lens and, turned by half, below it."""
    for step, colour in enumerate(("#e5573c", "#5cc088", "#f6b73c", "#fbf3d9")):
        cx, cy = x + side * (-12 + 8 * step), y - side * 31
        canvas.fill(INK, circle(cx, cy, 2.5))
        canvas.fill(colour, circle(cx, cy, 1.9))
        canvas.fill("#ffffff", circle(cx - side * 0.5, cy - side * 0.5, 0.6), alpha=0.6)
