"""``python -m tests.bench_glow``: leeway against Pillow's own decoding, and frame times of the Glow page.

``glow_rows`` gives the same lines to ``python -m tests.bench``. Leeway is the whole way from files to numbers; Pillow
decodes the same files one after another. Frame times are taken in a real browser while a slider is dragged over a sheet
of nine cards: between frames as the browser shows them, and what of each the page itself takes.
"""

from __future__ import annotations

import io
import statistics
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from PIL import Image, ImageDraw
from playwright.sync_api import Page, sync_playwright

from server.core.bleed import decide
from server.core.geometry import Edges
from server.core.leeway import leeway, on_card
from server.core.sizes import CARD_SIZES
from server.errors import Unreadable
from server.formats.reader import read_art
from server.intake.border import measure_backs
from tests.bench import Row, art, printed
from tests.browser.conftest import _SWITCHES, browser_path
from tests.web.live import LiveServer, running

BACKS = 54
FRAME_MS = 1000 / 60
_BORDER_PX = 84  # 35 px of bleed and 4 mm of border
_TAKE = """() => {
  window.frames_ms = []; window.page_ms = []; let before = 0; window.taking = true;
  const draw = (now) => {
    if (before) frames_ms.push(now - before);
    before = now;
    if (taking) requestAnimationFrame(draw);
  };
  const ask = window.requestAnimationFrame.bind(window);
  if (!window.timed) {
    window.timed = true;
    window.requestAnimationFrame = (act) => ask((now) => {
      const start = performance.now();
      act(now);
      if (act.name !== "draw" && window.taking) page_ms.push(performance.now() - start);
    });
  }
  ask(draw);
}"""


def backs_of(kind: str, framed: bool) -> list[Path]:
    """54 backs of 815 x 1110 pixels, made once: pictures to the edge, or pictures within an even border."""
    root = Path(tempfile.gettempdir()) / "lampfold-bench" / f"backs-{kind}-{'framed' if framed else 'full'}"
    root.mkdir(parents=True, exist_ok=True)
    paths = [root / f"back_{number:03}.{kind}" for number in range(BACKS)]
    for number, path in enumerate(paths):
        if not path.exists():
            image = art(number)
            if framed:
                ground = (30 + 3 * number, 60, 110)
                pen = ImageDraw.Draw(image)
                width, height = image.size
                for box in ((0, 0, width, _BORDER_PX), (0, height - _BORDER_PX, width, height),
                            (0, 0, _BORDER_PX, height), (width - _BORDER_PX, 0, width, height)):
                    pen.rectangle(box, fill=ground)
            under_way = path.with_suffix(".part")
            image.save(under_way, kind.upper(), **({"quality": 90} if kind == "jpeg" else {"compress_level": 3}))
            under_way.replace(path)
    return paths


def decoded(paths: list[Path]) -> None:
    for path in paths:
        with Image.open(path) as image:
            image.load()


def measured(paths: list[Path]) -> int:
    """From files to leeway; returns how many have a border that can be cut into."""
    card, found = CARD_SIZES["poker-metric"], 0
    arts = {f"{number}": read_art(path, path.name, f"{number}")[0] for number, path in enumerate(paths)}
    fits = {key: decide(one, card, 3.0, "auto") for key, one in arts.items()}
    profiles = measure_backs([(arts[key], fits[key]) for key in arts], lambda one: paths[int(one.key)], card)
    for key, profile in profiles.items():
        assert not isinstance(profile, Unreadable)
        told = leeway(on_card(profile, fits[key], card, Edges.all(3.0)))
        found += told.art_cut_mm.left is not None
    return found


def seconds(turns: int, *runs: Callable[[], object]) -> list[float]:
    """Each contender's best turn, all taking turns."""
    times = [float("inf")] * len(runs)
    for _ in range(turns):
        for at, run in enumerate(runs):
            start = time.perf_counter()
            run()
            times[at] = min(times[at], time.perf_counter() - start)
    return times


def leeway_rows(turns: int) -> list[Row]:
    rows = []
    for kind in ("png", "jpeg"):
        for framed in (False, True):
            paths = backs_of(kind, framed)
            assert measured(paths) == (BACKS if framed else 0)
            ours, pillow = seconds(turns, partial(measured, paths), partial(decoded, paths))
            rows.append(Row(f"Leeway of {BACKS} backs, {kind.upper()}, {'border' if framed else 'full'}: over decoding",
                            ours / pillow, 1.5, True, f"{ours * 1000:.0f} ms, Pillow {pillow * 1000:.0f} ms"))
    return rows


def nine_cards() -> dict[str, bytes]:
    """Fronts and backs of their own for one full sheet, as painted pictures."""
    files = {}
    for number in range(9):
        for side in ("fronts", "backs"):
            out = io.BytesIO()
            art(number + (100 if side == "backs" else 0)).save(out, "JPEG", quality=90)
            files[f"{side}/keeper-{number}.jpg"] = out.getvalue()
    return files


def drag(page: Page, label: str, steps: int = 180) -> tuple[list[float], list[float]]:
    """Drag a slider to and fro. Milliseconds between frames, and of each frame's own work in the page."""
    slider = page.get_by_label(label)
    slider.scroll_into_view_if_needed()
    box = slider.bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.evaluate(_TAKE)
    for step in range(steps):
        page.mouse.move(x + box["width"] * 0.35 * (1 - abs(step % 60 - 30) / 15), y)
    page.evaluate("() => { window.taking = false; }")
    page.mouse.up()
    between: list[float] = page.evaluate("frames_ms")
    own: list[float] = page.evaluate("page_ms")
    return between, own


def frame_rows() -> list[Row]:
    path = browser_path()
    if path is None:
        return []
    with tempfile.TemporaryDirectory() as made, running(Path(made) / "data") as server, sync_playwright() as player:
        browser = player.chromium.launch(executable_path=path, args=_SWITCHES)
        try:
            return _frame_rows(browser.new_page(base_url=server.base, viewport={"width": 1280, "height": 900}), server)
        finally:
            browser.close()


def _frame_rows(page: Page, server: LiveServer) -> list[Row]:
    deck = server.deck(nine_cards(), "Nine")
    page.context.request.get(server.entry())
    page.goto(f"/decks/{deck}/glow")
    page.wait_for_selector("body[data-sheet-shown]", timeout=120_000)
    drag(page, "Right, slider", 40)  # the first frames compile and upload
    between, own = drag(page, "Right, slider")
    median, high = statistics.median(between), statistics.quantiles(between, n=20)[-1]
    own_median, own_high = statistics.median(own), statistics.quantiles(own, n=20)[-1]
    detail = f"{len(between)} frames; the page's own work {own_median:.1f} ms median, {own_high:.1f} ms 95th percentile"
    return [Row("Glow, slider dragged over 9 cards: frame over 1/60 s, median", median / FRAME_MS, 1.1, True,
                f"{median:.1f} ms; {detail}"),
            Row("Glow, slider dragged over 9 cards: frame over 1/60 s, 95 %", high / FRAME_MS, None, True,
                f"{high:.1f} ms")]


def glow_rows(turns: int) -> list[Row]:
    """Every line about the Glow page."""
    return [*leeway_rows(turns), *frame_rows()]


if __name__ == "__main__":
    print(printed(glow_rows(5)))
