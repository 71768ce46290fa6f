"""Many files: what file 1,500 costs against file 100, over plain HTTP, the preview of 1,500 cards, and their Art page.

``python -m tests.bench_many``; ``many_rows`` gives the same lines to ``python -m tests.bench``. Two decks take files by
turns, one after its 75th and one after its 1,450th, so that a busy machine is busy for both. What they hold before is
put straight into the store. A preview counts in processor time, the server's and the client's together. The Art page is
another deck, 1,500 pictures sent as a person's are: when its first cards stand there with their pictures, the frames
while it is scrolled by 100 px in each, and while a name is typed into Find. The same pictures are chosen there as a
folder, until the last card stands there, against four clients that send them over plain HTTP, as many as the page does.
"""

from __future__ import annotations

import concurrent.futures
import statistics
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import httpx
from playwright.sync_api import Browser, CDPSession, Page, sync_playwright

from server.core.art import Art
from server.core.edge_bleed import ArtEdges, EdgeSeen
from server.store.art_records import ArtRecord
from server.store.deck_state import DeckFile
from server.store.decks import KeptBlob
from tests.bench import Row, printed
from tests.browser.conftest import _SWITCHES, browser_path, choose_folder
from tests.web.live import LiveServer, picture, running

CARDS, FEW, TURNS = 1500, 75, 50
UPLOAD_GOAL, PREVIEW_GOAL_MS, FIRST_GOAL_MS, BROWSER_GOAL = 1.3, 50.0, 1000.0, 2.0
_AT_ONCE = 4
# A frame that takes longer is felt: 50 ms is what a browser itself calls a long task (W3C, Long Tasks API, 3).
STALL_MS, FRAMES = 50.0, 120
_FLAT = EdgeSeen("flat", (40, 90, 200))


def upload_and_preview(cards: int = CARDS) -> tuple[float, float]:
    """(cost of the last fifty files against files 76 to 125, ms of a preview), of a deck of ``cards`` fronts and one
    back."""
    with tempfile.TemporaryDirectory() as folder, running(Path(folder) / "data") as server:
        client = server.client()
        decks = [_filled(server, client, count) for count in (FEW, cards - TURNS)]
        took: tuple[list[float], list[float]] = ([], [])
        for turn in range(TURNS):
            for place, deck in enumerate(decks):
                body = picture((turn, place, 90), (63, 88))
                before = time.perf_counter()
                client.put(f"/api/decks/{deck}/files/fronts/late-{turn}.png", content=body).raise_for_status()
                took[place].append(time.perf_counter() - before)
        early, late = (sum(sorted(some)[5:30]) for some in took)
        return late / early, _preview_ms(client, decks[1])


def _filled(server: LiveServer, client: httpx.Client, count: int) -> str:
    deck = str(client.post("/api/decks", json={"name": f"Many {count}"}).json()["id"])
    client.put(f"/api/decks/{deck}/files/backs/back.png", content=picture()).raise_for_status()
    edges = ArtEdges(_FLAT, _FLAT, _FLAT, _FLAT, rgb=_FLAT.rgb)  # as an upload has looked at them
    for number in range(count):
        key = f"{number:064x}"
        server.services.store.decks.put_file(
            deck, DeckFile(f"fronts/keeper-{number}.png", key, 5000, 0),
            KeptBlob(key, 5000, ArtRecord((Art("", key, "png", 744, 1039, edge_rgb=_FLAT.rgb, edges=edges),))),
            lambda count, size: None, "me")
    return deck


def _preview_ms(client: httpx.Client, deck: str) -> float:
    best = float("inf")
    for turn in range(8):
        ask = {"settings": {"gutter_mm": turn % 3 + 1}, "sheet": 0, "face": "front"}
        before = time.process_time()
        client.post(f"/api/decks/{deck}/plan", json=ask).raise_for_status()
        best = min(best, time.process_time() - before) if turn else best
    return best * 1000


# Called in the page: does ``step`` once a frame, ``turns`` times, and gives how long each frame took, in ms.
_FRAMES = """([turns, by]) => new Promise((done) => {
  const took = [];
  const frame = (now, last) => {
    if (last) took.push(now - last);
    if (took.length >= turns) done(took);
    else { scrollBy(0, by); requestAnimationFrame((next) => frame(next, now)); }
  };
  requestAnimationFrame((now) => frame(now, 0));
})"""
_THERE = """() => { const seen = [...document.querySelectorAll(".pair img")].slice(0, 6);
  return seen.length === 6 && seen.every((one) => one.complete && one.naturalWidth) && performance.now(); }"""
_LISTEN = """() => { window.frames_ms = []; let last = 0;
  const frame = (now) => { if (last) window.frames_ms.push(now - last); last = now; requestAnimationFrame(frame); };
  requestAnimationFrame(frame); }"""


@dataclass(frozen=True)
class ArtPage:
    """``first_ms`` until the first cards are there, the best of several visits; frames in ms: of scrolling half of them
    and 19 in 20 are no longer than that, in the best of several runs; of typing, the longest frame after each of the
    keys, the middle one. ``upload`` is how long a folder takes to come in there over plain HTTP."""

    upload: float
    first_ms: float
    scroll_ms: tuple[float, float]
    scroll_cpu_ms: float
    find_ms: float


def art_page(cards: int = CARDS) -> ArtPage | None:
    """None where there is no browser."""
    path = browser_path()
    if path is None:
        return None
    with (tempfile.TemporaryDirectory() as folder, running(Path(folder) / "data") as server,
          sync_playwright() as playwright):
        browser = playwright.chromium.launch(executable_path=path, args=_SWITCHES)
        deck, sent = _sent(server, _files(cards, 90))
        upload = _chosen(server, browser, Path(folder) / "Many", _files(cards, 91)) / sent
        context = browser.new_context(base_url=server.base, viewport={"width": 1280, "height": 900})
        context.request.get(server.entry())
        page = context.new_page()
        first = []
        for _ in range(5):
            page.goto(f"/decks/{deck}/art", wait_until="commit")
            first.append(page.wait_for_function(_THERE, timeout=120_000).json_value())
        page.wait_for_load_state("networkidle")
        clock = context.new_cdp_session(page)
        clock.send("Performance.enable", {"timeDomain": "threadTicks"})
        before = _page_seconds(clock)
        runs = [sorted(page.evaluate(_FRAMES, [FRAMES, 100])) for _ in range(4)]
        cpu = (_page_seconds(clock) - before) / FRAMES / len(runs)
        frames = min(runs, key=lambda some: some[FRAMES * 19 // 20])
        longest = _typed(page)
        browser.close()
        return ArtPage(upload, min(first), (frames[FRAMES // 2], frames[FRAMES * 19 // 20]), cpu * 1000,
                       statistics.median(longest))


def _files(cards: int, blue: int) -> dict[str, bytes]:
    """Fronts and one back; another ``blue`` makes all of them other pictures."""
    files = {f"fronts/keeper-{number:04}.png": picture((number % 256, number // 256 * 40, blue), (126, 176))
             for number in range(cards)}
    return {**files, "backs/back.png": picture((20, 60, blue), (126, 176))}


def _sent(server: LiveServer, files: dict[str, bytes]) -> tuple[str, float]:
    """A deck of these files, and the seconds that they took."""
    client = server.client()
    deck = server.deck({}, "Many", client)
    before = time.perf_counter()
    with concurrent.futures.ThreadPoolExecutor(_AT_ONCE) as pool:
        put = f"/api/decks/{deck}/files"
        answers = pool.map(lambda file: client.put(f"{put}/{file[0]}", content=file[1]), files.items())
        for answer in answers:
            answer.raise_for_status()
    return deck, time.perf_counter() - before


def _chosen(server: LiveServer, browser: Browser, folder: Path, files: dict[str, bytes]) -> float:
    """The seconds from choosing a folder until its last card is on the Art page."""
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    context = browser.new_context(base_url=server.base, viewport={"width": 1280, "height": 900})
    context.request.get(server.entry())
    page = context.new_page()
    page.goto(f"/decks/{server.deck({}, 'Chosen')}/art")
    before = time.perf_counter()
    choose_folder(page, folder)
    page.locator("[data-count]", has_text=f"· {len(files) - 1:,} fronts ·").wait_for(timeout=3_600_000)
    took = time.perf_counter() - before
    context.close()
    return took


def _page_seconds(clock: CDPSession) -> float:
    """Processor time that the page's own thread has taken."""
    metrics = clock.send("Performance.getMetrics")["metrics"]
    return float(next(one["value"] for one in metrics if one["name"] == "TaskDuration"))


def _typed(page: Page) -> list[float]:
    """The longest frame after each key of a name that is typed into Find, in ms."""
    page.evaluate("scrollTo(0, 0)")
    page.locator("[data-find]").focus()
    page.evaluate(_LISTEN)
    longest = []
    for key in "keeper-07":
        start = page.evaluate("window.frames_ms.length")
        page.keyboard.press(key)
        page.wait_for_function("(start) => window.frames_ms.length > start + 20", arg=start)
        longest.append(max(page.evaluate("(start) => window.frames_ms.slice(start)", start)))
    return longest


def many_rows() -> list[Row]:
    """Lines for the table of ``tests.bench``."""
    ratio, preview = upload_and_preview()
    rows = [Row(f"Upload: file {CARDS} over file 100", ratio, UPLOAD_GOAL, True, "over plain HTTP"),
            Row(f"Preview of {CARDS} cards: over {PREVIEW_GOAL_MS:.0f} ms", preview / PREVIEW_GOAL_MS, 1.0, True,
                f"{preview:.0f} ms of processor time, the client's counted in")]
    seen = art_page()
    if seen is None:
        return rows
    name = f"Art page, {CARDS} cards"
    half, most = seen.scroll_ms
    return [*rows,
            Row(f"{name}: a folder coming in over plain HTTP", seen.upload, BROWSER_GOAL, True,
                "until the last card is there"),
            Row(f"{name}: first cards over {FIRST_GOAL_MS:.0f} ms", seen.first_ms / FIRST_GOAL_MS, 1.0, True,
                f"{seen.first_ms:.0f} ms until they and their pictures are there"),
            Row(f"{name}: 19 frames of 20 in scrolling over {STALL_MS:.0f} ms", most / STALL_MS, 1.0, True,
                f"{half:.0f} ms and {most:.0f} ms; {seen.scroll_cpu_ms:.1f} ms of processor time each"),
            Row(f"{name}: a key in Find over {STALL_MS:.0f} ms", seen.find_ms / STALL_MS, 1.0, True,
                f"longest frame after it {seen.find_ms:.0f} ms")]


if __name__ == "__main__":
    print(printed(many_rows()))
