"""The picture back with what was found drawn on it: rings, back marks, numbers, and what couldn't be read."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from server.core.camera_marks import DISC_MM, REACH_MM
from server.photo.sight import Found

_LONGEST_PX = 1600
# Blue-green for the front, orange for the back, red for what wasn't read; told by shape as well (B, G, R).
_FRONT, _BACK, _LOST = (120, 110, 20), (20, 110, 230), (40, 40, 200)
_TURN_POINTS = 48


def drawn(grey: NDArray[np.uint8], found: Found, ending: str = ".png") -> bytes:
    """A picture (".png" or ".jpg") of at most 1,600 pixels: circles round rings and back marks, dx and dy beside,
    crosses where a station in view wasn't read."""
    factor = min(1.0, _LONGEST_PX / max(grey.shape))
    small = cv2.resize(grey, None, fx=factor, fy=factor, interpolation=cv2.INTER_AREA) if factor < 1 else grey
    canvas = cv2.cvtColor(small, cv2.COLOR_GRAY2BGR)
    lens = found.lens
    if lens is not None:
        backs, size = dict(found.backs), max(0.45, canvas.shape[1] / 2600)

        def at(points: list[tuple[float, float]]) -> NDArray[np.int32]:
            pixels = lens.to_picture(np.array(points, np.float64)) * factor
            return np.asarray(np.round(pixels), np.int32)

        for sight in found.sight.stations:
            x, y = sight.at
            shape = at(_circle(x, y, found.size * (REACH_MM + 0.7)))
            if sight.read:
                cv2.polylines(canvas, [shape], True, _FRONT, 2, cv2.LINE_AA)
            else:
                arm = 5 * found.size
                corners = at([(x - arm, y - arm), (x + arm, y + arm), (x - arm, y + arm), (x + arm, y - arm)])
                for start, end in ((0, 1), (2, 3)):
                    cv2.line(canvas, _point(corners[start]), _point(corners[end]), _LOST, 2, cv2.LINE_AA)
            if sight.station in backs:
                u, v = backs[sight.station]
                cv2.polylines(canvas, [at(_circle(u, v, found.size * (DISC_MM + 0.25)))], True, _BACK, 2, cv2.LINE_AA)
            said = f"{sight.dx_mm:+.2f} {sight.dy_mm:+.2f}" if sight.read else "not read"
            low = shape[:, 1].max() + round(24 * size)
            _text(canvas, f"{sight.station}: {said}", (int(shape[:, 0].mean()) - round(75 * size), int(low)), size,
                  _FRONT if sight.read else _LOST)
    done, picture = cv2.imencode(ending, canvas)
    assert done
    return bytes(picture)


def _circle(x: float, y: float, radius: float) -> list[tuple[float, float]]:
    turns = np.linspace(0, 2 * np.pi, _TURN_POINTS, endpoint=False)
    return [(x + radius * float(np.cos(turn)), y + radius * float(np.sin(turn))) for turn in turns]


def _point(pixel: NDArray[np.int32]) -> tuple[int, int]:
    return int(pixel[0]), int(pixel[1])


def _text(canvas: NDArray[np.uint8], text: str, at: tuple[int, int], size: float, colour: tuple[int, int, int]) -> None:
    cv2.putText(canvas, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, (255, 255, 255), 6, cv2.LINE_AA)
    cv2.putText(canvas, text, at, cv2.FONT_HERSHEY_SIMPLEX, size, colour, 2, cv2.LINE_AA)
