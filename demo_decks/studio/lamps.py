"""The twenty lamps: four colours of light, five reaches, from a lantern on a hook to a lighthouse."""

from __future__ import annotations

from collections.abc import Callable

from studio.canvas import Canvas, mix
from studio.frame import badge, harbour_card, panel, rules, title
from studio.scenery import gleam, gull, halo, hills, moon, rock, sea, sky, stars
from studio.shapes import circle, ellipse, open_line, polygon, rect, rounded, smooth, under, wave, wedge
from studio.suits import BRASS, FOAM, INK, NIGHT, STONE, Suit, lens, mark, rhythm_bar

NAMES = {
    "red": ("Netmaker's Lantern", "Fish Quay Lamp", "Cinder Bank Buoy", "Lightship Ember", "Redcap Head"),
    "green": ("Diver's Lantern", "Weir Steps Lamp", "Samphire Buoy", "Lightship Tern", "Bottle Head"),
    "amber": ("Cooper's Lantern", "Ropewalk Lamp", "Honey Bank Buoy", "Lightship Wren", "Barley Head"),
    "white": ("Widow's Lantern", "Chapel Steps Lamp", "Salt Pan Buoy", "Lightship Swan", "Chalk Head"),
}
RULES = (
    "Light it out of turn, at the moment a ship is turned over.",
    "When you light it, look at the next tide and put it back.",
    "Fog never hides it: its bell is heard in any weather.",
    "Once a tide it may slip its chain and move to another channel.",
    "Seen from far out: it shines in two channels side by side.",
)
HORIZON = 43.0


def lamp_card(suit: Suit, reach: int) -> Canvas:
    seed = 100 * (list(NAMES).index(suit.name) + 1) + reach
    canvas = harbour_card()
    sky(canvas, suit.sky, HORIZON, seed)
    stars(canvas, mix(suit.light, "#ffffff", 0.5), 32, seed)
    moon_x = 22.0 if reach == 1 else 52.0 - seed % 4
    moon(canvas, moon_x, 8.5 + seed % 3, 3.2, 0.12 + 0.07 * reach, "#f6ecd0", suit.sky[1])
    hills(canvas, mix(suit.sky[2], suit.sky[4], 0.35), HORIZON, 5.5, seed, -4, 40)
    hills(canvas, suit.sky[2], HORIZON, 3.6, seed + 1, 24, 70)
    sea(canvas, suit.sea, suit.sky[4], HORIZON, 62, seed)
    _PICTURES[reach - 1](canvas, suit, seed)
    panel(canvas, suit.edge, seed * 0.17)
    badge(canvas, str(reach), suit.edge)
    lens(canvas, suit, 8.8, 19.2, 3.5)
    title(canvas, NAMES[suit.name][reach - 1], f"{suit.name} light, {suit.says}")
    rhythm_bar(canvas, suit, 11.5, 73.0, 40, 1.7)
    rules(canvas, RULES[reach - 1], 79.4)
    return canvas


def _lantern(canvas: Canvas, suit: Suit, seed: int) -> None:
    wood, x, y = mix(NIGHT, "#6b4a35", 0.55), 35.0, 34.0
    gleam(canvas, x, 47, 60, suit.light, seed, 5)
    canvas.fill(wood, polygon((51, 10), (54.4, 10), (55.4, 63), (50.4, 63)))
    canvas.fill(mix(wood, suit.light, 0.35), polygon((51, 10), (51.9, 10), (51.6, 63), (50.4, 63)))
    canvas.stroke(wood, 1.5, smooth([(53, 15.5), (45, 14), (37.5, 14.2), (35, 17), (35, 19)]))
    canvas.stroke(wood, 1.0, open_line((52.4, 24), (43.5, 14.6)))
    halo(canvas, x, y, suit.light, 23)
    canvas.stroke(INK, 0.7, smooth([(x - 5, 26.5), (x - 4.4, 21), (x, 19), (x + 4.4, 21), (x + 5, 26.5)]))
    canvas.fill(INK, polygon((x - 2.2, 22.2), (x + 2.2, 22.2), (x + 6.6, 27), (x - 6.6, 27)),
                rounded(x - 7, 41.2, 14, 3.4, 0.8), rounded(x - 5.4, 44, 10.8, 1.9, 0.6))
    canvas.fill(mix(suit.light, "#ffffff", 0.25), smooth([(x - 5.6, 27), (x + 5.6, 27), (x + 6.2, 34), (x + 5.4, 41.4),
                                                          (x - 5.4, 41.4), (x - 6.2, 34)], closed=True))
    canvas.fill(mix(suit.light, "#ffffff", 0.62), ellipse(x, 36, 3.4, 5.2))
    canvas.fill("#fffdf3", smooth([(x, 30), (x + 1.7, 36), (x, 39.4), (x - 1.7, 36)], closed=True))
    canvas.fill(BRASS, rounded(x - 2.2, 39.4, 4.4, 2, 0.4))
    canvas.stroke(INK, 0.55, open_line((x - 5.9, 30.6), (x + 5.9, 30.6)), open_line((x - 5.9, 38), (x + 5.9, 38)),
                  smooth([(x - 5.4, 27), (x - 6.2, 34), (x - 5.4, 41.4)]), smooth([(x + 5.4, 27), (x + 6.2, 34),
                                                                                   (x + 5.4, 41.4)]))


def _pier(canvas: Canvas, suit: Suit, seed: int) -> None:
    stone, x = mix(STONE, suit.sea, 0.35), 39.0
    light = mix(stone, suit.light, 0.42)
    halo(canvas, x, 20.5, suit.light, 21)
    gleam(canvas, 20, 47, 60, suit.light, seed, 3)
    canvas.fill(stone, polygon((24, 51), (70, 48), (70, 64), (18, 64), (18, 59.5), (20, 59.5), (20, 56.6), (22, 56.6),
                               (22, 53.8), (24, 53.8)))
    canvas.fill(light, polygon((24, 51), (70, 48), (70, 49.5), (24, 52.4)), rect(22, 53.8, 2, 0.6),
                rect(20, 56.6, 2, 0.6))
    for row in range(3):
        y = 54.5 + 2.8 * row
        canvas.stroke(mix(stone, NIGHT, 0.5), 0.28, open_line((24, y), (70, y - 1.2)))
        canvas.stroke(mix(stone, NIGHT, 0.5), 0.28, *(open_line((28 + 8 * k + 4 * (row % 2), y - 0.2 - 0.2 * k),
                                                               (28 + 8 * k + 4 * (row % 2),
                                                                y + 2.5 - 0.2 * k)) for k in range(5)))
    canvas.fill(INK, polygon((x - 0.75, 26), (x + 0.75, 26), (x + 1.2, 49), (x - 1.2, 49)),
                rounded(x - 2.8, 47.6, 5.6, 2.6, 0.5),
                rounded(x - 1.5, 33.5, 3, 1.2, 0.5), rounded(x - 1.9, 25.2, 3.8, 1.2, 0.4))
    canvas.fill(mix(suit.light, "#ffffff", 0.25), polygon((x - 2.4, 25.2), (x + 2.4, 25.2), (x + 4, 16.6),
                                                          (x - 4, 16.6)))
    canvas.fill("#fffdf3", ellipse(x, 21, 1.3, 2.7))
    canvas.stroke(INK, 0.5, polygon((x - 2.4, 25.2), (x + 2.4, 25.2), (x + 4, 16.6), (x - 4, 16.6)),
                  open_line((x, 25.2), (x, 16.6)))
    canvas.fill(INK, polygon((x - 5, 16.8), (x + 5, 16.8), (x + 1.2, 12.6), (x - 1.2, 12.6)), circle(x, 12, 0.9))
    canvas.stroke(INK, 0.6, smooth([(x, 31), (x + 4, 29.6), (x + 6.2, 31.8), (x + 4.6, 33.4)]))
    canvas.fill(INK, rounded(52.6, 44, 4.4, 5, 1.2), rounded(51.8, 43.2, 6, 1.7, 0.8))
    canvas.stroke(mix(BRASS, INK, 0.3), 0.7, smooth([(52.4, 47), (46, 50.4), (36, 51.5), (25, 55), (15, 58.5),
                                                     (5, 57)]))
    gull(canvas, 18, 26, 6.5, FOAM)
    gull(canvas, 24, 31, 4, FOAM)


def _buoy(canvas: Canvas, suit: Suit, seed: int) -> None:
    x = 34.0
    halo(canvas, x + 1.6, 17.4, suit.light, 21)
    gleam(canvas, x, 50, 60, suit.light, seed, 4)
    iron = mix(INK, suit.deep, 0.25)
    for side, foot in ((-1, x - 6.5), (1, x + 7.5)):
        canvas.stroke(iron, 1.1, open_line((x + 1.6 + side * 1.6, 21), (foot, 46)))
    canvas.stroke(iron, 0.7, open_line((x - 1.7, 29.5), (x + 5.2, 28.9)), open_line((x - 3.8, 36.6), (x + 6.3, 35.9)),
                  open_line((x - 1.7, 29.5), (x + 6.3, 35.9)), open_line((x + 5.2, 28.9), (x - 3.8, 36.6)))
    canvas.fill(BRASS, smooth([(x + 1.2, 31.2), (x + 3.3, 33), (x + 3.9, 36.2), (x - 1.3, 36.5), (x - 0.8, 33)],
                              closed=True))
    canvas.fill(INK, circle(x + 1.4, 37, 0.8))
    canvas.fill(mix(suit.light, "#ffffff", 0.3), rounded(x - 0.9, 14.6, 5, 6, 1.1))
    canvas.fill("#fffdf3", ellipse(x + 1.6, 17.6, 1.2, 2.1))
    canvas.fill(iron, rounded(x - 1.7, 20.2, 6.6, 1.5, 0.5), rounded(x - 1.5, 13.4, 6.2, 1.5, 0.5))
    canvas.stroke(iron, 0.5, open_line((x + 1.6, 13.4), (x + 1.5, 11.4)))
    mark(canvas, suit.mark, x + 1.4, 8.8, 2.7, suit.deep if suit.name == "white" else suit.light)
    body = [(x - 10, 46.2), (x, 44.6), (x + 10.6, 45.6), (x + 11, 50), (x + 7, 55.5), (x - 5, 56.4), (x - 10.6, 51)]
    canvas.fill(suit.deep, smooth(body, closed=True))
    with canvas.inside(smooth(body, closed=True)):
        canvas.fill(suit.light, rect(x - 13, 43, 9, 16), alpha=0.75)
        canvas.fill(mix(suit.light, "#ffffff", 0.5), rect(x - 13, 46.4, 28, 1.6), alpha=0.65)
        canvas.fill(INK, rect(x + 6, 43, 9, 16), alpha=0.3)
    water = mix(suit.sea, suit.sky[4], 0.12)
    canvas.fill(water, under(wave(-4, 67, 54.6, 2.6, 24, 0.1 + seed % 5 * 0.1), 64))
    canvas.stroke(FOAM, 0.4, smooth(wave(x - 15, x + 16, 54.2, 2.2, 24, 0.1 + seed % 5 * 0.1)), alpha=0.8)
    gull(canvas, 53, 24, 6, FOAM)


def _lightship(canvas: Canvas, suit: Suit, seed: int) -> None:
    x = 32.0
    for heading in (4, 176):
        canvas.fill(suit.light, wedge(x, 17.5, heading, 11, 48), alpha=0.3)
    halo(canvas, x, 17.5, suit.light, 15)
    gleam(canvas, x, 54, 60, suit.light, seed, 7)
    canvas.stroke(INK, 0.3, open_line((8, 46), (x, 12)), open_line((57, 45), (x, 12)), open_line((20, 47), (x, 22)),
                  open_line((45, 47), (x, 22)))
    canvas.fill(INK, polygon((x - 0.8, 12), (x + 0.8, 12), (x + 1.4, 48), (x - 1.4, 48)))
    for rung in range(7):
        canvas.stroke(mix(INK, suit.light, 0.3), 0.25, open_line((x - 2, 24 + 3 * rung), (x + 2, 24 + 3 * rung)))
    canvas.fill(mix(suit.light, "#ffffff", 0.3), rounded(x - 2.8, 14.8, 5.6, 5.6, 0.9))
    canvas.fill("#fffdf3", ellipse(x, 17.6, 1.3, 2))
    canvas.fill(INK, rounded(x - 3.6, 20, 7.2, 1.5, 0.5), polygon((x - 3.5, 15), (x + 3.5, 15), (x, 11.4)))
    canvas.stroke(INK, 0.4, open_line((x - 1, 15), (x - 1, 20)), open_line((x + 1, 15), (x + 1, 20)))
    mark(canvas, suit.mark, x, 8.4, 2.5, suit.deep if suit.name == "white" else suit.light)
    hull = [(4, 45.4), (11, 47.6), (32, 48.6), (52, 47.2), (60, 44.2), (57.6, 50.5), (55, 56.5), (10, 57), (6.6, 51)]
    canvas.fill(suit.deep, polygon(*hull))
    with canvas.inside(polygon(*hull)):
        canvas.fill(mix(suit.deep, INK, 0.5), rect(0, 53.6, 67, 6))
        canvas.fill(mix(suit.light, "#ffffff", 0.35), polygon((4, 45.4), (11, 47.6), (32, 48.6), (52, 47.2), (60, 44.2),
                                                             (60, 45.4), (52, 48.4), (32, 49.8), (11, 48.8), (4, 46.6)))
    name = NAMES[suit.name][3].split()[1].upper()
    canvas.text(x, 53.2, name, "sans-bold", 3.3, FOAM, "centre", tracking=1.7)
    canvas.fill(mix(INK, suit.deep, 0.3), rounded(15, 43.2, 9, 4.9, 0.6), rounded(40.5, 42.8, 8, 5, 0.6))
    canvas.fill(mix(suit.light, "#ffffff", 0.3), *(circle(cx, cy, 0.75) for cx,
                                                   cy in ((17.5, 45.4), (21.5, 45.4), (43, 45), (46.4, 45))))
    canvas.fill(mix(suit.sea, suit.sky[4], 0.08), under(wave(-4, 67, 56.4, 1.5, 13, seed * 0.13), 64))
    canvas.stroke(FOAM, 0.35, smooth(wave(5, 59, 56, 1.4, 13, seed * 0.13)), alpha=0.75)


def _lighthouse(canvas: Canvas, suit: Suit, seed: int) -> None:
    x = 36.0
    for heading, spread, alpha in ((-9, 9, 0.26), (-9, 17, 0.16), (171, 9, 0.26), (171, 17, 0.16)):
        canvas.fill(suit.light, wedge(x, 14.6, heading, spread, 60), alpha=alpha)
    halo(canvas, x, 14.6, suit.light, 16)
    gleam(canvas, 14, 46, 60, suit.light, seed, 4)
    stone = mix(NIGHT, suit.sky[2], 0.55)
    rock(canvas, stone, mix(stone, suit.sky[4], 0.38), 12, 78, 42, 63, seed)
    tower = polygon((x - 3.6, 20), (x + 3.6, 20), (x + 6.6, 48), (x - 6.6, 48))
    canvas.fill("#efe6d2", tower)
    with canvas.inside(tower):
        band = suit.deep
        for step in range(2):
            canvas.fill(band, rect(x - 9, 24.6 + 12.2 * step, 18, 6.2))
        canvas.fill(INK, polygon((x + 1.2, 19), (x + 9, 19), (x + 9, 50), (x + 2.4, 50)), alpha=0.3)
    canvas.fill(INK, *(rounded(x - 1.6, y, 1.8, 2.8, 0.8) for y in (21.8, 32.6)), rounded(x - 2, 43.4, 3.2, 4.8, 1.4))
    canvas.fill(mix(suit.light, "#ffffff", 0.35), rect(x - 2.7, 11.4, 5.4, 6.8))
    canvas.fill("#fffdf3", ellipse(x, 14.8, 1.5, 2.4))
    canvas.stroke(INK, 0.35, *(open_line((x + dx, 11.4), (x + dx, 18.2)) for dx in (-2.7, -0.9, 0.9, 2.7)),
                  open_line((x - 2.7, 13.6), (x + 2.7, 13.6)), open_line((x - 2.7, 16), (x + 2.7, 16)))
    canvas.fill(INK, rounded(x - 5.2, 18, 10.4, 1.3, 0.3),
                polygon((x - 4.2, 19.2), (x + 4.2, 19.2), (x + 3.4, 21), (x - 3.4, 21)))
    canvas.fill(suit.deep, smooth([(x - 3.4, 11.5), (x - 2.4, 8.6), (x, 7.2), (x + 2.4, 8.6), (x + 3.4, 11.5)]) + "\nh")
    canvas.fill(INK, circle(x, 6.8, 0.8), rect(x - 0.15, 4.4, 0.3, 2.4))
    canvas.stroke(INK, 0.3, open_line((x - 5, 16.4), (x + 5, 16.4)),
                  *(open_line((x + dx, 16.4), (x + dx, 18)) for dx in (-5, -3.4, 3.4, 5)))
    canvas.fill("#e7dcc4", rect(x + 7.6, 42.6, 9.4, 6))
    canvas.fill(suit.deep, polygon((x + 6.8, 43), (x + 17.8, 43), (x + 15.6, 39.4), (x + 9, 39.4)))
    canvas.fill(mix(suit.light, "#ffffff", 0.2), rect(x + 9.2, 44.6, 1.8, 1.8), rect(x + 13.4, 44.6, 1.8, 1.8))
    canvas.stroke(FOAM, 0.4, smooth(wave(8, 67, 58.4, 1.3, 9, seed * 0.3)), alpha=0.8)
    gull(canvas, 15, 30, 5.5, FOAM)
    gull(canvas, 20.5, 34.5, 3.8, FOAM)


_PICTURES: tuple[Callable[[Canvas, Suit, int], None], ...] = (_lantern, _pier, _buoy, _lightship, _lighthouse)
