"""Leeway by brute force: the printed back is moved in steps of 0.1 mm, cut out, and looked at, by pixels alone.

The back is printed by the real way (folder, plan, PDF) and rendered by pdfium, an independent reader. What is looked
for in the cut card knows nothing of the code under test: white where the art has none, gold that the knife took away,
and blue borders of which one is twice the other. The first step at which each shows is compared with the leeway that
``lampfold leeway`` prints.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from PIL import Image, ImageDraw

from server.cli import main

PX_MM = 40  # 1016 ppi: a step is four pixels
STEP_MM = 0.1
MARGIN_MM = 10  # how much is looked at around the card
WIDTH, HEIGHT = 63 * PX_MM, 88 * PX_MM
BLUE, GOLD, WHITE = (20, 40, 120), (230, 180, 40), (255, 255, 255)
WAYS = {"left": (-1, 0), "right": (1, 0), "top": (0, -1), "bottom": (0, 1)}
DIAGONALS = [(-1, -1), (1, -1), (-1, 1), (1, 1)]
Seen = Callable[[float, float], bool]


class Printed:
    """The back's page around its card as pdfium renders it, and what three pairs of eyes see of the cut card.

    Each is asked about a back that has moved right by ``dx`` mm and down by ``dy`` mm: the knife then goes as much to
    the left of and above the place where it should.
    """

    def __init__(self, pixels: np.ndarray) -> None:
        self.white, self.gold = is_like(pixels, WHITE), is_like(pixels, GOLD)
        self.dark = pixels.max(axis=-1) < 100
        card = self.cut(self.gold, 0, 0)  # not beyond it: mirrored bleed shows the motif again
        across, down = np.flatnonzero(card[HEIGHT // 2]), np.flatnonzero(card[:, WIDTH // 2])
        self.motif = across[0], down[0], across[-1], down[-1]

    @staticmethod
    def cut(mask: np.ndarray, dx: float, dy: float) -> np.ndarray:
        x, y = round((MARGIN_MM - dx) * PX_MM), round((MARGIN_MM - dy) * PX_MM)
        return mask[y:y + HEIGHT, x:x + WIDTH]

    def shows_paper(self, dx: float, dy: float) -> bool:
        return bool(self.cut(self.white, dx, dy).any())

    def loses_motif(self, dx: float, dy: float) -> bool:
        """The knife goes through gold, and not just along a pixel of its edge."""
        x, y = round(-dx * PX_MM), round(-dy * PX_MM)
        left, top, right, bottom = self.motif
        return bool(left + 1 < x or top + 1 < y or right > x + WIDTH or bottom > y + HEIGHT)

    def is_lopsided(self, dx: float, dy: float) -> bool:
        """One border at least twice the other, measured along the middle row and the middle column."""
        gold = self.cut(self.gold, dx, dy)
        for line in (gold[HEIGHT // 2], gold[:, WIDTH // 2]):
            at = np.flatnonzero(line)
            first, last = int(at[0]), len(line) - 1 - int(at[-1])
            if max(first, last) >= 2 * min(first, last):
                return True
        return False


def is_like(pixels: np.ndarray, rgb: tuple[int, int, int]) -> np.ndarray:
    low, high = (np.clip(np.array(rgb) + by, 0, 255).astype(np.uint8) for by in (-40, 40))
    return ((pixels >= low) & (pixels <= high)).all(axis=-1)


def first_step(way: tuple[float, float], seen: Seen, most_mm: float = 9.0) -> float | None:
    """The first move of 0, 0.1, 0.2 ... mm in that direction after which ``seen`` says that it shows."""
    length = math.hypot(*way)
    moves = (step * STEP_MM for step in range(round(most_mm / STEP_MM) + 1))
    return next((move for move in moves if seen(move * way[0] / length, move * way[1] / length)), None)


def print_back(folder: Path, back: Image.Image, *options: str) -> Printed:
    for name, image in (("fronts", Image.new("RGB", (630, 880), (90, 90, 90))), ("backs", back)):
        (folder / name).mkdir(parents=True)
        image.save(folder / name / "pilot.png")
    out, plan = folder.parent / "out.pdf", folder.parent / "plan.json"
    assert main(["build", str(folder), "--out", str(out), "--plan", str(plan), "--card", "63x88", *options]) == 0
    page = next(page for page in json.loads(plan.read_text(encoding="utf-8"))["pages"] if page["face"] == "back")
    trim = page["placements"][0]["trim"]
    point = 72 / 25.4
    with pypdfium2.PdfDocument(out) as document:
        sheet = document[page["page"] - 1]
        right = 210 - trim["x"] - trim["width"]
        below = 297 - trim["y"] - trim["height"]
        crop = tuple((edge - MARGIN_MM) * point for edge in (trim["x"], below, right, trim["y"]))
        pixels = sheet.render(scale=PX_MM * 25.4 / 72, crop=crop).to_numpy()[..., ::-1]
    assert abs(pixels.shape[1] - WIDTH - 2 * MARGIN_MM * PX_MM) <= 2
    return Printed(pixels)


def drawn(motif: tuple[float, float, float, float], bleed: float, white_from: float | None = None) -> Image.Image:
    """A blue back whose gold motif stands (left, right, top, bottom) mm inside the cut; white beyond ``white_from``
    mm outside it, where that is given."""
    scale = 16
    size = round((63 + 2 * bleed) * scale), round((88 + 2 * bleed) * scale)
    image = Image.new("RGB", size, BLUE if white_from is None else WHITE)
    pen = ImageDraw.Draw(image)
    if white_from is not None:
        rim = round((bleed - white_from) * scale)
        pen.rectangle((rim, rim, size[0] - rim - 1, size[1] - rim - 1), fill=BLUE)
    left, right, top, bottom = (round((side + bleed) * scale) for side in motif)
    pen.rectangle((left, top, size[0] - right - 1, size[1] - bottom - 1), fill=GOLD)
    return image


CASES = {
    "mirrored bleed": (drawn((4, 5, 6, 7.5), 0), ["--bleed", "3", "--edges", "mirror"]),
    "stretched bleed, little of it": (drawn((3.5, 3.5, 4, 4), 0), ["--bleed", "0.75", "--edges", "stretch"]),
    "one colour": (drawn((6, 5, 5.5, 4.5), 0), ["--bleed", "2.2", "--edges", "colour"]),
    "no bleed": (drawn((5, 4, 4, 5), 0), ["--edges", "none"]),
    "bleed in the art": (drawn((2.5, 3, 3.25, 2), 3), ["--bleed", "3", "--edges", "art"]),
    "bleed in the art, white beyond 1.25 mm": (drawn((5, 5, 6, 6), 3, 1.25), ["--bleed", "3", "--edges", "art"]),
}


@pytest.mark.parametrize("name", CASES)
def test_the_first_shift_that_shows_is_the_leeway(name: str, tmp_path: Path,
                                                  capsys: pytest.CaptureFixture[str]) -> None:
    image, options = CASES[name]
    printed = print_back(tmp_path / "deck", image, *options)
    capsys.readouterr()
    assert main(["leeway", str(tmp_path / "deck"), "--card", "63x88", *options, "--json"]) == 0
    (said,) = json.loads(capsys.readouterr().out)
    looks: dict[str, Seen] = {"paper_shows_mm": printed.shows_paper, "art_cut_mm": printed.loses_motif,
                              "uneven_mm": printed.is_lopsided}
    for rule, seen in looks.items():
        for side, way in WAYS.items():
            agrees(first_step(way, seen), said[rule][side], 1.0, f"{name}: {rule} {side}")
        for way in DIAGONALS:  # whichever of its two sides gives way first, at the square root of two times its limit
            sides = ["left" if way[0] < 0 else "right", "top" if way[1] < 0 else "bottom"]
            limits = [said[rule][side] for side in sides if said[rule][side] is not None]
            agrees(first_step(way, seen), min(limits, default=None), math.sqrt(2), f"{name}: {rule} {sides}")
    every = [value for rule in looks for value in said[rule].values() if value is not None]
    assert said["leeway_mm"] == min(every)


def agrees(step: float | None, limit: float | None, stretch: float, what: str) -> None:
    """The first step that shows lies at the limit or up to one step behind it, give or take 0.05 mm on each axis
    and the pixel that this picture can't divide."""
    if limit is None or limit * stretch > 8.9:
        assert step is None or step > 8.8, f"{what}: shows at {step}, said never"
        return
    assert step is not None, f"{what}: never shows, said {limit}"
    low, high = (limit - 0.06) * stretch, (limit + 0.06) * stretch + STEP_MM
    assert low - 1e-6 <= step <= high + 1e-6, f"{what}: shows at {step:.1f}, said {limit * stretch:.2f}"


def test_a_white_buffer_shows_nothing_at_one_and_two_millimetres(tmp_path: Path) -> None:
    """Common practice: a back inset by 2 mm of white, without a line on it, hides an offset of 1 mm and of 2 mm in
    every direction: no paper can be told from the buffer, and none of the art is lost."""
    image = Image.new("RGB", (63 * 16, 88 * 16), WHITE)
    ImageDraw.Draw(image).rectangle((32, 32, 61 * 16 - 1, 86 * 16 - 1), fill=GOLD)
    printed = print_back(tmp_path / "deck", image)
    assert printed.cut(printed.gold, 0, 0).sum() == pytest.approx(59 * 84 * PX_MM**2, rel=0.003)
    for degrees in range(0, 360, 15):
        for offset in (1.0, 2.0):
            dx, dy = offset * math.cos(math.radians(degrees)), offset * math.sin(math.radians(degrees))
            assert not printed.loses_motif(dx, dy)
            assert not printed.cut(printed.dark, dx, dy).any()
    assert printed.loses_motif(2.1, 0)
