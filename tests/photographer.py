"""A phone before a window, in pixels: photographs of printed sheets against the light, with what spoils them.

Knows paper, light, lenses and phones, not the code under test. Pages come from pdfium. Both faces are laid into one
plane of the paper as the light shows them from the front; the light that comes through is

    light(x, y) x transmission(grain) x (1 - ink of the front) x (1 - ink of the back, blurred by the paper)

and the room's own light lies over the front as a veil. A camera with perspective, barrel distortion and a blur takes
it; the phone demosaics, maps tones locally, sharpens and compresses.
"""

from __future__ import annotations

import io
import math
from dataclasses import dataclass, field
from pathlib import Path

import cv2
import numpy as np
import pypdfium2 as pdfium
from PIL import Image

MM = 25.4
PX = 10.0  # pixels a millimetre of the paper's own plane


@dataclass(frozen=True)
class Conditions:
    """One photograph's circumstances. Lengths in mm, angles in degrees, blurs as standard deviations."""

    drift: tuple[float, float, float, float, float] = (0.0, 0.0, 0.0, 1.0, 1.0)  # right, low, clockwise, scale x, y
    placed: tuple[float, float, float] = (0.0, 0.0, 0.0)  # the whole print on the paper: right, low, clockwise
    transmission: float = 0.3
    grain: float = 0.06
    paper_blur: float = 0.15
    ink: float = 0.9
    ink_spread: float = 0.04
    veil: float = 0.03  # of the light that comes through, where there is no ink
    uneven: float = 0.3
    spot: float = 0.2
    bar: float = 0.0  # how much a window bar takes; 0: none
    megapixels: float = 8.0
    tilt: float = 0.0
    tilt_way: float = 0.0
    turn: float = 0.0
    barrel: float = 0.0
    fills: float = 0.85
    lens_blur: float = 0.8  # pixels
    motion: float = 0.0  # pixels
    motion_way: float = 0.0
    noise: float = 0.01
    sharpen: float = 0.0
    tones: float = 0.0
    demosaic: bool = True
    quality: int = 85
    exposed: float = 90.0  # the share of the picture, in per cent, that stays below three quarters of its white
    finger: tuple[float, float, float] | None = None  # x, y, radius in mm
    mirrored: bool = False
    seed: int = 0


@dataclass(frozen=True)
class Photograph:
    """The picture's bytes, and (x, y) of any paper point in it, in pixels."""

    jpeg: bytes
    size: tuple[int, int]
    camera: Camera


@dataclass(frozen=True)
class Camera:
    homography: np.ndarray = field(repr=False)
    k1: float
    centre: tuple[float, float]
    radius: float

    def __call__(self, points: np.ndarray) -> np.ndarray:
        """Paper mm to picture pixels, (n, 2) both."""
        homogeneous = np.column_stack([points, np.ones(len(points))]) @ self.homography.T
        plain = homogeneous[:, :2] / homogeneous[:, 2:]
        way = (plain - self.centre) / self.radius
        return plain + (plain - self.centre) * self.k1 * (way**2).sum(axis=1, keepdims=True)

    def undo(self, pixels: np.ndarray) -> np.ndarray:
        """Picture pixels to paper mm, (n, 2) both."""
        plain = pixels.astype(float)
        for _ in range(6):
            way = (plain - self.centre) / self.radius
            plain = self.centre + (pixels - self.centre) / (1 + self.k1 * (way**2).sum(axis=1, keepdims=True))
        homogeneous = np.column_stack([plain, np.ones(len(plain))]) @ np.linalg.inv(self.homography).T
        return homogeneous[:, :2] / homogeneous[:, 2:]


def faces(pdf: Path, flip: str | None = "long-edge", pages: tuple[int, int] = (0, 1)) -> tuple[np.ndarray, np.ndarray]:
    """The ink of front and back in the paper's plane, 0 to 1, the back as it lies behind its front."""
    document = pdfium.PdfDocument(pdf)
    inks = []
    for number in pages:
        page = document[number]
        drawn = page.render(scale=2 * PX * MM / 72, grayscale=True).to_numpy()
        drawn = drawn.reshape(drawn.shape[:2])
        # pdfium fills whole pixels with the page: so does the plane, or its mirror would lie beside it.
        size = tuple(round(side / 72 * MM * PX) for side in page.get_size())
        inks.append(1 - cv2.resize(drawn, size, interpolation=cv2.INTER_AREA).astype(np.float32) / 255)
    document.close()
    through = {"long-edge": np.fliplr, "short-edge": np.flipud, None: lambda ink: ink}[flip]
    return inks[0], np.ascontiguousarray(through(inks[1]))


def drift_at(drift: tuple[float, float, float, float, float], size_mm: tuple[float, float],
             points: np.ndarray) -> np.ndarray:
    """How far (right, low) the back lands from each front point, (n, 2): turned and scaled about the paper's middle."""
    right, low, turn, scale_x, scale_y = drift
    middle = np.array(size_mm) / 2
    c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    moved = (points - middle) @ np.array([[c * scale_x, s * scale_x], [-s * scale_y, c * scale_y]])
    return moved + middle + (right, low) - points


def _laid(ink: np.ndarray, matrix: np.ndarray) -> np.ndarray:
    """Ink carried by an affine map of the plane, mm to mm."""
    pixels = matrix * [1.0, 1.0, PX]
    pixels[:, 2] += pixels[:, :2] @ [0.5, 0.5] - 0.5  # pixel middles
    return cv2.warpAffine(ink, pixels, (ink.shape[1], ink.shape[0]), flags=cv2.INTER_LINEAR)


def _affine(size_mm: tuple[float, float], right: float, low: float, turn: float, scale_x: float = 1.0,
            scale_y: float = 1.0) -> np.ndarray:
    corners = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]])
    landed = corners + drift_at((right, low, turn, scale_x, scale_y), size_mm, corners)
    return np.array([[*(landed[1] - landed[0])], [*(landed[2] - landed[0])], [*landed[0]]]).T


def _spread(ink: np.ndarray, mm: float) -> np.ndarray:
    """Ink that has run by ``mm`` on every side."""
    if mm <= 0:
        return ink
    soft = cv2.GaussianBlur(ink, (0, 0), 0.08 * PX)
    level = 0.5 * (1 + math.erf(-mm / 0.08 / math.sqrt(2)))  # what a straight edge's blur has that far outside it
    return np.clip((soft - level) / (2 * level) + 0.5, 0, 1)


def _noise(rng: np.random.Generator, shape: tuple[int, int], mm: float) -> np.ndarray:
    """Smooth noise of unit spread with grains of that size."""
    step = max(1.0, mm * PX / 2)
    small = rng.standard_normal((int(shape[0] / step) + 3, int(shape[1] / step) + 3)).astype(np.float32)
    return cv2.resize(small, (shape[1], shape[0]), interpolation=cv2.INTER_CUBIC)


def lit(front: np.ndarray, back: np.ndarray, how: Conditions) -> np.ndarray:
    """The light that leaves the front, linear, on the paper's plane."""
    rng = np.random.default_rng(how.seed)
    height, width = front.shape
    size = width / PX, height / PX
    place = _affine(size, *how.placed)
    drift = _affine(size, *how.drift)
    both = np.vstack([place, [0, 0, 1]]) @ np.vstack([drift, [0, 0, 1]])
    front = _laid(_spread(front, how.ink_spread), place)
    back = cv2.GaussianBlur(_laid(_spread(back, how.ink_spread), both[:2]), (0, 0), how.paper_blur * PX)
    front = cv2.GaussianBlur(front, (0, 0), 0.03 * PX)
    grain = 0.7 * _noise(rng, front.shape, 2.5) + 0.5 * _noise(rng, front.shape, 0.5)
    paper = how.transmission * (1 + how.grain * grain)
    light = _grown(_window(height / width, rng, how), front.shape)
    through = light * paper * (1 - how.ink * front) * (1 - how.ink * back)
    through += how.veil * how.transmission * (1 - 0.85 * front)
    if how.finger:
        fx, fy, radius = how.finger
        y, x = np.mgrid[0:height:8, 0:width:8] / PX
        over = _grown(1 / (1 + np.exp(np.clip(np.hypot(x - fx, y - fy) - radius, -9, 9) * 2.0)), front.shape)
        through = through * (1 - over) + over * 0.04 * how.transmission
    return through


def _window(tall: float, rng: np.random.Generator, how: Conditions) -> np.ndarray:
    """The light behind the paper, coarsely."""
    y, x = np.mgrid[0:1:240j, 0:1:180j]
    way = rng.uniform(0, 2 * math.pi)
    light = 1 + how.uneven * ((x - 0.5) * math.cos(way) + (y - 0.5) * math.sin(way))
    sx, sy = rng.uniform(0.2, 0.8, 2)
    light += how.spot * np.exp(-((x - sx) ** 2 + ((y - sy) * tall) ** 2) / 0.03)
    if how.bar:
        along = (x if rng.random() < 0.5 else y) - rng.uniform(0.2, 0.8)
        light *= 1 - how.bar / (1 + np.exp(np.clip((np.abs(along) - 0.06) / 0.01, -20, 20)))
    return light


def _grown(coarse: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    return cv2.resize(coarse.astype(np.float32), (shape[1], shape[0]), interpolation=cv2.INTER_LINEAR)


def camera_for(size_mm: tuple[float, float], how: Conditions) -> tuple[Camera, tuple[int, int]]:
    """A camera that has the whole sheet in its picture, 4 to 3."""
    width, height = size_mm
    wide = round(math.sqrt(how.megapixels * 1e6 * 4 / 3)), round(math.sqrt(how.megapixels * 1e6 * 3 / 4))
    picture = wide if abs(math.sin(math.radians(how.turn))) > 0.7071 else wide[::-1]
    middle = np.array([picture[0] / 2, picture[1] / 2])
    away = 1.2 * max(width, height)  # mm from the lens to the paper
    t, w, r = (math.radians(angle) for angle in (how.tilt, how.tilt_way, how.turn))
    axis = np.array([math.cos(w), math.sin(w), 0.0]) * t
    turned = cv2.Rodrigues(axis)[0] @ cv2.Rodrigues(np.array([0.0, 0.0, r]))[0]
    plane = np.column_stack([turned[:, 0], turned[:, 1], [0, 0, away]])
    plane = plane @ np.array([[1, 0, -width / 2], [0, 1, -height / 2], [0, 0, 1.0]])
    corners = np.array([[0, 0, 1], [width, 0, 1], [0, height, 1], [width, height, 1.0]]) @ plane.T
    corners = corners[:, :2] / corners[:, 2:]
    span = (corners.max(axis=0) - corners.min(axis=0))
    focal = how.fills * min(np.array(picture) / span)
    centre = middle - focal * (corners.max(axis=0) + corners.min(axis=0)) / 2
    lens = np.array([[focal, 0, centre[0]], [0, focal, centre[1]], [0, 0, 1.0]])
    homography = lens @ plane
    radius = float(np.hypot(*middle))
    return Camera(homography / homography[2, 2], -how.barrel, tuple(middle), radius), picture


def _taken(plane: np.ndarray, camera: Camera, picture: tuple[int, int], outside: float) -> np.ndarray:
    """The picture before the phone touches it, linear; area sampling by a plane that is blurred to the pixel."""
    coarse = -(-picture[1] // 8), -(-picture[0] // 8)  # the maps are smooth: every eighth pixel is worked out
    x, y = np.meshgrid(8.0 * np.arange(coarse[1]) + 4.0, 8.0 * np.arange(coarse[0]) + 4.0)
    paper = camera.undo(np.column_stack([x.ravel(), y.ravel()])) * PX - 0.5
    scale = math.sqrt(abs(np.linalg.det(camera.homography[:2, :2]))) / PX
    if scale < 1:
        plane = cv2.GaussianBlur(plane, (0, 0), 0.35 / scale)
    map_x, map_y = (_grown(paper[:, axis].reshape(coarse), (8 * coarse[0], 8 * coarse[1]))[:picture[1], :picture[0]]
                    for axis in (0, 1))
    return cv2.remap(plane, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=outside)


def photograph(front: np.ndarray, back: np.ndarray, how: Conditions) -> Photograph:
    """Take the sheet's picture."""
    rng = np.random.default_rng(how.seed + 1)
    size_mm = front.shape[1] / PX, front.shape[0] / PX
    plane = lit(front, back, how).astype(np.float32)
    camera, picture = camera_for(size_mm, how)
    light = _taken(plane, camera, picture, float(np.median(plane)) * rng.choice([0.2, 2.5]))
    del plane
    light = cv2.GaussianBlur(light, (0, 0), how.lens_blur) if how.lens_blur else light
    if how.motion:
        kernel = _motion(how.motion, how.motion_way)
        light = cv2.filter2D(light, -1, kernel)
    light *= 0.75 / np.percentile(light, how.exposed)
    light += rng.standard_normal(light.shape).astype(np.float32) * how.noise * np.sqrt(np.clip(light, 0, None) + 0.05)
    colour = _demosaiced(light, rng) if how.demosaic else np.repeat(np.clip(light, 0, 1)[:, :, None], 3, axis=2)
    values = np.clip(colour, 0, 1) ** (1 / 2.2)
    if how.tones:
        local = cv2.GaussianBlur(cv2.resize(values, None, fx=1 / 16, fy=1 / 16, interpolation=cv2.INTER_AREA), (0, 0),
                                 picture[0] / 200)
        values = values + how.tones * (0.55 - cv2.resize(local, picture))
    if how.sharpen:
        values = values + how.sharpen * (values - cv2.GaussianBlur(values, (0, 0), 1.2))
    pixels = (np.clip(values, 0, 1) * 255 + 0.5).astype(np.uint8)
    if how.mirrored:
        pixels = np.ascontiguousarray(pixels[:, ::-1])
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=how.quality)
    return Photograph(out.getvalue(), picture, camera)


def _motion(length: float, way: float) -> np.ndarray:
    kernel = np.zeros((9, 9), np.float32)
    for step in np.linspace(-length / 2, length / 2, 41):
        x, y = 4 + step * math.cos(way), 4 + step * math.sin(way)
        i, j = int(x), int(y)
        for row, column, part in ((j, i, (1 - x + i) * (1 - y + j)), (j, i + 1, (x - i) * (1 - y + j)),
                                  (j + 1, i, (1 - x + i) * (y - j)), (j + 1, i + 1, (x - i) * (y - j))):
            kernel[row, column] += part
    return kernel / kernel.sum()


def _demosaiced(light: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """What a sensor under a mosaic of filters tells of grey light with a slight cast."""
    cast = 1 + rng.uniform(-0.08, 0.08, 3)
    raw = light.copy()
    raw[0::2, 0::2] *= cast[0]
    raw[1::2, 1::2] *= cast[2]
    mosaic = (np.clip(raw, 0, 1) * 65535).astype(np.uint16)
    return cv2.cvtColor(mosaic, cv2.COLOR_BayerRG2RGB).astype(np.float32) / 65535


def by_chance(rng: np.random.Generator, seed: int, size_mm: tuple[float, float] = (210.0, 297.0)) -> Conditions:
    """A photograph as one might come: every circumstance drawn within what a careful beginner meets."""
    u = rng.uniform
    finger = None
    if rng.random() < 0.2:
        finger = (float(rng.choice([5.0, size_mm[0] - 5.0])), u(20, size_mm[1] - 20), u(12, 22))
    return Conditions(
        drift=(u(-2.2, 2.2), u(-2.2, 2.2), u(-0.4, 0.4), u(0.997, 1.003), u(0.997, 1.003)),
        placed=(u(-3, 3), u(-3, 3), u(-0.5, 0.5)), transmission=u(0.15, 0.5), grain=u(0.02, 0.1),
        paper_blur=u(0.08, 0.28), ink=u(0.75, 0.97), ink_spread=u(0.0, 0.1), veil=u(0.0, 0.15), uneven=u(0, 0.8),
        spot=u(0, 0.8), bar=u(0.2, 0.6) if rng.random() < 0.4 else 0.0,
        megapixels=float(rng.choice([3.0, 5.0, 8.0, 12.0])),
        tilt=u(0, 25), tilt_way=u(0, 360), turn=u(0, 360), barrel=u(-0.005, 0.03), fills=u(0.72, 0.95),
        lens_blur=u(0.5, 1.4), motion=u(0, 1.5) if rng.random() < 0.5 else 0.0, motion_way=u(0, math.pi),
        noise=u(0.003, 0.02), sharpen=u(0, 1.0), tones=u(0, 0.4), quality=int(rng.choice([70, 80, 90])), finger=finger,
        seed=seed)
