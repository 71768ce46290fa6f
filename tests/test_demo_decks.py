"""The demo decks are what their script draws, and have the counts, proportions and faults that they are shown for.

Everything is read by Pillow and pikepdf, so that a fault of our own reader can't hide one of a deck.
"""

from __future__ import annotations

import csv
import hashlib
import re
from collections.abc import Iterator
from pathlib import Path
from types import ModuleType

import numpy as np
import pikepdf
import pytest
from PIL import Image, ImageOps, UnidentifiedImageError

DECKS = Path(__file__).resolve().parent.parent / "demo_decks"
HARBOUR, TABLES, WRECK = DECKS / "harbour_lamps", DECKS / "tide_tables", DECKS / "stormwreck"
RULES = HARBOUR / "fronts" / "5_fog_and_rules" / "a_round_at_the_harbour_x3.pdf"
MM_PER_POINT = 25.4 / 72  # ISO 32000-1, 8.3.2.3


def files(folder: Path) -> list[Path]:
    return sorted(path for path in folder.rglob("*") if path.is_file())


def pixels(path: Path) -> np.ndarray:
    with Image.open(path) as picture:
        return np.asarray(picture.convert("RGB"), dtype=np.int16)


def size_px(width_mm: float, height_mm: float) -> tuple[int, int]:
    """At 300 ppi, the resolution that common practice asks for at print size."""
    return round(width_mm / 25.4 * 300), round(height_mm / 25.4 * 300)


@pytest.fixture
def draw(monkeypatch: pytest.MonkeyPatch) -> Iterator[ModuleType]:
    monkeypatch.syspath_prepend(str(DECKS))
    import draw as module
    yield module


def test_all_decks_together_stay_small() -> None:
    assert sum(path.stat().st_size for path in DECKS.rglob("*") if path.is_file()) < 6_000_000


def test_the_harbour_fills_six_sheets_of_nine() -> None:
    fronts = files(HARBOUR / "fronts")
    copies = [int(found[1]) if (found := re.search(r"_x(\d+)$", path.stem)) else 1 for path in fronts]
    assert len(fronts) == 41
    assert sum(copies) == 54
    assert len({hashlib.sha256(path.read_bytes()).digest() for path in fronts}) == 41
    assert [path.name for path in (HARBOUR / "backs").iterdir()] == ["harbour_lamps_back.png"]


def test_harbour_pictures_are_63_by_88_mm_with_3_mm_of_bleed() -> None:
    found = set()
    for path in [*files(HARBOUR / "fronts"), *files(HARBOUR / "backs")]:
        if path.suffix != ".pdf":
            with Image.open(path) as picture:
                assert picture.size == size_px(69, 94) == (815, 1110), path.name
                assert picture.info["dpi"] == pytest.approx((300, 300), abs=0.1)
                assert not picture.has_transparency_data
                found.add((picture.format, picture.mode))
    assert found == {("PNG", "P"), ("JPEG", "RGB")}


def test_the_rules_card_is_a_vector_page_with_a_trim_box_and_its_own_fonts() -> None:
    with pikepdf.open(RULES) as pdf:
        (page,) = pdf.pages
        media = [float(value) * MM_PER_POINT for value in page.mediabox]
        trim = [float(value) * MM_PER_POINT for value in page.trimbox]
        assert media == pytest.approx([0, 0, 69, 94], abs=0.01)
        assert trim == pytest.approx([3, 3, 66, 91], abs=0.01)
        assert not page.get_images()
        fonts = page.obj.Resources.Font
        assert len(fonts) == 3
        for font in fonts.values():
            descriptor = font.DescendantFonts[0].FontDescriptor
            assert "/FontFile3" in descriptor
            assert re.match(r"/[A-Z]{6}\+", str(descriptor.FontName))  # a subset, ISO 32000-1, 9.6.4


def test_the_harbour_back_hides_which_way_is_up() -> None:
    back = pixels(HARBOUR / "backs" / "harbour_lamps_back.png")
    turned = back[::-1, ::-1]
    assert np.abs(back - turned).mean() < 3
    assert np.abs(back - back[:, ::-1]).mean() > np.abs(back - turned).mean()  # the row of lamps isn't a mirror image


def test_the_tide_tables_are_trim_size_and_have_no_backs() -> None:
    fronts = sorted((TABLES / "fronts").iterdir())
    assert len(fronts) == 13
    assert not (TABLES / "backs").exists()
    for path in fronts:
        with Image.open(path) as picture:
            assert picture.size == size_px(63, 88) == (744, 1039), path.name
    with (TABLES / "deck.csv").open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    assert {row["front"] for row in rows} == {f"fronts/{path.name}" for path in fronts}
    assert all(not row["back"] and int(row["copies"]) >= 1 and row["name"] for row in rows)


def test_high_waters_keep_the_moons_time(draw: ModuleType) -> None:
    from studio.almanac import high_waters
    times = [24 * 60 * day + minute for day in range(365) for minute, _ in high_waters(day)]
    # The mean interval of semidiurnal high waters is the period of M2, 12.4206 h (tidal constituents, from memory of
    # the tables of the International Hydrographic Organization).
    assert (times[-1] - times[0]) / (len(times) - 1) / 60 == pytest.approx(12.4206, abs=0.01)


def test_every_fault_of_the_wreck_is_there() -> None:
    fronts, backs = WRECK / "fronts", WRECK / "backs"
    whole = size_px(69, 94)
    with Image.open(fronts / "1_anchor.png") as picture:
        assert picture.size == whole
    with Image.open(fronts / "2_barrel_low_resolution.png") as picture:
        assert picture.width / (69 / 25.4) < 150  # visibly soft, common practice
        assert picture.width / picture.height == pytest.approx(69 / 94, abs=0.003)
    with Image.open(fronts / "3_compass_odd_shape.png") as picture:
        assert picture.width == picture.height
    with Image.open(fronts / "6_photograph_turned.jpg") as picture:
        assert picture.getexif()[0x0112] == 6  # CIPA DC-008: turn a quarter clockwise to view
        assert picture.size == whole[::-1]
        assert ImageOps.exif_transpose(picture).size == whole
    with Image.open(fronts / "7_chest_cmyk.jpg") as picture:
        assert (picture.format, picture.mode) == ("JPEG", "CMYK")
    with Image.open(fronts / "8_wheel_wrong_ending.jpg") as picture:
        assert picture.format == "PNG"
    with Image.open(fronts / "5_bottle_cut_short.jpg") as picture, pytest.raises(OSError, match="truncated"):
        picture.load()
    with pytest.raises(UnidentifiedImageError):
        Image.open(fronts / "logbook.txt")
    art = {path.stem for path in fronts.iterdir() if path.suffix != ".txt"}
    assert art - {path.stem for path in backs.iterdir()} == {"4_lantern_without_a_back"}


def test_the_photograph_stands_upright_once_it_is_turned() -> None:
    with Image.open(WRECK / "fronts" / "6_photograph_turned.jpg") as picture:
        seen = np.asarray(ImageOps.exif_transpose(picture).convert("L"), dtype=float)
    assert seen[:200].mean() > seen[-200:].mean() + 40  # a pale sky over dark sand


def near(drawn: np.ndarray, kept: np.ndarray) -> None:
    """The same picture, whichever release of the renderer or encoder has drawn it."""
    assert drawn.shape == kept.shape
    difference = np.abs(drawn - kept)
    assert difference.mean() < 2.5
    assert (difference.max(axis=2) > 60).mean() < 0.01


def test_the_script_draws_what_is_kept(draw: ModuleType, tmp_path: Path) -> None:
    draw.save_png(draw.lamp_card(draw.SUITS[0], 5), tmp_path / "lamp.png")
    near(pixels(tmp_path / "lamp.png"), pixels(HARBOUR / "fronts" / "1_lamps" / "red_5_redcap_head.png"))
    draw.save_png(draw.month_card(5), tmp_path / "june.png")
    near(pixels(tmp_path / "june.png"), pixels(TABLES / "fronts" / "6_june.png"))
    draw.save_jpeg(draw.keeper_card(draw.KEEPERS[3]).picture(), tmp_path / "pilot.jpg")
    near(pixels(tmp_path / "pilot.jpg"), pixels(HARBOUR / "fronts" / "4_keepers" / "the_pilot.jpg"))


def test_the_script_writes_the_rules_page_that_is_kept(draw: ModuleType, tmp_path: Path) -> None:
    draw.rules_card().save_pdf(tmp_path / "rules.pdf")
    with pikepdf.open(tmp_path / "rules.pdf") as drawn, pikepdf.open(RULES) as old:
        shapes = [[([str(operand) for operand in word.operands], str(word.operator))
                   for word in pikepdf.parse_content_stream(pdf.pages[0]) if str(word.operator) != "Tj"]
                  for pdf in (drawn, old)]
    assert sum(operator == "c" for _, operator in shapes[0]) > 100  # the waves
    assert shapes[0] == shapes[1]
