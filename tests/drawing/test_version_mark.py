"""The version on the fronts: where it lies and whether it can be read, in PDFs that pdfium renders."""

from __future__ import annotations

import io
from collections.abc import Mapping
from pathlib import Path

import numpy as np
import pypdfium2
import pytest
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from server.core.lettering import EM_MM, version_mark
from server.core.plan import Face
from server.core.settings import DeckSettings
from server.intake.folder import read_folder
from server.prepress import Prepared, build, prepare
from tests.formats.artwork import write

_PPI = 300
_SAFE_MM = 4.0
# On a flat ground the better of black and white has the square root of 21, or more (WCAG 2.2: (L1 + 0.05)/(L2 + 0.05)).
_LEAST = 4.5
Pixels = NDArray[np.float64]


def luminance(rgb: NDArray[np.float64]) -> NDArray[np.float64]:
    """WCAG 2.2's relative luminance of sRGB values 0 to 255."""
    share = rgb / 255
    linear = np.where(share <= 0.04045, share / 12.92, ((share + 0.055) / 1.055) ** 2.4)
    red, green, blue = np.moveaxis(linear, -1, 0)
    light: NDArray[np.float64] = 0.2126 * red + 0.7152 * green + 0.0722 * blue
    return light


def contrast(one: float, other: float) -> float:
    light, dark = max(one, other), min(one, other)
    return (light + 0.05) / (dark + 0.05)


def flat(colour: tuple[int, int, int], below: tuple[int, int, int] | None = None) -> bytes:
    """A front of one colour, its lower half of another where one is given."""
    image = Image.new("RGB", (630, 880), colour)
    if below:
        ImageDraw.Draw(image).rectangle((0, 440, 629, 879), fill=below)
    out = io.BytesIO()
    image.save(out, "PNG")
    return out.getvalue()


def sheets(folder: Path, **settings: object) -> tuple[Prepared, list[Pixels]]:
    """The folder's deck built with these settings, and its pages as pdfium sees them."""
    found = read_folder(folder)
    asked = DeckSettings().changed({"paper": "a5", "card": "63x88", "margin_mm": 5, "bleed_mm": 0, "gutter_mm": 4,
                                    "cut_lines": "none", "safe_mm": _SAFE_MM, "version": "0.3 Hg", **settings})
    prepared = build(prepare(found.deck, asked, found.source), folder / "out.pdf")
    document = pypdfium2.PdfDocument(folder / "out.pdf")
    pages = [np.asarray(page.render(scale=_PPI / 72).to_pil().convert("RGB")).astype(np.float64) for page in document]
    document.close()
    return prepared, pages


def deck(folder: Path, fronts: Mapping[str, bytes]) -> Path:
    for name, content in fronts.items():
        write(folder, f"fronts/{name}.png", content)
    write(folder, "backs/back.png", flat((128, 128, 128)))
    return folder


COLOURS = {"a-night": (10, 10, 60), "b-paper": (250, 245, 230), "c-red": (190, 30, 30), "d-mid": (117, 117, 117)}


@pytest.mark.parametrize(("edge", "turned"), [("top", "no"), ("bottom", "yes"), ("left", "no"), ("right", "yes")])
def test_it_lies_inside_the_safe_zone_and_reads(tmp_path: Path, edge: str, turned: str) -> None:
    folder = deck(tmp_path, {name: flat(colour) for name, colour in COLOURS.items()})
    plain = {"card_turned": turned, "paper": "200x200"}
    prepared, without = sheets(folder, **plain)
    _, pages = sheets(folder, **plain, version_mark=edge)
    assert np.array_equal(pages[1], without[1])  # backs say nothing
    changed = np.abs(pages[0] - without[0]).max(axis=2) > 8
    placements = prepared.planned.plan.placements(Face(0, "front"))
    assert len(placements) == 4
    px = _PPI / 25.4
    for placement in placements:
        trim = placement.trim
        window = np.s_[round(trim.y * px):round(trim.bottom * px), round(trim.x * px):round(trim.right * px)]
        # Upright: what the page shows turned clockwise is turned back.
        quarter = placement.rotation_deg // 90
        here, page, ground = (np.rot90(one[window], quarter) for one in (changed, pages[0], without[0]))
        ys, xs = np.nonzero(here)
        assert len(xs) > 50
        left, right, top, bottom = (value / px for value in (xs.min(), xs.max() + 1, ys.min(), ys.max() + 1))
        slack = 2 / px
        assert min(left, top, 63 - right, 88 - bottom) >= _SAFE_MM - slack
        away = {"left": left, "right": 63 - right, "top": top, "bottom": 88 - bottom}[edge]
        assert away <= _SAFE_MM + EM_MM * .3
        along = (top + bottom) / 2 - 44 if edge in ("left", "right") else (left + right) / 2 - 31.5
        assert abs(along) < 0.4  # centred
        under = float(np.median(luminance(ground[here])))
        lights = luminance(page[here])
        ink = max((float(lights.min()), float(lights.max())), key=lambda one: contrast(one, under))
        assert contrast(ink, under) >= _LEAST, (placement.card, under, ink)
        changed[window] = False
    assert not changed.any()


def test_the_ink_is_chosen_by_what_lies_under_the_mark(tmp_path: Path) -> None:
    """Light above and dark below: black at the top, white at the bottom; and pale ink makes the dark half light."""
    folder = deck(tmp_path, {"harbour": flat((240, 230, 200), below=(60, 20, 20))})
    for edge, ink, expected in (("top", "full", (0, 0, 0)), ("bottom", "full", (255, 255, 255)),
                                ("bottom", "pale", (0, 0, 0))):
        prepared, pages = sheets(folder, version_mark=edge, ink=ink)
        assert list(prepared.planned.mark_inks.values()) == [expected]
        _, without = sheets(folder, ink=ink)
        changed = np.abs(pages[0] - without[0]).max(axis=2) > 8
        under = float(np.median(luminance(without[0][changed])))
        lights = luminance(pages[0][changed])
        assert max(contrast(float(lights.min()), under), contrast(float(lights.max()), under)) >= _LEAST


def test_off_by_default_and_said_where_it_cannot_be_drawn(tmp_path: Path) -> None:
    assert version_mark(DeckSettings(version="0.3")) is None
    folder = deck(tmp_path, {"harbour": flat((10, 10, 10))})
    prepared, _ = sheets(folder, version_mark="top", version="")
    assert "no-version-mark" in {problem.code for problem in prepared.problems}
    small = DeckSettings(version="the night of 3 November", version_mark="top", card="20x30", safe_mm=4)
    assert version_mark(small) is None
    shrunk = version_mark(DeckSettings(version="0.3, Tuesday", version_mark="top", card="18x30", safe_mm=4))
    assert shrunk
    assert shrunk.em_mm < EM_MM
    assert shrunk.box.x >= 4 - 1e-9
