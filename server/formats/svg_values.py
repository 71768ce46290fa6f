"""The values in an SVG: numbers, lengths, colours, transforms, view boxes and the data of a path."""

from __future__ import annotations

import colorsys
import math
import re
from collections.abc import Iterator
from functools import lru_cache

from server.core.geometry import Affine, Point, Rect
from server.formats.svg_tree import CantDraw

Rgb = tuple[float, float, float]  # 0 to 1 each
Rgba = tuple[float, float, float, float]
# One step of a path, in user units: ("M" or "L", end), ("C", control, control, end) or ("Z",).
Step = tuple[str, *tuple[Point, ...]]
Path = list[Step]

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")
_ODD_COMMA = re.compile(r"^\s*,|,\s*(?:,|$)")
_LENGTH = re.compile(rf"({_NUMBER.pattern})\s*([a-zA-Z]*|%)")
# CSS Values 4, 6.2: 96 px to the inch. A user unit is a px.
UNITS_PX = {"": 1.0, "px": 1.0, "in": 96.0, "cm": 96 / 2.54, "mm": 96 / 25.4, "q": 96 / 101.6, "pt": 96 / 72,
            "pc": 16.0}
_LARGEST = 1e7  # further out nothing of a card is drawn, and a PDF's numbers lose their meaning
_TRANSFORM = re.compile(r"[\s,]*([A-Za-z]+)\s*\(([^()]*)\)[\s,]*")
_MOST_STEPS = 500_000  # of one file: twenty of a whole city's map


def finite(value: float) -> float:
    if not math.isfinite(value) or abs(value) > _LARGEST:
        raise CantDraw(f"a number out of all proportion ({value:g})")
    return value


def numbers(text: str) -> list[float]:
    """Numbers apart by spaces and single commas. Raises CantDraw where there is anything else."""
    if _NUMBER.sub("", text).strip(" \t\r\n,") or _ODD_COMMA.search(text):
        raise CantDraw(f"numbers that can't be read ({text.strip()[:40]})")
    values = [float(found) for found in _NUMBER.findall(text)]
    return values if not values or max(map(abs, values)) <= _LARGEST else [finite(value) for value in values]


def length(text: str, whole: float, em: float = 16.0) -> float:
    """User units from ``"3"``, ``"3mm"``, ``"2em"``, or ``"50%"`` of ``whole``. Raises CantDraw."""
    found = _LENGTH.fullmatch(text.strip())
    unit = found[2].lower() if found else ""
    if found and unit == "%":
        return finite(float(found[1]) * whole / 100)
    if found and unit == "em":
        return finite(float(found[1]) * em)
    if not found or unit not in UNITS_PX:
        raise CantDraw(f"a length that can't be read ({text.strip()[:40]})")
    return finite(float(found[1]) * UNITS_PX[unit])


def share(text: str) -> float:
    """0 to 1 from ``"0.5"`` or ``"50%"``. Raises CantDraw."""
    text = text.strip()
    value = numbers(text.removesuffix("%"))
    if len(value) != 1:
        raise CantDraw(f"a share that can't be read ({text[:40]})")
    return min(1.0, max(0.0, value[0] / 100 if text.endswith("%") else value[0]))


@lru_cache(maxsize=2000)
def colour(text: str) -> Rgba:
    """A colour by CSS Color 4, but for those of the system and of other colour spaces. Raises CantDraw."""
    from PIL import ImageColor

    name = text.strip().lower()
    if name == "transparent":
        return 0.0, 0.0, 0.0, 0.0
    if name in ImageColor.colormap:
        red, green, blue = (part / 255 for part in ImageColor.getrgb(name)[:3])
        return red, green, blue, 1.0
    if re.fullmatch(r"#(?:[0-9a-f]{3,4}|[0-9a-f]{6}|[0-9a-f]{8})", name):
        digits = name[1:] if len(name) > 5 else "".join(2 * digit for digit in name[1:])
        red, green, blue, alpha = (int(digits.ljust(8, "f")[at:at + 2], 16) / 255 for at in (0, 2, 4, 6))
        return red, green, blue, alpha
    found = re.fullmatch(r"(rgb|hsl)a?\(([^()]*)\)", name)
    parts = re.split(r"\s*[,/]\s*|\s+", found[2].strip()) if found else []
    if not found or len(parts) not in (3, 4) or not all(parts):
        raise CantDraw(f"the colour “{text.strip()[:40]}”")
    alpha = share(parts[3]) if len(parts) == 4 else 1.0
    if found[1] == "rgb":
        whole = [part.endswith("%") for part in parts[:3]]
        if any(whole) != all(whole):
            raise CantDraw(f"the colour “{text.strip()[:40]}”")
        red, green, blue = (share(part) if part.endswith("%") else min(255.0, max(0.0, length(part, 0.0))) / 255
                            for part in parts[:3])
        return red, green, blue, alpha
    hue = length(parts[0].removesuffix("deg"), 0.0) % 360 / 360
    return (*colorsys.hls_to_rgb(hue, share(parts[2]), share(parts[1])), alpha)


def transform(text: str) -> Affine:
    """A transform attribute (SVG 2, 8.5). Raises CantDraw."""
    result, at = Affine(), 0
    text = text.strip()
    while at < len(text):
        found = _TRANSFORM.match(text, at)
        if not found:
            raise CantDraw(f"a transform that can't be read ({text[:40]})")
        at = found.end()
        result = result.after(_one_transform(found[1], numbers(found[2])))
    for value in (result.a, result.b, result.c, result.d, result.e, result.f):
        finite(value)
    return result


def _one_transform(name: str, values: list[float]) -> Affine:
    match name, values:
        case "matrix", [a, b, c, d, e, f]:
            return Affine(a, b, c, d, e, f)
        case "translate", [dx, *rest] if len(rest) < 2:
            return Affine.shift(dx, rest[0] if rest else 0.0)
        case "scale", [sx, *rest] if len(rest) < 2:
            return Affine.scaling(sx, rest[0] if rest else sx)
        case "rotate", [degrees]:
            return Affine.turn(degrees)
        case "rotate", [degrees, x, y]:
            return Affine.turn(degrees, (x, y))
        case "skewX", [degrees]:
            return Affine(c=math.tan(math.radians(degrees)))
        case "skewY", [degrees]:
            return Affine(b=math.tan(math.radians(degrees)))
    raise CantDraw(f"a transform that can't be read ({name} of {len(values)})")


def view_box(text: str) -> Rect | None:
    """A viewBox; None where there is none. Raises CantDraw for one that can't be read."""
    if not text.strip():
        return None
    found = numbers(text)
    if len(found) != 4 or found[2] <= 0 or found[3] <= 0:
        raise CantDraw(f"a viewBox that can't be read ({text[:40]})")
    return Rect(*found)


def fitted(box: Rect, into: Rect, ratio: str) -> Affine:
    """What carries ``box`` into ``into`` by a preserveAspectRatio (SVG 2, 8.7). Raises CantDraw."""
    words = ratio.split() or ["xMidYMid"]
    across, down = into.width / box.width, into.height / box.height
    if words == ["none"] or words[0] == "none":
        return Affine(across, 0, 0, down, into.x - box.x * across, into.y - box.y * down)
    found = re.fullmatch(r"x(Min|Mid|Max)Y(Min|Mid|Max)", words[0])
    if not found or words[1:] not in ([], ["meet"], ["slice"]):
        raise CantDraw(f"preserveAspectRatio “{ratio[:40]}”")
    scale = max(across, down) if words[1:] == ["slice"] else min(across, down)
    part = {"Min": 0.0, "Mid": 0.5, "Max": 1.0}
    left = into.x + (into.width - box.width * scale) * part[found[1]]
    top = into.y + (into.height - box.height * scale) * part[found[2]]
    return Affine(scale, 0, 0, scale, left - box.x * scale, top - box.y * scale)


_COMMANDS = re.compile(r"\s*([MmZzLlHhVvCcSsQqTtAa])([^MmZzLlHhVvCcSsQqTtAa]*)")
# An arc's numbers: its two flags may stand before the next number without a space (SVG 2, 9.3.9).
_ONE = f"({_NUMBER.pattern})"
_ARC = re.compile(r"[\s,]*".join([_ONE, _ONE, _ONE, "([01])", "([01])", _ONE, _ONE]) + r"[\s,]*")
_TAKES = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "A": 7, "Z": 0}


def path_data(text: str) -> Path:
    """A path's data as steps in absolute user units. Raises CantDraw where any of it can't be read."""
    pen = _Pen()
    for command, values in _commands(text.strip()):
        pen.take(command, values)
        if len(pen.steps) > _MOST_STEPS:
            raise CantDraw(f"a path of more than {_MOST_STEPS} steps", "too-much-inside", "Simplify it.")
    return pen.steps


def _commands(text: str) -> Iterator[tuple[str, list[float]]]:
    at = 0
    while at < len(text):
        found = _COMMANDS.match(text, at)
        if not found or (at == 0 and found[1] not in "Mm"):
            raise CantDraw(f"path data that can't be read ({text[at:at + 20]})")
        at = found.end()
        command, takes = found[1], _TAKES[found[1].upper()]
        values = _arcs(found[2].strip()) if takes == 7 else numbers(found[2])
        if (len(values) % takes or not values) if takes else values:
            raise CantDraw(f"path data that can't be read ({len(values)} for {command})")
        if not takes:
            yield command, values
        for start in range(0, len(values), takes or 1):
            yield command, values[start:start + takes]
            command = {"M": "L", "m": "l"}.get(command, command)


def _arcs(text: str) -> list[float]:
    values: list[float] = []
    at = 0
    while at < len(text):
        found = _ARC.match(text, at)
        if not found:
            raise CantDraw(f"path data that can't be read ({text[at:at + 20]})")
        values += [finite(float(value)) for value in found.groups()]
        at = found.end()
    return values


class _Pen:
    """Where the pen stands while a path's data is read (SVG 2, 9.3)."""

    def __init__(self) -> None:
        self.steps: Path = []
        self._at: Point = (0.0, 0.0)
        self._start: Point = (0.0, 0.0)
        self._cubic: Point | None = None
        self._quadratic: Point | None = None
        self._closed = False

    def take(self, command: str, values: list[float]) -> None:
        x, y = self._at if command.islower() else (0.0, 0.0)
        kind = command.upper()
        if kind == "H":
            points = [(x + values[0], self._at[1])]
        elif kind == "V":
            points = [(self._at[0], y + values[0])]
        elif kind == "A":
            points = [(x + values[5], y + values[6])]
        else:
            points = [(x + values[at], y + values[at + 1]) for at in range(0, len(values), 2)]
        if self._closed and kind not in "MZ":
            self.steps.append(("M", self._start))
        self._closed = False
        cubic, quadratic, self._cubic, self._quadratic = self._cubic, self._quadratic, None, None
        match kind:
            case "M":
                self._start = points[0]
                self.steps.append(("M", points[0]))
            case "Z":
                self._at, self._closed = self._start, True
                self.steps.append(("Z",))
                return
            case "L" | "H" | "V":
                self.steps.append(("L", points[0]))
            case "C":
                self._curve(*points)
            case "S":
                self._curve(self._mirrored(cubic), *points)
            case "Q":
                self._bend(*points)
            case "T":
                self._bend(self._mirrored(quadratic), *points)
            case "A":
                rx, ry, turn, large, sweep, *_ = values
                self.steps += arc(self._at, rx, ry, turn, bool(large), bool(sweep), points[0])
        self._at = points[-1]

    def _mirrored(self, control: Point | None) -> Point:
        x, y = self._at
        return (2 * x - control[0], 2 * y - control[1]) if control else self._at

    def _curve(self, first: Point, second: Point, end: Point) -> None:
        self.steps.append(("C", first, second, end))
        self._cubic = second

    def _bend(self, control: Point, end: Point) -> None:
        (x0, y0), (x, y), (x1, y1) = self._at, control, end
        self.steps.append(("C", (x0 + (x - x0) * 2 / 3, y0 + (y - y0) * 2 / 3),
                           (x1 + (x - x1) * 2 / 3, y1 + (y - y1) * 2 / 3), end))
        self._quadratic = control


def arc(start: Point, rx: float, ry: float, degrees: float, large: bool, sweep: bool, end: Point) -> Path:
    """An elliptical arc as curves, each of a quarter at most (SVG 2, B.2)."""
    rx, ry = abs(rx), abs(ry)
    if start == end:
        return []
    if rx == 0 or ry == 0:
        return [("L", end)]
    turn = Affine.turn(degrees)
    x, y = turn.inverse()(((start[0] - end[0]) / 2, (start[1] - end[1]) / 2))
    grow = math.sqrt(x * x / (rx * rx) + y * y / (ry * ry))
    rx, ry = rx * max(1.0, grow), ry * max(1.0, grow)
    below = rx * rx * y * y + ry * ry * x * x
    factor = math.sqrt(max(0.0, rx * rx * ry * ry / below - 1)) * (1 if large != sweep else -1)
    cx, cy = factor * rx * y / ry, -factor * ry * x / rx
    onto = Affine.shift((start[0] + end[0]) / 2, (start[1] + end[1]) / 2).after(turn).after(
        Affine.shift(cx, cy)).after(Affine.scaling(rx, ry))
    first = math.atan2((y - cy) / ry, (x - cx) / rx)
    span = (math.atan2((-y - cy) / ry, (-x - cx) / rx) - first) % (2 * math.pi)
    if not sweep:
        span -= 2 * math.pi
    parts = max(1, math.ceil(abs(span) / (math.pi / 2) - 1e-9))
    step = span / parts
    reach = 4 / 3 * math.tan(step / 4)
    steps: Path = []
    for part in range(parts):
        one, other = first + part * step, first + (part + 1) * step
        steps.append(("C", onto((math.cos(one) - reach * math.sin(one), math.sin(one) + reach * math.cos(one))),
                      onto((math.cos(other) + reach * math.sin(other), math.sin(other) - reach * math.cos(other))),
                      end if part == parts - 1 else onto((math.cos(other), math.sin(other)))))
    return steps
