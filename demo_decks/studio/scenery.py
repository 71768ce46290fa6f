"""Skies, seas and shores that every picture is set in. Each takes a seed, so no two cards share a sky."""

from __future__ import annotations

import math
import random
from collections.abc import Sequence
from itertools import pairwise

from studio.canvas import Canvas, mix
from studio.shapes import circle, ellipse, open_line, polygon, rect, smooth, star, under, wave

LEFT, RIGHT, TOP = -4.0, 67.0, -4.0


def sky(canvas: Canvas, colours: Sequence[str], horizon: float, seed: int) -> None:
    """Bands from the top down to the horizon, each with a slow wave for an edge."""
    chance = random.Random(seed)
    canvas.fill(colours[0], rect(LEFT, TOP, RIGHT - LEFT, horizon - TOP + 1))
    for step, colour in enumerate(colours[1:], start=1):
        level = TOP + (horizon - TOP) * (step / len(colours)) ** 0.85
        edge = wave(LEFT, RIGHT, level, 1.2 + 1.6 * chance.random(), 38 + 30 * chance.random(), chance.random())
        canvas.fill(colour, under(edge, horizon + 1))


def stars(canvas: Canvas, colour: str, bottom: float, seed: int, count: int = 34) -> None:
    chance = random.Random(seed)
    for number in range(count):
        x, share = LEFT + (RIGHT - LEFT) * chance.random(), chance.random() ** 1.4
        y, size = TOP + (bottom - TOP) * share, 0.13 + 0.2 * chance.random()
        if number % 9 == 0:
            canvas.fill(colour, star(x, y, 4, size * 3.4, size * 0.8))
        else:
            canvas.fill(colour, circle(x, y, size), alpha=0.9 - 0.5 * share)


def moon(canvas: Canvas, x: float, y: float, radius: float, phase: float, lit: str, dark: str) -> None:
    """``phase`` 0 new, 0.5 full, 1 new again; the lit limb is on the right while it waxes."""
    canvas.fill(dark, circle(x, y, radius))
    bulge = math.cos(2 * math.pi * phase)
    side = 1 if phase <= 0.5 else -1
    limb = [(x + side * radius * math.sin(a), y - radius * math.cos(a))
            for a in (math.pi * step / 24 for step in range(25))]
    terminator = [(x + side * bulge * radius * math.sin(a), y - radius * math.cos(a))
                  for a in (math.pi * step / 24 for step in range(24, -1, -1))]
    canvas.fill(lit, polygon(*limb, *terminator))


def hills(canvas: Canvas, colour: str, horizon: float, height: float, seed: int, left: float = LEFT,
          right: float = RIGHT) -> None:
    """A far shore that rises and falls to the horizon at both ends."""
    chance = random.Random(seed)
    steps = 9
    points = [(left, horizon + 0.5)]
    for step in range(1, steps):
        shape = math.sin(math.pi * step / steps)
        points.append((left + (right - left) * step / steps,
                       horizon - height * shape * (0.35 + 0.65 * chance.random())))
    canvas.fill(colour, under([*points, (right, horizon + 0.5)], horizon + 0.6))


def sea(canvas: Canvas, colour: str, glint: str, top: float, bottom: float, seed: int) -> None:
    """Water from the horizon down, darker towards the viewer, with strokes that lengthen as they come near."""
    chance = random.Random(seed)
    canvas.fill(mix(colour, glint, 0.22), rect(LEFT, top, RIGHT - LEFT, bottom - top))
    for step, share in enumerate((0.16, 0.1, 0.04, 0.0)):
        level = top + (bottom - top) * (0.14 + 0.23 * step)
        edge = wave(LEFT, RIGHT, level, 0.7 + 0.35 * step, 11 + 5 * step, chance.random())
        canvas.fill(mix(colour, glint, share), under(edge, bottom + 1))
    for _ in range(26):
        depth = chance.random()
        y = top + 0.8 + (bottom - top - 1.5) * depth
        x, length = LEFT + (RIGHT - LEFT) * chance.random(), 1.2 + 4.5 * depth
        canvas.stroke(mix(colour, glint, 0.42 - 0.16 * depth), 0.16 + 0.14 * depth,
                      smooth([(x, y), (x + length / 2, y - 0.25 - 0.3 * depth), (x + length, y)]))


def gleam(canvas: Canvas, x: float, top: float, bottom: float, colour: str, seed: int, width: float = 3.2) -> None:
    """The light's own road over the water."""
    chance = random.Random(seed)
    rows = int((bottom - top) / 0.95)
    for row in range(rows):
        depth = row / max(1, rows - 1)
        half = width * (0.35 + 0.9 * depth) * (0.55 + 0.45 * chance.random())
        drift = (chance.random() - 0.5) * 1.4 * (0.3 + depth)
        canvas.fill(colour, ellipse(x + drift, top + 0.5 + row * 0.95, half, 0.24 + 0.1 * depth),
                    alpha=0.88 - 0.42 * depth)


def halo(canvas: Canvas, x: float, y: float, colour: str, radius: float) -> None:
    for share, alpha in ((1.0, 0.1), (0.68, 0.14), (0.42, 0.22), (0.24, 0.4)):
        canvas.fill(colour, circle(x, y, radius * share), alpha=alpha)


def gull(canvas: Canvas, x: float, y: float, span: float, colour: str) -> None:
    half = span / 2
    canvas.stroke(colour, span * 0.075, smooth([(x - half, y - span * 0.02), (x - half * 0.5, y - span * 0.2), (x, y)]),
                  smooth([(x, y), (x + half * 0.5, y - span * 0.2), (x + half, y - span * 0.02)]))


def fog(canvas: Canvas, colour: str, level: float, height: float, seed: int, alpha: float = 0.55) -> None:
    """A bank of fog: long rounded streaks, the middle thickest."""
    chance = random.Random(seed)
    for row in range(7):
        y = level + height * (row / 6 - 0.5)
        long = 18 + 34 * chance.random()
        x = LEFT + (RIGHT - LEFT) * chance.random()
        thick = 0.8 + 1.7 * math.sin(math.pi * (row + 0.5) / 7)
        canvas.fill(colour, ellipse(x, y, long, thick), alpha=alpha)


def rock(canvas: Canvas, colour: str, edge: str, left: float, right: float, top: float, bottom: float,
         seed: int) -> None:
    """A craggy rock with its lit facets."""
    chance = random.Random(seed)
    steps = 7
    crest = [(left, bottom)]
    for step in range(1, steps):
        share = step / steps
        lift = (bottom - top) * min(1.0, 2.6 * min(share, 1 - share)) * (0.82 + 0.18 * chance.random())
        crest.append((left + (right - left) * share, bottom - lift))
    crest.append((right, bottom))
    canvas.fill(colour, polygon(*crest))
    for (x, y), (x2, y2) in pairwise(crest[1:-1]):
        foot = (x + x2) / 2 + 0.6, min(bottom, max(y, y2) + (bottom - top) * (0.2 + 0.3 * chance.random()))
        canvas.fill(edge, polygon((x, y), (x2, y2), foot), alpha=0.55)
    canvas.stroke(edge, 0.2, open_line(*crest[1:-1]))
