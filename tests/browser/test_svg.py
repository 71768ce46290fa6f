"""SVG art against the browser's own drawing of the same files, and on the Art page."""

from __future__ import annotations

import base64
import io
from collections.abc import Callable
from pathlib import Path

import pymupdf
import pypdfium2
from PIL import Image, ImageChops, ImageFilter, ImageStat
from playwright.sync_api import Browser, Page, expect

from server.formats.svg import open_svg
from tests.browser.conftest import choose_folder
from tests.formats.svg_files import DRAWN, NAMESPACES, svg

_SIDE_PX, _ACROSS = 160, 12
# Two renderers shade edges in their own ways. Both pictures are blurred by 3 pixels of 160; then no channel of any
# pixel may differ by more than MOST of 255, nor all of them by more than MEAN on average.
_BLUR, _MOST, _MEAN = 1.5, 60, 2.5
# A pattern's cells reach over one another by 0.07 mm, and readers lay them on whole pixels.
_CELLS_MEAN = 3.5
# Text is in another cut of the same widths: the letters stand in the same places, and are compared as grey bars.
_TEXT_BLUR, _TEXT_MOST, _TEXT_MEAN = 5.0, 85, 8.0
_CARD = (f'<svg {NAMESPACES} width="63mm" height="88mm" viewBox="0 0 63 88"><rect width="63" height="88" fill="{{}}"/>'
         '<path d="M22 75L27 30H36L41 75z" fill="#f3efe2"/></svg>')
_FINER = 4  # drawn so much larger and shrunk, for pdfium sets the edges of rectangles on whole pixels


def _size(width: float, height: float) -> tuple[int, int]:
    scale = _SIDE_PX / max(width, height)
    return round(width * scale), round(height * scale)


def _by_two_readers(path: Path) -> dict[str, Image.Image]:
    with open_svg(path, path.name) as document:
        width, height = document[0].rect.width, document[0].rect.height
        size = _size(width, height)
        across, down = (_FINER * side / whole for side, whole in zip(size, (width, height), strict=True))
        pixels = document[0].get_pixmap(matrix=pymupdf.Matrix(across, down))
        mupdf = Image.frombytes("RGB", (pixels.width, pixels.height), pixels.samples)
        with pypdfium2.PdfDocument(document.tobytes()) as pdf:
            pdfium = pdf[0].render(scale=max(across, down)).to_pil().convert("RGB")
    return {"MuPDF": mupdf.resize(size, Image.Resampling.BOX), "pdfium": pdfium.resize(size, Image.Resampling.BOX)}


def _in_the_browser(browser: Browser, sizes: dict[str, tuple[int, int]]) -> dict[str, Image.Image]:
    """Every file as a picture on one page, by one screenshot."""
    places = {name: (at % _ACROSS * _SIDE_PX, at // _ACROSS * _SIDE_PX) for at, name in enumerate(sizes)}
    pictures = "".join(
        f'<img style="left:{places[name][0]}px;top:{places[name][1]}px;width:{width}px;height:{height}px" '
        f'src="data:image/svg+xml;base64,{base64.b64encode(DRAWN[name].encode()).decode()}">'
        for name, (width, height) in sizes.items())
    page = browser.new_page(viewport={"width": _ACROSS * _SIDE_PX, "height": (len(sizes) // _ACROSS + 1) * _SIDE_PX})
    page.set_content(f"<style>body{{background:#fff}}img{{position:absolute;object-fit:fill}}</style>{pictures}")
    page.wait_for_function("[...document.images].every((one) => one.complete && one.naturalWidth > 0)")
    shown = Image.open(io.BytesIO(page.screenshot())).convert("RGB")
    page.close()
    return {name: shown.crop((left, top, left + sizes[name][0], top + sizes[name][1]))
            for name, (left, top) in places.items()}


def _differ(one: Image.Image, other: Image.Image, blur: float) -> tuple[float, float]:
    soft = ImageFilter.BoxBlur(blur)
    difference = ImageChops.difference(one.filter(soft), other.filter(soft))
    most = max(high for _, high in ImageStat.Stat(difference).extrema)
    return most, max(ImageStat.Stat(difference).mean)


def test_all_that_is_drawn_is_drawn_as_the_browser_draws_it(browser: Browser, tmp_path: Path) -> None:
    ours: dict[str, dict[str, Image.Image]] = {}
    for name, text in DRAWN.items():
        (tmp_path / "art.svg").write_text(text, encoding="utf-8")
        ours[name] = _by_two_readers(tmp_path / "art.svg")
    seen = _in_the_browser(browser, {name: drawn["MuPDF"].size for name, drawn in ours.items()})
    assert len(seen) >= 100
    wrong = []
    for name, drawn in ours.items():
        blur, most, mean = (_TEXT_BLUR, _TEXT_MOST, _TEXT_MEAN) if "text" in name else (
            _BLUR, _MOST, _CELLS_MEAN if "pattern" in name else _MEAN)
        for reader, picture in drawn.items():
            found = _differ(seen[name], picture, blur)
            if found[0] > most or found[1] > mean:
                wrong.append(f"{name} ({reader}): {found[0]:.0f} at most, {found[1]:.1f} on average")
    assert not wrong, "\n".join(wrong)
    # The comparison can fail: files of one kind differ by more than that among themselves.
    assert _differ(seen["rect"], ours["circle"]["MuPDF"], _BLUR)[0] > _MOST
    assert _differ(seen["text"], ours["text turned"]["MuPDF"], _TEXT_BLUR)[0] > _TEXT_MOST
    assert _differ(seen["gradient that repeats"], ours["linear gradient"]["MuPDF"], _BLUR)[0] > _MOST


def test_dropped_drawings_become_cards_and_what_cannot_be_drawn_is_named(page: Page, new_deck: Callable[[str], str],
                                                                         tmp_path: Path) -> None:
    new_deck("Drawn")
    folder = tmp_path / "drawn"
    for path, text in (("fronts/lamp.svg", _CARD.format("#c2410c")), ("fronts/tide.svg", _CARD.format("#1f5f6b")),
                       ("backs/back.svg", _CARD.format("#222222")),
                       ("fronts/fog.svg", svg('<rect width="50" height="50" style="filter:blur(2px)"/>'))):
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    choose_folder(page, folder)
    expect(page.locator(".pair")).to_have_count(2)
    front = page.get_by_alt_text("Front of lamp")
    expect(front).to_be_visible()
    page.wait_for_function("() => [...document.querySelectorAll('.pair img')].every((one) => one.naturalWidth > 0)")
    shown = Image.open(io.BytesIO(front.screenshot())).convert("RGB")
    red, _, blue = ImageStat.Stat(shown.crop((0, 0, shown.width, shown.height // 4))).mean
    assert red > 150 > 100 > blue
    expect(page.get_by_text("Has a filter, such as a blur or a shadow. It wouldn't be printed")).to_be_visible()
    expect(page.get_by_text("Save it as PDF from your drawing program.").first).to_be_visible()
