"""Ink and cost: the ink of a version mark on each front, black or white by the art under it; what printed pages cover
(of a PDF of ours, rendered small: art, bleed and marks as they are placed); and one deck by every method and paper,
sheets, cuts, time, ink and money side by side.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import TYPE_CHECKING

from server.core.art import Art
from server.core.bleed import ArtFit
from server.core.cost import PALE, Ink, mean_of
from server.core.edge_bleed import Rgb
from server.core.geometry import Edges, Rect, bounds
from server.core.lettering import VersionMark
from server.drawing.pdf_surface import PALE_LAYER
from server.errors import Unreadable
from server.formats.apart import apart
from server.formats.limits import DEFAULT_LIMITS, ArtLimits
from server.formats.pdf_source import load_pymupdf

if TYPE_CHECKING:
    from PIL import Image
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from server.core.art import Deck
from server.core.cost import Care, CostRow, Prices, best_of, minutes_of, money_of
from server.core.methods import METHODS
from server.core.settings import DeckSettings
from server.core.sizes import PAPERS
from server.errors import DoesNotFit
from server.prepress.prepare import Prepared, prepare

# Fine enough that the mean of the largest of R, G and B is that of the art and not of its blur (within some tenths of
# a percent against 300 dpi), coarse enough to cost less than writing the file.
_DPI = 72


def ink_of_pdf(path: Path, *, without_pale: bool = False, cards: int = 1) -> Ink:
    """Mean cover over all pages, of which each holds so many cards. ``without_pale``: as it would be if the white over
    the art were taken off.

    Loads PyMuPDF: never in a server's own process. Raises Unreadable where art on a page can't be drawn in its time.
    """
    pages = apart(path.name, _page_count, path)
    return mean_of(apart(path.name, _page_ink, path, number, without_pale, times=cards) for number in range(pages))


def _page_count(path: Path) -> int:
    with load_pymupdf().open(path) as document:
        return int(document.page_count)


def _page_ink(path: Path, number: int, without_pale: bool) -> Ink:
    from PIL import Image

    pymupdf = load_pymupdf()
    with pymupdf.open(path) as document:
        for layer in document.layer_ui_configs() if without_pale else ():
            if layer["text"] == PALE_LAYER:
                document.set_layer_ui_config(layer["number"], action=2)  # off
        pixels = document.load_page(number).get_pixmap(dpi=_DPI, colorspace=pymupdf.csRGB, alpha=False)
        return cover(Image.frombytes("RGB", (pixels.width, pixels.height), pixels.samples))


def cover(image: Image.Image) -> Ink:
    """The mean cover of a picture in RGB."""
    from PIL import ImageChops, ImageStat

    red, green, blue = image.split()
    brightest = ImageChops.lighter(ImageChops.lighter(red, green), blue)
    means = [ImageStat.Stat(band).mean[0] / 255.0 for band in (red, green, blue, brightest)]
    return Ink.seen(*means)


_BLACK, _WHITE = (0, 0, 0), (255, 255, 255)
_LOOKED_AT_PX = 1400  # on the longer side: a few pixels to the thickness of a letter
_AROUND_MM = 0.4
_MOST_PX = 200  # of the ground, along


def mark_inks(fronts: Iterable[tuple[Art, ArtFit]], source: Callable[[Art], Path], mark: VersionMark, *, pale: bool,
              limits: ArtLimits = DEFAULT_LIMITS) -> tuple[dict[str, Rgb], dict[str, Unreadable]]:
    """The ink for each front and what can't be decoded, both by the art's key. Decodes. ``pale``: white lies over it.

    The contrast is that of WCAG 2.2 (relative luminance, and (L1 + 0.05) / (L2 + 0.05)), as the geometric mean over
    what lies under the mark and close around it. One of the two inks always has 4.58 : 1 or more on a flat ground,
    the square root of 1.05 / 0.05.
    """
    from server.formats.pixels import upright

    inks: dict[str, Rgb] = {}
    broken: dict[str, Unreadable] = {}
    for art, fit in fronts:
        try:
            picture = upright(source(art), art, _LOOKED_AT_PX, limits)
        except Unreadable as error:
            broken[art.key] = error
            continue
        part = _under(fit, mark.box.grown(Edges.all(_AROUND_MM)))
        width, height = picture.size
        left, top = (min(max(0, int(at * size)), size - 1) for at, size in ((part.x, width), (part.y, height)))
        right, bottom = (min(max(first + 1, math.ceil(at * size)), size) for first, at, size in (
            (left, part.right, width), (top, part.bottom, height)))
        inks[art.key] = _ink_on(picture.crop((left, top, right, bottom)), pale)
    return inks, broken


def _ink_on(ground: Image.Image, pale: bool) -> Rgb:
    from PIL import Image

    ground = ground.convert("RGB")
    ground.thumbnail((_MOST_PX, _MOST_PX), Image.Resampling.BOX)
    # sRGB to linear light, and its weights: WCAG 2.2, "relative luminance".
    shares = [1 - (1 - value / 255) * (1 - PALE if pale else 1) for value in range(256)]
    linear = [share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4 for share in shares]
    pixels = ground.tobytes()
    logs = [math.log(0.2126 * linear[red] + 0.7152 * linear[green] + 0.0722 * linear[blue] + 0.05)
            for red, green, blue in zip(pixels[::3], pixels[1::3], pixels[2::3], strict=True)]
    return _BLACK if sum(logs) / len(logs) > 0.5 * math.log(1.05 * 0.05) else _WHITE


def _under(fit: ArtFit, box: Rect) -> Rect:
    """Where a box of the card lies in the art, as shares of its width and height as seen."""
    back = fit.matrix.inverse()
    return bounds(back(corner) for corner in box.corners)


FORMAT, VERSION, UNIT = "lampfold-cost", 1, "mm"
_LOOK_PX = 300
_A4_MM2 = 210.0 * 297.0


def printed_art(deck: Deck) -> dict[str, Art]:
    """Every art of a card that is printed, by its key."""
    return {art.key: art for card in deck.cards if card.copies for art in (card.front, card.back) if art}


def ink_of_art(arts: Iterable[Art], source: Callable[[Art], Path]) -> dict[str, Ink]:
    """Each art's own mean cover, by its key. Decodes; raises Unreadable, naming the art."""
    return {art.key: cover_of(source(art), art) for art in arts}


def cover_of(path: Path, art: Art) -> Ink:
    """One art's own mean cover. Decodes; raises Unreadable, naming the art."""
    from server.formats.pixels import upright
    from server.prepress.inks import cover

    return cover(upright(path, art, _LOOK_PX))


def cost_table(deck: Deck, settings: DeckSettings, inks: Mapping[str, Ink], prices: Prices,
               methods: Sequence[str] = (), papers: Sequence[str] = (),
               limits: ArtLimits = DEFAULT_LIMITS) -> tuple[tuple[CostRow, ...], tuple[tuple[str, str, str], ...]]:
    """A row for each of ``methods`` on each of ``papers`` (none: all, and the deck's own), and what doesn't fit as
    (method, paper, why).

    Ink is reckoned from the art's own cover and the area that each card is printed on, bleed counted; marks, some
    hundredths of a percent, are left out. Raises what ``prepare`` raises, but for DoesNotFit.
    """
    rows, refused = [], []
    for method in methods or tuple(METHODS):
        for paper in papers or dict.fromkeys((*PAPERS, settings.paper)):
            asked = replace(settings, method=method, paper=paper, arrangement="", card_turned="", box="")
            try:
                rows.append(_row(prepare(deck, asked, None, None, limits), inks, prices))
            except DoesNotFit as error:
                refused.append((method, paper, error.message))
    return tuple(rows), tuple(refused)


def _row(prepared: Prepared, inks: Mapping[str, Ink], prices: Prices) -> CostRow:
    plan, layout, settings = prepared.planned.plan, prepared.planned.plan.layout, prepared.settings
    page_mm2, pages = layout.page.width * layout.page.height, len(plan.faces)
    ink = Ink()
    for key, area in _printed(prepared):
        ink = ink.plus(inks.get(key, Ink()).scaled(area / (page_mm2 * pages)))
    if settings.ink == "pale":
        ink = ink.scaled(1.0 - PALE)
    cuts = prepared.planned.best.cuts
    return CostRow(layout.method, layout.paper.name, plan.sheet_count, plan.paper_count, pages, cuts,
                   minutes_of(plan, cuts, settings.core_mm), ink,
                   money_of(plan.paper_count, pages, ink, page_mm2 / _A4_MM2, prices))


def _printed(prepared: Prepared) -> Iterator[tuple[str, float]]:
    """Every art as it is placed, and the mm2 that it covers with its bleed."""
    plan, cards = prepared.planned.plan, prepared.deck.cards
    for face in plan.faces:
        for one in plan.placements(face):
            art = cards[one.card].front if one.side == "front" else cards[one.card].back
            if art:
                area = one.trim.grown(one.bleed)
                yield art.key, area.width * area.height


def cost_to_json(rows: Sequence[CostRow], refused: Sequence[tuple[str, str, str]], care: Care) -> dict[str, Any]:
    """Plain values: ``rows`` in the order of the tables, the best one marked; ``left_out`` says why."""
    best = best_of(rows, care)
    return {
        "format": FORMAT, "version": VERSION, "unit": UNIT, "care": care,
        "rows": [{"method": row.method, "paper": row.paper, "sheets": row.sheets, "papers": row.papers,
                  "cuts": row.cuts, "minutes": round(row.minutes, 1), "ink": row.ink.as_mapping(),
                  "ink_a4_pages": round(row.ink_a4_pages, 2), "money": round(row.money, 2), "best": row is best}
                 for row in rows],
        "left_out": [{"method": method, "paper": paper, "why": why} for method, paper, why in refused],
    }
