"""The eight ships that wait outside the bar: what they ask to see, and what they bring home."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

from studio.canvas import Canvas, mix
from studio.frame import MIDDLE, badge, harbour_card, panel, rules, title
from studio.scenery import fog, gull, hills, sea, sky
from studio.shapes import Point, circle, open_line, polygon, rect, rounded, sides, smooth, under, wave
from studio.suits import BRASS, FOAM, INK, PAPER, SUIT, lens

SAIL, DECK, EDGE = "#f1e3c4", "#8a5a3c", "#d9a066"


@dataclass(frozen=True, slots=True)
class Ship:
    """``asks`` pairs a colour of light with the reach that it needs; ``berths`` is what the ship scores."""

    name: str
    kind: str
    berths: int
    asks: tuple[tuple[str, int], ...]
    says: str
    hull: str
    draw: Callable[[Canvas, str], None]


def _hull(canvas: Canvas, colour: str, points: tuple[Point, ...], line: float) -> None:
    canvas.fill(colour, polygon(*points))
    with canvas.inside(polygon(*points)):
        canvas.fill(mix(colour, INK, 0.55), rect(-4, line, 72, 12))
        canvas.fill(mix(colour, "#ffffff", 0.4), rect(-4, line - 0.7, 72, 0.7))


def _mast(canvas: Canvas, x: float, top: float, foot: float) -> None:
    canvas.fill(mix(INK, DECK, 0.5), polygon((x - 0.35, top), (x + 0.35, top), (x + 0.6, foot), (x - 0.6, foot)))


def _sail(canvas: Canvas, colour: str, *points: Point) -> None:
    canvas.fill(colour, smooth(points, closed=True) if len(points) > 4 else polygon(*points))
    (x, y), (x2, y2) = points[0], points[len(points) // 2]
    canvas.stroke(mix(colour, INK, 0.28), 0.2, open_line((x, y), ((x + 2 * x2) / 3, (y + 2 * y2) / 3)))


def _panes(canvas: Canvas, y: float, *xs: float, radius: float = 0.65) -> None:
    canvas.fill("#ffd98a", *(circle(x, y, radius) for x in xs))


def _smoke(canvas: Canvas, x: float, y: float, size: float, colour: str) -> None:
    for step, alpha in enumerate((0.75, 0.6, 0.45, 0.32, 0.2)):
        canvas.fill(colour, circle(x + step * size * 0.9, y - step * size * 0.5, size * (0.42 + 0.2 * step)),
                    alpha=alpha)


def _cutter(canvas: Canvas, hull: str) -> None:
    _mast(canvas, 33, 14, 47)
    _sail(canvas, SAIL, (32.4, 18), (32.4, 43), (14.5, 44.5), (21, 21))
    _sail(canvas, mix(SAIL, EDGE, 0.35), (33.8, 15.5), (47.5, 45), (34, 44))
    _sail(canvas, mix(SAIL, EDGE, 0.12), (36, 18), (55.5, 45.6), (47, 44.6))
    canvas.text(23.8, 36, "7", "serif-bold", 6, mix(SAIL, INK, 0.55), "centre")
    canvas.stroke(INK, 0.35, open_line((32, 44), (14, 45)), open_line((46, 46.6), (57, 45.2)))
    _hull(canvas, hull, ((12.5, 46.4), (49, 47), (51.4, 45.8), (46, 52.6), (18, 52.6)), 50.4)
    canvas.fill("#c9473a", polygon((33, 14), (33, 11.4), (38, 12.8)))


def _ketch(canvas: Canvas, hull: str) -> None:
    rust = "#a8512f"
    _mast(canvas, 34, 10.5, 47)
    _mast(canvas, 15.5, 20, 47)
    _sail(canvas, rust, (33.4, 17), (33.4, 43.6), (18, 44.6), (23.5, 14.5))
    _sail(canvas, mix(rust, "#ffffff", 0.14), (15, 24), (15, 43.8), (5.5, 44.6), (8.5, 22.6))
    _sail(canvas, mix(rust, "#ffffff", 0.24), (34.6, 12), (50.5, 44.8), (35, 43.6))
    _sail(canvas, mix(rust, EDGE, 0.35), (38.6, 18), (59, 45), (51, 44.2))
    _hull(canvas, hull, ((7, 45.4), (16, 47.4), (44, 47.4), (55.5, 44.8), (50, 53), (12, 53)), 50.8)
    canvas.fill(DECK, rounded(37, 45.4, 6, 2.2, 0.4))


def _tug(canvas: Canvas, hull: str) -> None:
    _smoke(canvas, 26, 18.5, 4.2, "#4a4a5e")
    canvas.fill(INK, rect(21.6, 22, 6.6, 17))
    canvas.fill("#d1553a", rect(21.6, 25.6, 6.6, 4.4))
    canvas.fill(PAPER, rounded(30, 29.4, 14.6, 15, 0.6), rounded(17, 37.4, 28, 9, 0.6))
    canvas.fill(mix(PAPER, INK, 0.3), rect(30, 36.6, 14.6, 0.9))
    canvas.fill(DECK, rounded(28.8, 28, 17, 2, 0.5))
    canvas.fill("#ffd98a", *(rounded(x, 31.6, 3.4, 3.4, 0.4) for x in (31.4, 35.8, 40.2)))
    _panes(canvas, 41.6, 21.5, 27, 32.5, 38, radius=1.15)
    _mast(canvas, 47.6, 22, 44)
    canvas.stroke(INK, 0.25, open_line((47.6, 23), (56, 43)), open_line((47.6, 23), (30, 28)))
    _hull(canvas, hull, ((8.5, 44.4), (18, 46.4), (42, 46), (58.4, 40.6), (55, 53.4), (12.5, 53.4)), 50.6)
    canvas.fill(INK, *(circle(14 + 6.5 * step, 48.8 - 0.04 * step * step, 1.4) for step in range(7)))
    canvas.fill(mix(hull, INK, 0.2), *(circle(14 + 6.5 * step, 48.8 - 0.04 * step * step, 0.6) for step in range(7)))


def _packet(canvas: Canvas, hull: str) -> None:
    _smoke(canvas, 33.5, 17, 3.6, "#55586c")
    for x in (17.5, 48):
        _mast(canvas, x, 15, 45)
    canvas.stroke(INK, 0.25, open_line((3, 43), (17.5, 16)), open_line((17.5, 16), (48, 16)),
                  open_line((48, 16), (61, 42)))
    canvas.fill(BRASS, polygon((29.6, 20.4), (35.6, 20.4), (36, 40), (29.2, 40)))
    canvas.fill(INK, rect(29.4, 20.2, 6.4, 3.2))
    canvas.fill(PAPER, rounded(13, 39, 40, 7, 0.6), rounded(22, 35, 21, 5, 0.6))
    _panes(canvas, 42.6, *(16.4 + 4.2 * step for step in range(9)), radius=0.95)
    _panes(canvas, 37.4, *(25 + 3.8 * step for step in range(5)), radius=0.8)
    _hull(canvas, hull, ((3.5, 44.6), (12, 46), (52, 46), (61.4, 42.6), (57, 53.2), (8, 53.2)), 50.8)
    canvas.fill(mix(hull, "#ffffff", 0.18), circle(32.5, 48.2, 6.4))
    canvas.fill(mix(hull, INK, 0.25), circle(32.5, 48.2, 5.2))
    spokes = ((0, 5), (3.5, 3.5), (5, 0), (3.5, -3.5))
    canvas.stroke(mix(hull, "#ffffff", 0.35), 0.4, *(open_line((32.5 - dx, 48.2 - dy), (32.5 + dx, 48.2 + dy)) for dx,
                                                     dy in spokes))


def _dredger(canvas: Canvas, hull: str) -> None:
    iron = "#5d5a58"
    canvas.fill(PAPER, rounded(40, 31, 13, 14, 0.5))
    canvas.fill(mix(PAPER, INK, 0.5), rounded(39, 29.6, 15, 1.8, 0.4))
    canvas.fill("#ffd98a", *(rounded(x, 33, 3, 3, 0.3) for x in (41.4, 45.4, 49.2)))
    _panes(canvas, 40.6, 42.8, 46.8, 50.8, radius=0.9)
    canvas.fill(INK, rect(54.2, 27.4, 3.4, 17))
    _smoke(canvas, 56.4, 24.6, 2.6, "#55586c")
    frame = ((6, 45), (24, 15), (27.6, 15), (36, 45))
    canvas.stroke(iron, 1.0, open_line(*frame[:2]), open_line(*frame[2:]), open_line(frame[1], frame[2]),
                  open_line((12.6, 34), (32.9, 34)), open_line((18.4, 24.4), (30.2, 24.4)),
                  open_line((12.6, 34), (30.2, 24.4)), open_line((18.4, 24.4), (32.9, 34)))
    canvas.stroke(mix(iron, "#ffffff", 0.3), 1.6, open_line((26, 18), (12, 58)))
    for step in range(9):
        x, y = 26.4 - 1.55 * step, 19.5 + 4.4 * step
        canvas.fill(BRASS, polygon((x - 1.9, y - 1.2), (x + 1.4, y - 0.2), (x + 0.6, y + 1.9), (x - 1.6, y + 1.2)))
    canvas.fill(INK, circle(25.9, 16.6, 2.3))
    canvas.fill(mix(iron, "#ffffff", 0.4), circle(25.9, 16.6, 1.1))
    _hull(canvas, hull, ((3.5, 45), (59.5, 45), (57.5, 53.4), (6, 53.4)), 50.4)
    canvas.fill(mix(hull, INK, 0.4), *(rounded(20 + 5 * step, 46.4, 2.6, 2, 0.4) for step in range(4)))


def _trawler(canvas: Canvas, hull: str) -> None:
    _mast(canvas, 39, 15, 46)
    _mast(canvas, 13, 23, 46)
    canvas.stroke(INK, 0.25, open_line((39, 16), (58.5, 41)), open_line((39, 16), (13, 24)),
                  open_line((13, 24), (7, 45)))
    canvas.stroke(INK, 0.7, open_line((39, 40), (52, 24.5)), open_line((52, 24.5), (39, 18)))
    net = [(52, 24.6), (54, 33), (51.2, 41), (46.4, 42), (45.6, 35)]
    canvas.fill("#7f9a86", smooth(net, closed=True), alpha=0.55)
    with canvas.inside(smooth(net, closed=True)):
        canvas.stroke("#dbe6d4", 0.16, *(open_line((36 + 1.6 * k, 22), (46 + 1.6 * k, 44)) for k in range(12)),
                      *(open_line((56 - 1.6 * k + 8, 22), (44 - 1.6 * k + 8, 44)) for k in range(12)))
    canvas.fill(PAPER, rounded(15.5, 31.6, 12.5, 14, 0.5))
    canvas.fill(hull, rounded(14.4, 30, 14.8, 2.2, 0.5))
    canvas.fill("#ffd98a", *(rounded(x, 33.8, 3.2, 3.2, 0.3) for x in (17, 22.4)))
    _panes(canvas, 41.4, 18.8, 24.4, radius=1.0)
    canvas.fill(DECK, rounded(30.4, 42, 6, 4, 0.4), rounded(42.5, 43, 5, 3, 0.4))
    _hull(canvas, hull, ((6, 43.6), (16, 46.4), (42, 46), (60.4, 39.6), (55.4, 53.4), (11.4, 53.4)), 50.6)
    canvas.text(50.4, 48.6, "HL 12", "sans-bold", 2.4, FOAM, "centre")
    for x, y in ((8, 35), (4.5, 38.4), (31, 27)):
        gull(canvas, x, y, 3.6, FOAM)


def _steamer(canvas: Canvas, hull: str) -> None:
    for x, y, size in ((19.6, 17.4, 2.8), (29.6, 16.2, 3.0), (39.6, 17.4, 2.8)):
        _smoke(canvas, x, y, size, "#63667a")
    for x in (18, 28, 38):
        canvas.fill("#c4573d", polygon((x - 1.9, 19.6), (x + 2.3, 19.6), (x + 1.9, 37), (x - 2.3, 37)))
        canvas.fill(INK, rect(x - 2, 19.4, 4.4, 3.4))
    for x in (8.5, 51.5):
        _mast(canvas, x, 15.6, 43)
    canvas.stroke(INK, 0.2, open_line((8.5, 16), (51.5, 16)), open_line((51.5, 16), (63.5, 40)),
                  open_line((8.5, 16), (-2, 41)))
    canvas.fill(PAPER, rounded(11, 34.4, 38, 4.4, 0.4), rounded(6, 38.2, 48, 5, 0.4), rounded(43, 31.4, 6.6, 4, 0.4))
    canvas.stroke(mix(PAPER, INK, 0.35), 0.25, open_line((6, 38.4), (54, 38.4)))
    _panes(canvas, 36.6, *(13.4 + 2.75 * step for step in range(13)), radius=0.55)
    _panes(canvas, 40.8, *(8.6 + 2.75 * step for step in range(17)), radius=0.6)
    _hull(canvas, hull, ((-1.5, 41.6), (6, 42.8), (54, 42.8), (65, 39.4), (60.2, 53.4), (3.2, 53.4)), 50.4)
    _panes(canvas, 45.8, *(8 + 4 * step for step in range(12)), radius=0.5)


def _barque(canvas: Canvas, hull: str) -> None:
    for x, top, span in ((15, 14, 5.6), (30, 8, 7.0), (45, 12, 6.2)):
        _mast(canvas, x, top, 45)
        canvas.stroke(INK, 0.2, open_line((x, top + 2), (x - span - 3, 44)),
                      open_line((x, top + 2), (x + span + 3, 44)))
        levels = [top + 3 + (39 - top) * share for share in (0.0, 0.25, 0.53, 0.86)]
        for step, (y, y2) in enumerate(pairwise(levels)):
            half, half2 = span * (0.62 + 0.2 * step), span * (0.74 + 0.2 * step)
            shade = mix(SAIL, EDGE, 0.1 * step)
            right, left = (x + half2 + 0.6, y2 - 0.7), (x - half2 + 0.4, y2 - 0.7)
            canvas.fill(shade, sides([(x - half + 1, y), (x + half + 1, y)],
                                     [(x + half + 1, y), (x + half2 + 2.4, (y + y2) / 2), right],
                                     [right, (x + 1.6, y2 - 1.7), left],
                                     [left, (x - half + 2, (y + y2) / 2), (x - half + 1, y)]))
            canvas.stroke(INK, 0.4, open_line((x - half, y), (x + half + 1.4, y)))
    _sail(canvas, mix(SAIL, EDGE, 0.2), (48, 17), (62.5, 41.6), (53, 42.6))
    canvas.stroke(INK, 0.5, open_line((55, 43.6), (64, 40.4)))
    _hull(canvas, hull, ((3, 42.6), (12, 45), (46, 45.6), (58.6, 42.6), (53, 53.4), (8, 53.4)), 50.6)
    canvas.fill(FOAM, *(rounded(12 + 5 * step, 47, 2, 1.6, 0.2) for step in range(8)))
    canvas.fill("#c9473a", polygon((30, 8), (30, 5), (23.4, 6.2)))


SHIPS = (
    Ship("Little Auk", "pilot cutter", 1, (("white", 2),), "First in, first out: it may leave the queue at any tide.",
         "#2f6f73", _cutter),
    Ship("Patient Ellen", "ketch, with slates", 2, (("amber", 3),), "Her skipper waits: fog does not send her back.",
         "#27415f", _ketch),
    Ship("Hobnail", "harbour tug", 2, (("red", 3),), "When she is home, move one other ship to any free channel.",
         "#7e2f2b", _tug),
    Ship("Tuesday Mail", "packet, with letters", 3, (("white", 3), ("green", 2)),
         "Late letters lose their worth: one berth less each ebb.", "#1f5a50", _packet),
    Ship("The Long Wait", "bucket dredger", 3, (("green", 4),),
         "While she lies here, no spring tide is needed at the bar.", "#8a6d3b", _dredger),
    Ship("Salt Margaret", "trawler, with herring", 3, (("amber", 2), ("red", 3)),
         "Gulls follow her: everyone draws a card when she is in.", "#b04a33", _trawler),
    Ship("Grey Duchess", "steamer, with guests", 5, (("red", 4), ("green", 4)),
         "She draws deep: she crosses the bar on a spring tide only.", "#3d4657", _steamer),
    Ship("Saint Corvin", "barque, with oranges", 5, (("amber", 4), ("white", 4)),
         "An orange for each keeper: draw back to a full hand.", "#3b2a4a", _barque),
)
_SKIES = (
    ("#f0b68a", "#f5c99b", "#f8d9ae", "#fbe6c2", "#fdf0d6"), ("#8fb4b8", "#a9c6c1", "#c4d7c9", "#dfe5d0", "#f2ecd6"),
    ("#c98d84", "#d9a394", "#e7baa3", "#f2d0b3", "#f9e3c6"), ("#7f9bb8", "#9cb2c4", "#bccacd", "#dbdfd4", "#f1ecd9"),
)


def ship_card(ship: Ship) -> Canvas:
    number = SHIPS.index(ship)
    colours = _SKIES[number % 4]
    canvas = harbour_card()
    sky(canvas, colours, 45, 700 + number)
    canvas.fill(mix(colours[4], "#ffffff", 0.5), circle(44 if number % 2 else 25, 27 + number % 3, 8.5), alpha=0.75)
    hills(canvas, mix(colours[0], "#4a6274", 0.3), 45, 6, 710 + number)
    fog(canvas, mix(colours[4], "#ffffff", 0.4), 43, 5, 720 + number, 0.4)
    water = mix("#2c5968", colours[0], 0.18)
    sea(canvas, water, colours[3], 45, 62, 730 + number)
    ship.draw(canvas, ship.hull)
    canvas.fill(mix(water, colours[3], 0.06), under(wave(-4, 67, 53.0, 1.3, 12, number * 0.21), 64))
    canvas.stroke(FOAM, 0.45, smooth(wave(4, 60, 52.8, 1.2, 12, number * 0.21 + 0.1)), alpha=0.85)
    fog(canvas, "#ffffff", 57, 3, 740 + number, 0.22)
    panel(canvas, ship.hull, number * 0.23)
    badge(canvas, str(ship.berths), ship.hull)
    canvas.fill(PAPER, rounded(3.7, 15.2, 10.2, 3.3, 1.6))
    canvas.stroke(INK, 0.25, rounded(3.7, 15.2, 10.2, 3.3, 1.6))
    canvas.text(8.8, 17.55, "BERTHS" if ship.berths > 1 else "BERTH", "sans-bold", 1.9, INK, "centre", tracking=0.15)
    title(canvas, ship.name, ship.kind)
    _asks(canvas, ship)
    rules(canvas, ship.says, 81.2)
    return canvas


def _asks(canvas: Canvas, ship: Ship) -> None:
    """A row of lights with the reach each must have."""
    x = MIDDLE - 8 * (len(ship.asks) - 1)
    for colour, reach in ship.asks:
        lens(canvas, SUIT[colour], x - 2.6, 75.3, 2.3)
        canvas.text(x + 1.0, 76.9, str(reach), "serif-bold", 4.8, INK)
        x += 16
