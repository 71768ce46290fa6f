"""Stormwreck: what the sea left on the sand, drawn to be saved with faults."""

from __future__ import annotations

import math
import random
from collections.abc import Callable

from PIL import Image, ImageFilter

from studio.canvas import Canvas, mix
from studio.frame import BLEED, HEIGHT, MIDDLE, WIDTH, harbour_card, rules, title
from studio.scenery import gull, sea, sky
from studio.shapes import circle, ellipse, open_line, polygon, rect, rounded, smooth, star, under, wave
from studio.suits import BRASS, FOAM, INK, PAPER, STONE

WOOD, SAND, IRON, STORM = "#7a5238", "#d8c199", "#4a4f5c", ("#2a3340", "#3a4653", "#4f5d67", "#6d7a7d", "#97a09a")


def _anchor(canvas: Canvas) -> None:
    for colour, width, shift in ((mix(IRON, INK, 0.6), 3.4, 0.5), (IRON, 2.6, 0.0)):
        canvas.stroke(colour, width, open_line((32 + shift, 20), (28 + shift, 50)),
                      smooth([(14, 40), (17, 50), (27, 53.6), (39, 51), (46, 43.5)]), open_line((23.5, 24.5), (40, 27)))
        canvas.stroke(colour, width * 0.6, circle(32.6 + shift, 16.4, 3.2))
    canvas.fill(IRON, polygon((11, 44), (13.4, 35), (19, 42)), polygon((42, 39.6), (49, 38.5), (47.6, 47)))


def _barrel(canvas: Canvas) -> None:
    body = smooth([(18, 24), (31, 22.4), (45, 24), (48, 37), (45, 51), (31, 53), (18, 51), (15, 37)], closed=True)
    canvas.fill(WOOD, body)
    with canvas.inside(body):
        for step in range(7):
            x = 13 + 5.6 * step
            canvas.stroke(mix(WOOD, INK, 0.45), 0.4, smooth([(x + 2, 20), (x, 38), (x + 2, 56)]))
        canvas.fill(IRON, rect(10, 28, 44, 3), rect(10, 44, 44, 3))
        canvas.fill("#ffffff", rect(18, 20, 4, 36), alpha=0.12)
    canvas.fill(mix(WOOD, INK, 0.7), circle(33, 37.5, 2))


def _compass(canvas: Canvas) -> None:
    for radius, colour in ((16.5, INK), (15.6, BRASS), (13, PAPER), (12.4, INK), (12.1, PAPER)):
        canvas.fill(colour, circle(MIDDLE, 36, radius))
    canvas.fill(IRON, star(MIDDLE, 36, 4, 11, 2.4, -72))
    canvas.fill("#d9482f", polygon((MIDDLE - 2, 36), (MIDDLE + 2, 36.8), (MIDDLE + 4.4, 25.4)))
    canvas.fill(BRASS, circle(MIDDLE, 36, 1.5))


def _lantern(canvas: Canvas) -> None:
    x = MIDDLE
    canvas.stroke(INK, 0.8, smooth([(x - 6, 24), (x - 5, 17), (x, 15), (x + 5, 17), (x + 6, 24)]))
    canvas.fill(INK, polygon((x - 3, 19), (x + 3, 19), (x + 8, 24.6), (x - 8, 24.6)),
                rounded(x - 8.6, 45, 17.2, 4.6, 1))
    canvas.fill("#9fb6b4", polygon((x - 7, 24.6), (x + 7, 24.6), (x + 7.6, 45), (x - 7.6, 45)))
    canvas.stroke(FOAM, 0.35, open_line((x - 5, 27), (x - 1, 34), (x - 4, 38)), open_line((x - 1, 34), (x + 4, 31)))
    canvas.stroke(INK, 0.8, open_line((x - 7.2, 31), (x + 7.2, 31)), open_line((x - 7.4, 39), (x + 7.4, 39)))


def _bottle(canvas: Canvas) -> None:
    glass = smooth([(9, 44), (12, 37), (34, 31), (43, 26), (52, 23), (53, 26.6), (45, 31), (39, 39), (17, 47.4)],
                   closed=True)
    canvas.fill("#4f8a72", glass)
    with canvas.inside(glass):
        canvas.fill(PAPER, polygon((15, 42), (33, 34.6), (35, 39.4), (18, 46)))
        canvas.fill("#ffffff", polygon((10, 40), (40, 29), (41, 30), (11, 41.6)), alpha=0.5)
    canvas.fill(WOOD, polygon((51.4, 22.8), (55.6, 21.2), (56.8, 24.4), (52.8, 26.6)))


def _chest(canvas: Canvas) -> None:
    canvas.fill(WOOD, rounded(13, 34, 37, 18, 1), smooth([(12.4, 34), (14, 25), (31, 21.6), (49, 25),
                                                          (50.6, 34)]) + "\nh")
    for x in (17, 42.6):
        canvas.fill(BRASS, rect(x, 24, 3.4, 28))
    canvas.fill(mix(WOOD, INK, 0.5), rect(12.4, 33.4, 38.2, 1.2))
    canvas.fill(BRASS, rounded(28.4, 31, 6.2, 7, 0.8))
    canvas.fill(INK, circle(31.5, 34, 1.1), polygon((31, 34), (32, 34), (32.5, 36.8), (30.5, 36.8)))


def _wheel(canvas: Canvas) -> None:
    canvas.stroke(mix(WOOD, INK, 0.2), 2.6, circle(MIDDLE, 36, 11.4))
    canvas.stroke(BRASS, 0.5, circle(MIDDLE, 36, 11.4))
    for step in (0, 1, 2, 4, 5, 7):
        dx, dy = math.cos(math.pi * step / 4 + 0.2), math.sin(math.pi * step / 4 + 0.2)
        canvas.stroke(mix(WOOD, INK, 0.2), 1.5, open_line((MIDDLE, 36), (MIDDLE + 16 * dx, 36 + 16 * dy)))
    canvas.fill(BRASS, circle(MIDDLE, 36, 3.2))
    canvas.fill(INK, circle(MIDDLE, 36, 1.2))


WRECKAGE: dict[str, tuple[str, str, Callable[[Canvas], None]]] = {
    "anchor": ("Anchor", "Worth 4, but nothing else may be carried.", _anchor),
    "barrel": ("Barrel", "Worth 2. It floats: keep it through a flood.", _barrel),
    "compass": ("Compass", "Worth 3. Choose who goes first.", _compass),
    "lantern": ("Broken Lantern", "Worth 1, or 5 with a bottle of oil.", _lantern),
    "bottle": ("Bottle", "Worth 1. Read the letter: draw a card.", _bottle),
    "chest": ("Sea Chest", "Worth what lies on it.", _chest),
    "wheel": ("Ship's Wheel", "Worth 3. Turn the row of cards by one.", _wheel),
}
_FLAGS = ("#e5573c", "#5cc088", "#f6b73c", "#8fb0c4", "#b06f9a", "#3f8f8a", "#6f8f52", "#d98a4a")


def wreck_card(which: str) -> Canvas:
    name, rule, draw = WRECKAGE[which]
    number = list(WRECKAGE).index(which)
    canvas = harbour_card()
    sky(canvas, STORM, 30, 300 + number)
    canvas.stroke("#aeb8b8", 0.2, *(open_line((-6 + 4.6 * step, -4 + step * 7 % 9), (-9 + 4.6 * step, 6 + step * 7 % 9))
                                    for step in range(17)))
    sea(canvas, "#3a5058", FOAM, 27, 42, 310 + number)
    gull(canvas, 50, 12, 6, FOAM)
    canvas.fill(FOAM, under(wave(-4, 67, 38.6, 1.6, 22, 0.13 * number), 60))
    canvas.fill(SAND, under(wave(-4, 67, 40, 1.8, 25, 0.17 * number + 0.2), 95))
    canvas.fill(mix(SAND, INK, 0.25), ellipse(MIDDLE, 51.6, 20, 3.2), alpha=0.6)
    draw(canvas)
    canvas.fill(SAND, under(wave(6, 57, 51.4, 1.2, 19, 0.3), 56))
    for step in range(30):
        canvas.fill(mix(SAND, INK, 0.3), circle((step * 19.7) % 66 - 1, 56 + (step * 7.3) % 33, 0.22))
    canvas.fill(PAPER, rounded(4, 60, 55, 24, 2))
    canvas.stroke(STONE, 0.4, rounded(5, 61, 53, 22, 1.4))
    title(canvas, name, "wreckage", 67.6)
    rules(canvas, rule, 77.0, 46)
    return canvas


def flag_back(number: int) -> Canvas:
    """A back with an even frame near the edge: it shows every slip of the printer."""
    canvas = harbour_card()
    colour = _FLAGS[number]
    canvas.fill("#22303d", rect(-BLEED - 1, -BLEED - 1, WIDTH + 8, HEIGHT + 8))
    canvas.stroke(PAPER, 0.8, rect(3.5, 3.5, WIDTH - 7, HEIGHT - 7))
    canvas.fill(colour, rect(14, 30, 35, 28))
    if number % 3 == 0:
        canvas.fill(PAPER, rect(14, 39.4, 35, 9.2))
    elif number % 3 == 1:
        canvas.fill(PAPER, polygon((14, 30), (31.5, 44), (14, 58)))
    else:
        canvas.fill(PAPER, circle(MIDDLE, 44, 8))
    canvas.stroke(INK, 0.4, rect(14, 30, 35, 28))
    canvas.fill(WOOD, rect(12, 22, 2, 50))
    return canvas


def _cloud(width: int, height: int, cell: int, seed: int) -> Image.Image:
    chance = random.Random(seed)
    across, down = max(2, width // cell), max(2, height // cell)
    grey = Image.frombytes("L", (across, down), bytes(int(256 * chance.random()) for _ in range(across * down)))
    return grey.resize((width, height), Image.Resampling.BICUBIC)


def photograph(width: int, height: int) -> Image.Image:
    """A grey morning with a wreck, soft and grainy as a small camera sees it."""
    ramp = Image.linear_gradient("L").resize((width, height))
    clouds = Image.blend(_cloud(width, height, 160, 1), _cloud(width, height, 44, 2), 0.4)
    light = Image.blend(ramp, clouds, 0.34)
    air = Image.merge("RGB", [light.point([min(255, base + level * share // 100) for level in range(256)])
                              for base, share in ((84, 62), (96, 58), (112, 46))])
    scene = Canvas(WIDTH, HEIGHT, BLEED)
    scene.fill("#000000", rect(-4, -4, 72, 97))
    scene.fill("#ffffff", under(wave(-4, 67, 57, 2.6, 60, 0.4), 95))
    scene.fill("#ffffff", polygon((10, 60), (16, 47), (23, 44), (47, 51), (55, 49), (52, 62)),
               polygon((27, 46), (36, 14), (37.6, 14.6), (30, 47)),
               polygon((41, 50), (52, 30), (53, 30.8), (43.4, 51)))
    scene.fill("#ffffff", *(rect(x, 40 - x / 9, 0.5, 6) for x in range(18, 50, 4)))
    scene.stroke("#ffffff", 0.5, open_line((36.6, 14.6), (12, 56)), open_line((36.6, 14.6), (56, 52)),
                 open_line((35, 22), (52.6, 30.6)))
    mask = scene.picture().convert("L").resize((width, height)).filter(ImageFilter.GaussianBlur(1.6))
    rough = Image.blend(_cloud(width, height, 90, 3), _cloud(width, height // 3, 9, 5).resize((width, height)), 0.45)
    ground = Image.merge("RGB", [rough.point([base + level * 46 // 255 for level in range(256)])
                                 for base in (34, 31, 28)])
    picture = Image.composite(ground, air, mask)
    grain = Image.merge("RGB", [_cloud(width, height, 2, 4)] * 3)
    return Image.blend(picture, grain, 0.06).filter(ImageFilter.GaussianBlur(0.7))
