"""What a PNG without a profile says of its colours by gAMA and cHRM (W3C PNG, 11.3.2), made into a profile.

So PDF readers and the screen show the picture as its file means it. A file that says sRGB, or what comes to that, gets
none: that is how everybody takes it.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence

_SRGB_GAMMA = 1 / 2.2
# White, red, green, blue, x and y of each (IEC 61966-2-1, as the PNG specification gives them beside its sRGB chunk).
_SRGB_POINTS = (0.3127, 0.3290, 0.64, 0.33, 0.30, 0.60, 0.15, 0.06)
_D50 = (0.9642, 1.0, 0.8249)  # the profile connection space's white (ICC.1:2022, 7.2.16)
# The Bradford cone responses, by which profiles adapt their white (ICC.1:2022, E.3).
_BRADFORD = ((0.8951, 0.2664, -0.1614), (-0.7502, 1.7135, 0.0367), (0.0389, -0.0685, 1.0296))
_UNBRADFORD = ((0.9869929, -0.1470543, 0.1599627), (0.4323053, 0.5183603, 0.0492912),
               (-0.0085287, 0.0400428, 0.9684867))
_SLACK = 0.01

Matrix = Sequence[Sequence[float]]


def stated_profile(small: Mapping[bytes, bytes], is_grey: bool) -> bytes | None:
    """The profile that the chunks gAMA and cHRM come to; None where they say sRGB, nothing, or nonsense."""
    if b"sRGB" in small or b"iCCP" in small:
        return None
    gamma = int.from_bytes(small.get(b"gAMA", b""), "big") / 100_000
    given = small.get(b"cHRM", b"")
    points = tuple(value / 100_000 for value in struct.unpack(">8I", given)) if len(given) == 32 else ()
    return profile_for(gamma or None, () if is_grey else points, is_grey)


def profile_for(gamma: float | None, points: Sequence[float], is_grey: bool) -> bytes | None:
    """A display profile: samples are light to the power of ``gamma``; ``points`` are x and y of white, red, green and
    blue.

    What isn't given is as in sRGB; None where all of it is.
    """
    gamma = gamma or _SRGB_GAMMA
    points = points or _SRGB_POINTS
    alike = all(abs(a - b) < _SLACK for a, b in zip(points, _SRGB_POINTS, strict=True))
    if not 0.1 <= gamma <= 10 or (abs(gamma - _SRGB_GAMMA) < _SLACK and alike):
        return None
    curve = b"curv\0\0\0\0" + struct.pack(">IH", 1, min(65535, round(256 / gamma)))
    tags = {b"wtpt": _xyz(_D50)}
    if is_grey:
        tags[b"kTRC"] = curve
    else:
        try:
            columns = _columns(points)
        except ZeroDivisionError:
            return None
        tags |= {b"rXYZ": _xyz(columns[0]), b"gXYZ": _xyz(columns[1]), b"bXYZ": _xyz(columns[2]), b"rTRC": curve,
                 b"gTRC": curve, b"bTRC": curve}
    return _profile(tags, b"GRAY" if is_grey else b"RGB ")


def _xyz(values: Sequence[float]) -> bytes:
    return b"XYZ \0\0\0\0" + struct.pack(">3i", *(round(value * 65536) for value in values))


def _columns(points: Sequence[float]) -> list[list[float]]:
    """XYZ of full red, green and blue, their white adapted to D50."""
    white, *primaries = [(x / y, 1.0, (1 - x - y) / y) for x, y in zip(points[::2], points[1::2], strict=True)]
    strengths = _solved([[primary[row] for primary in primaries] for row in range(3)], white)
    cones = [goal / have for goal, have in zip(_times(_BRADFORD, _D50), _times(_BRADFORD, white), strict=True)]
    return [_times(_UNBRADFORD, [cone * response for cone, response in zip(cones, _times(
        _BRADFORD, [strength * value for value in primary]), strict=True)])
        for strength, primary in zip(strengths, primaries, strict=True)]


def _times(matrix: Matrix, vector: Sequence[float]) -> list[float]:
    return [sum(a * b for a, b in zip(row, vector, strict=True)) for row in matrix]


def _solved(matrix: Matrix, right: Sequence[float]) -> list[float]:
    """x of matrix x = right, by Cramer's rule. Raises ZeroDivisionError where the primaries lie on a line."""
    whole = _determinant(matrix)
    return [_determinant([[right[row] if at == column else matrix[row][at] for at in range(3)] for row in range(3)])
            / whole for column in range(3)]


def _determinant(m: Matrix) -> float:
    return (m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1]) - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0]))


def _profile(tags: Mapping[bytes, bytes], space: bytes) -> bytes:
    """A version 2 display profile of those tags (ICC.1:2001-04, 6)."""
    text = b"PNG gAMA and cHRM\0"
    tags = {b"desc": b"desc\0\0\0\0" + struct.pack(">I", len(text)) + text + bytes(78), b"cprt": b"text\0\0\0\0none\0",
            **tags}
    table, body, at = b"", b"", 132 + 12 * len(tags)
    for name, content in tags.items():
        content += bytes(-len(content) % 4)
        table += struct.pack(">4sII", name, at + len(body), len(content))
        body += content
    size = at + len(body)
    header = (struct.pack(">I4sI4s4s4s", size, b"\0\0\0\0", 0x02100000, b"mntr", space, b"XYZ ")
              + struct.pack(">6H", 2000, 1, 1, 0, 0, 0) + b"acsp" + bytes(28) + _xyz(_D50)[8:])
    return header + bytes(128 - len(header)) + struct.pack(">I", len(tags)) + table + body
