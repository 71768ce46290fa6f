"""Two hundred photographs of the test sheet by chance, read: what was found, how sure it was, what it cost.

``python -m tests.photo_bench [COUNT] [SEED]``. The photographer knows what is true; nothing is asserted by the clock.
"""

from __future__ import annotations

import io
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from PIL import Image

from server.cli import main as lampfold
from server.core.registration import Fit, fit_drift
from server.core.registration.readings import at_station
from server.core.sighting import SheetSight
from server.core.sizes import paper_named
from server.errors import LampfoldError
from server.photo.deck import read_sheet
from server.photo.picture import greys
from tests.photographer import Conditions, by_chance, drift_at, faces, photograph

A4_MM = (210.0, 297.0)
WITHIN_MM, WRONG_MM = 0.05, 0.2
_MEMORY = """
import sys
from server.cli import main
assert main(["read", sys.argv[1]]) == 0
print(next(line.split()[1] for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""


@dataclass(frozen=True)
class Shot:
    """One photograph and what was read on it; ``off`` are the errors of what was read, ``scaled`` over their sigma."""

    how: Conditions
    sight: SheetSight
    off: np.ndarray
    scaled: np.ndarray
    in_view: int
    fit_off: tuple[float, float] | None

    @property
    def whole(self) -> bool:
        return len(self.off) >= self.in_view and bool((np.hypot(*self.off.T) <= WITHIN_MM).all())


def in_view(how: Conditions, at: np.ndarray) -> int:
    """How many stations no finger lies on."""
    if not how.finger:
        return len(at)
    x, y, radius = how.finger
    return int((np.hypot(*(at - (x, y)).T) > radius + 8.0).sum())


def shoot(pair: tuple[np.ndarray, np.ndarray], how: Conditions, place: Path) -> Shot:
    place.write_bytes(photograph(*pair, how).jpeg)
    grey, = greys(place, place.name)
    sight = read_sheet(grey, place.name, paper_named("a4"), "long-edge").sight
    found = np.array([(one.dx_mm, one.dy_mm, one.sigma_mm) for one in sight.read], float).reshape(-1, 3)
    at = np.array([one.at for one in sight.read]).reshape(-1, 2)
    off = found[:, :2] - drift_at(how.drift, A4_MM, at)
    every = np.array([one.at for one in sight.stations]).reshape(-1, 2)
    return Shot(how, sight, off, off / found[:, 2:], in_view(how, every) if len(every) else 9, fit_off(sight, how))


def fit_off(sight: SheetSight, how: Conditions) -> tuple[float, float] | None:
    """How far (mm at the middle, degrees) the fit of one picture's readings is off."""
    readings = [at_station("1", one.station, one.at, round(one.dx_mm or 0, 3), round(one.dy_mm or 0, 3))
                for one in sight.read]
    try:
        fit: Fit = fit_drift(readings, (105.0, 148.5))
    except LampfoldError:
        return None
    right, low, turn, _, _ = how.drift
    return float(np.hypot(fit.drift.dx_mm - right, fit.drift.dy_mm - low)), abs(fit.drift.rotation_deg - turn)


def table(shots: list[Shot], name: str, key: Callable[[Shot], str]) -> Iterator[str]:
    yield f"{name:<14} pictures  whole   median   99 %   worst mm   spread"
    for label in sorted({key(shot) for shot in shots}):
        chosen = [shot for shot in shots if key(shot) == label]
        off = np.concatenate([np.hypot(*shot.off.T) for shot in chosen])
        scaled = np.concatenate([shot.scaled.ravel() for shot in chosen])
        yield (f"{label:<14} {len(chosen):>8}  {sum(shot.whole for shot in chosen):>5}   {np.median(off):.4f}  "
               f"{np.quantile(off, 0.99):.4f}   {off.max():.4f}    {scaled.std():.2f}") if len(off) else label


def strangers(rng: np.random.Generator, count: int) -> Iterator[np.ndarray]:
    """Noise, halftones, dots in rows and rings, text-like marks: pictures of no sheet."""
    for number in range(count):
        height, width = (int(side) for side in rng.integers(500, 1100, 2))
        kind = number % 5
        if kind == 0:
            picture = rng.normal(128, 60, (height, width))
        elif kind == 1:
            picture = 128 + 60 * cv2.resize(rng.standard_normal((height // 9, width // 9)), (width, height))
        elif kind == 2:
            y, x = np.mgrid[0:height, 0:width] / rng.uniform(2, 7)
            picture = 127 + 120 * np.sin(x + 0.3 * y) * np.sin(y - 0.2 * x)
        else:
            picture = np.full((height, width), 225.0)
            for _ in range(1200 if kind == 3 else 60):
                x, y = int(rng.integers(width)), int(rng.integers(height))
                if kind == 3:
                    cv2.circle(picture, (x, y), int(rng.integers(2, 9)), float(rng.integers(0, 150)), -1, cv2.LINE_AA)
                    continue
                radius, dots = rng.uniform(20, 60), int(rng.integers(9, 18))
                for turn in np.linspace(0, 2 * np.pi, dots, endpoint=False):
                    spot = int(x + radius * np.cos(turn)), int(y + radius * np.sin(turn))
                    cv2.circle(picture, spot, int(rng.integers(3, 9)), 40.0, -1, cv2.LINE_AA)
        yield np.clip(picture, 0, 255).astype(np.uint8)


def cost(pair: tuple[np.ndarray, np.ndarray], place: Path) -> Iterator[str]:
    """A 12 megapixel photograph against Pillow's decoding of it, by the processor's time, best of five in this run; and
    the memory of a process that does nothing else."""
    place.write_bytes(photograph(*pair, Conditions(megapixels=12.0, noise=0.02, quality=90, turn=5.0)).jpeg)
    decode, read = [], []
    for _ in range(5):
        begun = time.process_time()
        with Image.open(io.BytesIO(place.read_bytes())) as picture:
            picture.load()
        decode.append(time.process_time() - begun)
        begun = time.process_time()
        read_sheet(greys(place, place.name)[0], place.name, paper_named("a4"), "long-edge")
        read.append(time.process_time() - begun)
    yield (f"12 megapixels: decode {min(decode) * 1000:.0f} ms, read {min(read) * 1000:.0f} ms, "
           f"{min(read) / min(decode):.1f} times")
    done = subprocess.run([sys.executable, "-c", _MEMORY, str(place)], capture_output=True, text=True, check=True)
    yield f"most memory of lampfold read on it: {int(done.stdout.split()[-1]) / 1024:.0f} MB"


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    rng = np.random.default_rng(int(sys.argv[2]) if len(sys.argv) > 2 else 2026)
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        pdf, place = Path(folder) / "sheet.pdf", Path(folder) / "window.jpg"
        lampfold(["test-sheet", "--out", str(pdf)])
        pair = faces(pdf)
        shots = [shoot(pair, replace(by_chance(rng, number)), place) for number in range(count)]
        for name, key in (("megapixels", lambda shot: f"{shot.how.megapixels:4.0f}"),
                          ("angle", lambda shot: f"from {5 * int(shot.how.tilt // 5):2d} degrees"),
                          ("paper lets", lambda shot: f"{10 * int(shot.how.transmission * 10)} % on")):
            print("\n".join(table(shots, name, key)), end="\n\n")
        off = np.concatenate([np.hypot(*shot.off.T) for shot in shots])
        scaled = np.concatenate([shot.scaled.ravel() for shot in shots])
        sigma = off / np.hypot(*np.concatenate([shot.scaled for shot in shots]).T)
        fits = np.array([shot.fit_off for shot in shots if shot.fit_off])
        print(f"whole to {WITHIN_MM} mm: {sum(shot.whole for shot in shots)} of {len(shots)}")
        print(f"stations read {len(off)}, median {np.median(off):.4f}, worst {off.max():.4f} mm; over {WRONG_MM} mm "
              f"{(off > WRONG_MM).sum()}; spread of error over sigma {scaled.std():.2f}; sigma to {sigma.max():.3f} mm")
        print(f"fits {len(fits)}: worst {fits[:, 0].max():.4f} mm, {fits[:, 1].max():.4f} degrees")
        print("not whole:", [(shot.how.seed, len(shot.off), shot.in_view, [one.code for one in shot.sight.problems])
                             for shot in shots if not shot.whole])
        taken = sum(bool(read_sheet(picture, "x", paper_named("a4"), "long-edge").sight.stations)
                    for picture in strangers(rng, 500 if count >= 200 else 50))
        print(f"pictures of no sheet that gave a reading: {taken}")
        print("\n".join(cost(pair, place)))


if __name__ == "__main__":
    main()
