"""Draws the demo decks: ``python demo_decks/draw.py [FOLDER]`` writes them beside this file, or into FOLDER.

Pillow and PyMuPDF only. The same script draws the same pixels each time; how tightly a PNG or a JPEG is packed is up to
the encoder.
"""

from __future__ import annotations

import io
import sys
from pathlib import Path

from PIL import Image
from studio.almanac import MONTHS, month_card, reading_card
from studio.canvas import PPI, Canvas
from studio.keepers import KEEPERS, back_card, keeper_card
from studio.lamps import NAMES, lamp_card
from studio.ships import SHIPS, ship_card
from studio.suits import SUITS
from studio.tides import FOGS, TIDES, fog_card, rules_card, tide_card
from studio.wreckage import flag_back, photograph, wreck_card

COLOURS = 72  # of a PNG's palette: flat print colours and their soft edges
JPEG_QUALITY = 82
TWICE = (1, 2)  # reaches that come twice in each colour


def stem(name: str) -> str:
    """A name as a file is called: small letters, digits and underscores."""
    return "_".join("".join(letter if letter.isalnum() else " " for letter in name.replace("'", "")).lower().split())


def flattened(picture: Image.Image) -> Image.Image:
    """With a palette of its own, without dither: small, and crisp in print."""
    return picture.quantize(COLOURS, method=Image.Quantize.MAXCOVERAGE, kmeans=1, dither=Image.Dither.NONE)


def save_png(canvas: Canvas, path: Path, ppi: float = PPI) -> None:
    flattened(canvas.picture(ppi)).save(path, "PNG", optimize=True, dpi=(ppi, ppi))


def save_jpeg(picture: Image.Image, path: Path, **more: object) -> None:
    picture.save(path, "JPEG", quality=JPEG_QUALITY, optimize=True, dpi=(PPI, PPI), **more)


def harbour_lamps(folder: Path) -> None:
    """A whole game with bleed: 41 fronts in folders by kind, 54 cards with their copies, one back for all."""
    backs = made(folder / "backs")
    lamps, ships, tides, keepers, more = (
        made(folder / "fronts" / name) for name in ("1_lamps", "2_ships", "3_tides", "4_keepers", "5_fog_and_rules"))
    for suit in SUITS:
        for reach, name in enumerate(NAMES[suit.name], start=1):
            copies = "_x2" if reach in TWICE else ""
            save_png(lamp_card(suit, reach), lamps / f"{suit.name}_{reach}_{stem(name)}{copies}.png")
    for ship in SHIPS:
        save_png(ship_card(ship), ships / f"{stem(ship.name)}.png")
    for tide in TIDES:
        save_png(tide_card(tide), tides / f"{stem(tide.name)}.png")
    for keeper in KEEPERS:
        save_jpeg(keeper_card(keeper).picture(), keepers / f"{stem(keeper.name)}.jpg")
    for which, copies in enumerate((3, 2)):
        save_png(fog_card(which), more / f"{stem(FOGS[which][0])}_x{copies}.png")
    rules_card().save_pdf(more / "a_round_at_the_harbour_x3.pdf")
    save_png(back_card(), backs / "harbour_lamps_back.png")


def tide_tables(folder: Path) -> None:
    """Thirteen leaves at trim size, without backs, named by a list."""
    fronts = made(folder / "fronts")
    rows = ["front,back,copies,name", "fronts/0_reading.png,,2,How to read the leaves"]
    save_png(reading_card(), fronts / "0_reading.png")
    for number, month in enumerate(MONTHS, start=1):
        save_png(month_card(number - 1), fronts / f"{number}_{stem(month)}.png")
        rows.append(f"fronts/{number}_{stem(month)}.png,,1,{month}")
    (folder / "deck.csv").write_text("\n".join(rows) + "\n", encoding="utf-8", newline="\n")


def stormwreck(folder: Path) -> None:
    """Faults on purpose, one to a file; the anchor alone is as it should be."""
    fronts, backs = made(folder / "fronts"), made(folder / "backs")
    save_png(wreck_card("anchor"), fronts / "1_anchor.png")
    save_png(wreck_card("barrel"), fronts / "2_barrel_low_resolution.png", ppi=72)
    whole = wreck_card("compass").picture()
    square = whole.crop((0, 0, whole.width, whole.width))
    flattened(square).save(fronts / "3_compass_odd_shape.png", "PNG", optimize=True)
    save_png(wreck_card("lantern"), fronts / "4_lantern_without_a_back.png")
    packed = io.BytesIO()
    wreck_card("bottle").picture().save(packed, "JPEG", quality=JPEG_QUALITY)
    (fronts / "5_bottle_cut_short.jpg").write_bytes(packed.getvalue()[:packed.tell() * 55 // 100])
    exif = Image.Exif()
    exif[0x0112] = 6  # stored a quarter turn anticlockwise, so viewers turn it clockwise (CIPA DC-008)
    lying = photograph(815, 1110).transpose(Image.Transpose.ROTATE_90)
    save_jpeg(lying, fronts / "6_photograph_turned.jpg", exif=exif)
    save_jpeg(wreck_card("chest").picture().convert("CMYK"), fronts / "7_chest_cmyk.jpg")
    flattened(wreck_card("wheel").picture()).save(fronts / "8_wheel_wrong_ending.jpg", "PNG", optimize=True)
    (fronts / "logbook.txt").write_text("Found on the sand: one anchor, one barrel, one compass.\n", encoding="utf-8",
                                        newline="\n")
    for number, front in enumerate(sorted(fronts.glob("[0-9]_*"))):
        if "without_a_back" not in front.name:
            save_png(flag_back(number), backs / f"{front.stem}.png")


def made(folder: Path) -> Path:
    """The folder, there if it wasn't."""
    folder.mkdir(parents=True, exist_ok=True)
    return folder


DECKS = {"harbour_lamps": harbour_lamps, "tide_tables": tide_tables, "stormwreck": stormwreck}


def draw_all(folder: Path) -> None:
    """Every demo deck into its own folder in ``folder``."""
    for name, draw in DECKS.items():
        draw(folder / name)


if __name__ == "__main__":
    draw_all(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
