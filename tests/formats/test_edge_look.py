"""Bleed that suits the art: art whose edges are known, the decision a person would make, and the printed result."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image, ImageDraw

from server.core.art import Art
from server.core.bleed import decide, stamps
from server.core.edge_bleed import Flood
from server.core.geometry import Affine, Edges
from server.core.sizes import card_size_named
from server.drawing.pdf_surface import PdfSurface
from server.formats.pixels import edges_of
from server.formats.reader import read_art
from tests.drawing.pdf_help import READERS, drawn

CARD = card_size_named("poker-metric")
PX_MM = 10
WIDTH, HEIGHT = 63 * PX_MM, 88 * PX_MM
INK = (40, 60, 110)


def flat() -> Image.Image:
    image = Image.new("RGB", (WIDTH, HEIGHT), INK)
    ImageDraw.Draw(image).ellipse((150, 250, 450, 550), fill=(230, 180, 60))
    return image


def bordered() -> Image.Image:
    """A white border of 2.5 mm, and letters right behind it."""
    image = Image.new("RGB", (WIDTH, HEIGHT), "white")
    pen = ImageDraw.Draw(image)
    pen.rectangle((25, 25, WIDTH - 26, HEIGHT - 26), fill=INK)
    for x in range(30, WIDTH - 60, 40):
        pen.text((x, 26), "A7", fill="yellow", font_size=26)
    return image


def pictured() -> Image.Image:
    random = np.random.default_rng(5)
    small = random.integers(0, 256, (HEIGHT // 20, WIDTH // 20, 3)).astype(np.uint8)
    return Image.fromarray(small).resize((WIDTH, HEIGHT), Image.Resampling.BICUBIC)


def gradient() -> Image.Image:
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    return Image.fromarray(np.stack([80 + 150 * y / HEIGHT, 60 + 120 * x / WIDTH, 160 - 100 * y / HEIGHT],
                                    axis=2).astype(np.uint8))


def mixed() -> Image.Image:
    """A sky above, a picture left and right, one colour below."""
    image = pictured()
    image.paste(gradient().crop((0, 0, WIDTH, 200)), (0, 0))
    image.paste(INK, (0, HEIGHT - 120, WIDTH, HEIGHT))
    return image


def rounded(image: Image.Image, radius_mm: float, clear: bool = False) -> Image.Image:
    """As design programs export it: corners cut away, soft at the rim."""
    mask = Image.new("L", (WIDTH * 4, HEIGHT * 4), 0)
    ImageDraw.Draw(mask).rounded_rectangle((0, 0, WIDTH * 4 - 1, HEIGHT * 4 - 1), radius_mm * PX_MM * 4, fill=255)
    mask = mask.resize((WIDTH, HEIGHT), Image.Resampling.BOX)
    if clear:
        image = image.convert("RGBA")
        image.putalpha(mask)
        return image
    white = Image.new("RGB", (WIDTH, HEIGHT), "white")
    white.paste(image, (0, 0), mask)
    return white


DRAWN = {"flat": flat, "bordered": bordered, "pictured": pictured, "gradient": gradient, "mixed": mixed}
EXPECTED = {"flat": ("colour",) * 4, "bordered": ("colour",) * 4, "pictured": ("mirror",) * 4,
            "gradient": ("edge",) * 4, "mixed": ("mirror", "edge", "mirror", "colour")}


def saved(folder: Path, image: Image.Image, kind: str) -> tuple[Art, Path]:
    path = folder / f"lamp.{kind}"
    image.save(path, "JPEG" if kind == "jpg" else "PNG", **({"quality": 75} if kind == "jpg" else {}))
    (art,) = read_art(path, path.name, path.name)
    return Art(**{**{name: getattr(art, name) for name in Art.__slots__}, "edges": edges_of(path, art)}), path


def printed(art: Art, path: Path, reader: str = "pdfium") -> np.ndarray:
    """The card with its bleed of 3 mm as printed, 10 px for a mm."""
    layers = stamps(decide(art, CARD, 3.0, "auto"), CARD, Edges.all(3.0), art.edge_rgb, art.has_alpha)

    def draw(surface: PdfSurface) -> None:
        with surface.within(matrix=Affine.shift(3, 3)):
            for layer in layers:
                with surface.within(clip=layer.rect if isinstance(layer, Flood) else layer.clip):
                    if isinstance(layer, Flood):
                        surface.fill(layer.rect.corners, layer.rgb)
                    else:
                        surface.art(art, layer.matrix)

    return READERS[reader](drawn(draw, {art.key: path}, (69.0, 94.0)), 254)[:940, :690]


@pytest.mark.parametrize("kind", ["png", "jpg"])
@pytest.mark.parametrize("name", DRAWN)
def test_each_edge_is_made_as_a_person_would(tmp_path: Path, name: str, kind: str) -> None:
    art, _ = saved(tmp_path, DRAWN[name](), kind)
    fit = decide(art, CARD, 3.0, "auto")
    assert tuple(side.made for side in fit.sides) == EXPECTED[name]
    assert fit.corner_mm == 0
    if name in ("flat", "bordered"):
        colour = INK if name == "flat" else (255, 255, 255)
        assert all(np.abs(np.subtract(side.rgb, colour)).max() <= 4 for side in fit.sides)


def test_art_that_lies_across_has_its_edges_turned_with_it(tmp_path: Path) -> None:
    art, _ = saved(tmp_path, mixed().transpose(Image.Transpose.ROTATE_90), "png")
    fit = decide(art, CARD, 3.0, "auto")
    assert fit.turned
    assert tuple(side.made for side in fit.sides) == EXPECTED["mixed"]


@pytest.mark.parametrize("kind", ["png", "jpg", "clear"])
@pytest.mark.parametrize("radius_mm", [2, 3, 4, 5])
@pytest.mark.parametrize("name", ["flat", "pictured", "gradient"])
def test_round_corners_are_seen(tmp_path: Path, name: str, radius_mm: float, kind: str) -> None:
    image = rounded(DRAWN[name](), radius_mm, kind == "clear")
    art, _ = saved(tmp_path, image, "jpg" if kind == "jpg" else "png")
    fit = decide(art, CARD, 3.0, "auto")
    assert fit.corner_mm == pytest.approx(radius_mm, rel=0.15, abs=0.3)
    assert tuple(side.made for side in fit.sides) == EXPECTED[name]
    assert "corners" in fit.how


@pytest.mark.parametrize("ppi", [100, 150])
def test_small_round_corners_are_seen_in_coarse_art(tmp_path: Path, ppi: int) -> None:
    size = round(63 / 25.4 * ppi), round(88 / 25.4 * ppi)
    for kind in ("png", "jpg"):
        art, _ = saved(tmp_path, rounded(flat(), 2).resize(size, Image.Resampling.BOX), kind)
        assert decide(art, CARD, 3.0, "auto").corner_mm == pytest.approx(2, abs=0.4)


def test_white_borders_and_white_pictures_have_no_round_corners(tmp_path: Path) -> None:
    for image in (bordered(), Image.new("RGB", (WIDTH, HEIGHT), "white"), rounded(bordered(), 3)):
        assert decide(saved(tmp_path, image, "png")[0], CARD, 3.0, "auto").corner_mm == 0


@pytest.mark.parametrize("reader", READERS)
@pytest.mark.parametrize("name", DRAWN)
def test_a_cut_that_is_off_by_a_millimetre_shows_what_the_edge_has(tmp_path: Path, name: str, reader: str) -> None:
    image = DRAWN[name]()
    art, path = saved(tmp_path, image, "png")
    card = printed(art, path, reader)
    pixels = np.asarray(image).astype(int)
    trim, one = 3 * PX_MM, PX_MM
    edges = {"top": (card[trim - one:trim, trim:-trim], pixels[:one + 3]),
             "bottom": (card[-trim:-trim + one, trim:-trim], pixels[-one - 3:]),
             "left": (card[trim:-trim, trim - one:trim].transpose(1, 0, 2), pixels[:, :one + 3].transpose(1, 0, 2)),
             "right": (card[trim:-trim, -trim:-trim + one].transpose(1, 0, 2),
                       pixels[:, -one - 3:].transpose(1, 0, 2))}
    for side, (seen, near) in edges.items():
        # Each point just beyond the cut is like one of the art just inside it, at the same place along the edge.
        off = np.min([np.abs(seen[:, None] - np.roll(near, step, axis=1)[None]).max(axis=3) for step in (-2, 0, 2)],
                     axis=(0, 2))
        assert np.quantile(off, 0.999) <= 16, side
    assert np.abs(card[trim - 1, trim:-trim] - card[trim + 1, trim:-trim]).mean() < 12  # and nothing jumps at the cut


@pytest.mark.parametrize("clear", [False, True])
@pytest.mark.parametrize("radius_mm", [2, 3, 5])
@pytest.mark.parametrize("name", ["flat", "pictured", "gradient"])
def test_no_white_nick_at_a_corner(tmp_path: Path, name: str, radius_mm: float, clear: bool) -> None:
    art, path = saved(tmp_path, rounded(DRAWN[name](), radius_mm, clear), "png")
    whole = printed(*saved(tmp_path, DRAWN[name](), "png"))
    art, path = saved(tmp_path, rounded(DRAWN[name](), radius_mm, clear), "png")
    card = printed(art, path)
    two = (3 + 1 + 5) * PX_MM
    for rows in (slice(20, two), slice(-two, -20)):  # one millimetre of bleed and the corner
        for columns in (slice(20, two), slice(-two, -20)):
            corner, unspoilt = card[rows, columns], whole[rows, columns]
            white = (corner.min(axis=2) > 245) & ~(unspoilt.min(axis=2) > 235)
            assert white.mean() < 0.001
            if name != "pictured":
                assert np.abs(corner - unspoilt).max() <= 24
