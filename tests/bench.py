"""``python -m tests.bench``: how fast and how small, each figure a ratio within the same run.

Art of 815 x 1110 pixels (69 x 94 mm at 300 ppi, a poker card with bleed) is invented here and kept in the system's
folder for temporary files. Compared with: copying the same files, and img2pdf, a general-purpose library that puts
images into PDFs. Each contender's best of several turns counts, and they take turns, so that a busy machine is busy for
all. ``--quick`` leaves the 540 and the 1,500 cards out.
"""

from __future__ import annotations

import argparse
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import img2pdf
import numpy as np
from PIL import Image, ImageDraw

from server.core.planning import plan_deck
from server.core.settings import DeckSettings
from server.drawing.sheet import draw_face
from server.drawing.svg_surface import SvgSurface
from server.intake.folder import read_folder
from server.prepress import build, prepare
from tests.bench_true_up import NUDGE_GOAL, nudge_ratio
from tests.simulated_printers import wander_table

WIDTH, HEIGHT = 815, 1110
PREVIEW_GOAL_MS = 200.0


@dataclass(frozen=True)
class Row:
    """One line of the table: what is compared, the ratio, the goal, and whether the goal is a ceiling."""

    what: str
    ratio: float
    goal: float | None
    ceiling: bool
    detail: str

    @property
    def verdict(self) -> str:
        if self.goal is None:
            return ""
        met = self.ratio <= self.goal if self.ceiling else self.ratio >= self.goal
        return "met" if met else "MISSED"


def art(number: int) -> Image.Image:
    """A card like a painted picture: a sky of soft colour, a lamp, its beam, and the grain of a scan."""
    random = np.random.default_rng(number)
    y, x = np.mgrid[0:HEIGHT, 0:WIDTH]
    top, bottom = random.integers(20, 200, 3), random.integers(20, 200, 3)
    share = (y / HEIGHT)[:, :, None]
    sky = top * (1 - share) + bottom * share
    waves = 18 * np.sin(x / random.uniform(20, 60)) * np.cos(y / random.uniform(20, 60))
    grain = random.normal(0, 5.0, (HEIGHT, WIDTH, 1)) + random.normal(0, 2.5, (HEIGHT, WIDTH, 3))
    picture = Image.fromarray(np.clip(sky + waves[:, :, None] + grain, 0, 255).astype(np.uint8))
    pen = ImageDraw.Draw(picture)
    for _ in range(14):
        left, up = int(random.integers(0, WIDTH - 200)), int(random.integers(0, HEIGHT - 200))
        colour = tuple(int(value) for value in random.integers(0, 256, 3))
        pen.ellipse((left, up, left + int(random.integers(20, 200)), up + int(random.integers(20, 200))), fill=colour)
    pen.rectangle((80, 850, WIDTH - 80, 1030), fill=(245, 238, 220))
    pen.text((110, 880), f"Harbour lamp {number}", fill=(30, 30, 40), font_size=44)
    return picture


def folder_of(kind: str, cards: int) -> Path:
    """A deck's folder with that many fronts, made once."""
    root = Path(tempfile.gettempdir()) / "lampfold-bench" / f"{kind}-{cards}"
    fronts = root / "fronts"
    fronts.mkdir(parents=True, exist_ok=True)
    for number in range(cards):
        path = fronts / f"card_{number:03}.{'jpg' if kind == 'jpeg' else kind}"
        if not path.exists():
            under_way = path.with_suffix(".part")
            art(number).save(under_way, kind.upper(), **({"quality": 90} if kind == "jpeg" else {"compress_level": 3}))
            under_way.replace(path)
    return root


def files_of(folder: Path) -> list[Path]:
    return sorted((folder / "fronts").iterdir())


def ours(folder: Path, out: Path) -> None:
    """The whole way of ``lampfold build``: scan the folder, prepare it, write."""
    found = read_folder(folder)
    build(prepare(found.deck, DeckSettings(), found.source), out)


def copied(folder: Path, out: Path) -> None:
    out.mkdir()
    for path in files_of(folder):
        shutil.copyfile(path, out / path.name)


def by_img2pdf(folder: Path, out: Path) -> None:
    with out.open("wb") as stream:
        img2pdf.convert([str(path) for path in files_of(folder)], outputstream=stream)


def best(turns: int, room: Path, **contenders: Callable[[Path], None]) -> dict[str, float]:
    """Seconds of each contender's best turn, all taking turns. Each writes to a name that isn't there yet."""
    times = dict.fromkeys(contenders, float("inf"))
    order = list(contenders)
    for turn in range(turns):
        for name in order[turn % len(order):] + order[:turn % len(order)]:
            run = contenders[name]
            out = room / name
            start = time.perf_counter()
            run(out)
            times[name] = min(times[name], time.perf_counter() - start)
            shutil.rmtree(out) if out.is_dir() else out.unlink(missing_ok=True)
    return times


def read_once(folder: Path) -> None:
    """Into the system's file cache, so that no contender waits for the disk."""
    for path in files_of(folder):
        path.read_bytes()


_CHILD = """
import resource, sys, tracemalloc
from pathlib import Path
import server.drawing.deck_pdf  # loaded before anything is counted
from server.core.settings import DeckSettings
from server.intake.folder import read_folder
from server.prepress import build, prepare
if sys.argv[3] == "python":
    tracemalloc.start()
found = read_folder(Path(sys.argv[1]))
build(prepare(found.deck, DeckSettings(), found.source), Path(sys.argv[2]))
status = Path("/proc/self/status")  # Linux counts what was there before this program began into ru_maxrss
if sys.argv[3] == "python":
    print(tracemalloc.get_traced_memory()[1])
elif status.exists():
    print(1024 * int(status.read_text().split("VmHWM:")[1].split()[0]))
else:
    print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * (1 if sys.platform == "darwin" else 1024))
"""


def peak_bytes(folder: Path, out: Path, of: str) -> int:
    """The peak of a process of its own that builds the deck: ``of`` "python" allocations, or of the whole "process"."""
    command = [sys.executable, "-c", _CHILD, str(folder), str(out), of]
    return int(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def speed_rows(kind: str, turns: int, room: Path) -> list[Row]:
    folder = folder_of(kind, 54)
    read_once(folder)
    times = best(turns, room, ours=lambda out: ours(folder, out), copied=lambda out: copied(folder, out),
                 img2pdf=lambda out: by_img2pdf(folder, out))
    art_bytes = sum(path.stat().st_size for path in files_of(folder))
    ours(folder, room / "size.pdf")
    pdf_bytes = (room / "size.pdf").stat().st_size
    (room / "size.pdf").unlink()
    mine, name = times["ours"], f"54 cards, {kind.upper()}"
    detail = f"{mine * 1000:.0f} ms, {art_bytes / 54e6:.2f} MB a card"
    against_copy = Row(f"{name}: time over a file copy's", mine / times["copied"], 1.3 if kind == "png" else None, True,
                       f"{detail}; copy {times['copied'] * 1000:.0f} ms")
    if kind == "png":
        against_library = Row(f"{name}: times faster than img2pdf", times["img2pdf"] / mine, 5.0, False,
                              f"img2pdf {times['img2pdf'] * 1000:.0f} ms")
    else:
        against_library = Row(f"{name}: time over img2pdf's", mine / times["img2pdf"], 1.2, True,
                              f"img2pdf {times['img2pdf'] * 1000:.0f} ms")
    return [against_copy, against_library,
            Row(f"{name}: PDF's size over the art's", pdf_bytes / art_bytes, 1.02, True, f"{pdf_bytes / 1e6:.1f} MB")]


def growth_rows(kind: str, turns: int, room: Path) -> list[Row]:
    few, many = folder_of(kind, 54), folder_of(kind, 540)
    read_once(few)
    read_once(many)
    times = best(turns, room, few=lambda out: ours(few, out), many=lambda out: ours(many, out))
    name = f"540 cards over 54, {kind.upper()}"
    rows = [Row(f"{name}: time", times["many"] / times["few"], 12.0, True, f"{times['many'] * 1000:.0f} ms")]
    if sys.platform == "win32":
        return rows  # it has no such account of a process's memory in the standard library
    whole = [peak_bytes(folder, room / "peak.pdf", "process") for folder in (few, many)]
    rows.append(Row(f"{name}: peak memory of the process", whole[1] / whole[0], 1.25, True,
                    f"{whole[0] / 1e6:.0f} and {whole[1] / 1e6:.0f} MB"))
    largest = 9 * max(path.stat().st_size for path in files_of(many))
    python = peak_bytes(many, room / "peak.pdf", "python")
    rows.append(Row(f"540 cards, {kind.upper()}: Python's peak over a sheet's art", python / largest, 1.0, True,
                    f"{python / 1e6:.1f} MB, a sheet's files {largest / 1e6:.1f} MB"))
    return rows


def preview_row(turns: int) -> Row:
    """What the Sheet page asks after each change of its form: plan again and draw the first face."""
    deck = read_folder(folder_of("png", 54)).deck
    least = float("inf")
    for turn in range(turns):
        settings = replace(DeckSettings(), bleed_mm=3.0 - turn * 0.001)
        start = time.perf_counter()
        planned = plan_deck(deck, settings)
        surface = SvgSurface(lambda drawn: f"/api/art/{drawn.key}")
        draw_face(surface, planned, planned.plan.faces[0], safe_zone=True)
        least = min(least, (time.perf_counter() - start) * 1000)
    return Row(f"Sheet preview, 54 cards: time over {PREVIEW_GOAL_MS:.0f} ms", least / PREVIEW_GOAL_MS, 1.0, True,
               f"{least:.1f} ms")


def upload_row(turns: int, room: Path) -> Row:
    """What a worker does with an upload (its header, one decode, its edges, a thumbnail) against Pillow's decode."""
    from server.formats.limits import DEFAULT_LIMITS
    from server.jobs.tasks import ReadOrder, read_file

    path = room / "large.png"
    art(3).resize((2200, 3000), Image.Resampling.BICUBIC).save(path)

    def decoded(_: Path) -> None:
        with Image.open(path) as picture:
            picture.load()

    def uploaded(out: Path) -> None:
        order = ReadOrder(path, "large.png", "large", out, DEFAULT_LIMITS)
        assert read_file(lambda *_: None, order).arts  # type: ignore[arg-type]

    times = best(turns, room, decoded=decoded, uploaded=uploaded)
    return Row("Upload of 2200x3000, PNG: time over Pillow's decode", times["uploaded"] / times["decoded"], 1.3, True,
               f"{times['uploaded'] * 1000:.0f} ms, decode {times['decoded'] * 1000:.0f} ms")


def printed(rows: list[Row]) -> str:
    width = max(len(row.what) for row in rows)
    lines = [f"{'what':<{width}}  {'ratio':>7}  {'goal':>8}  {'':6}  detail"]
    for row in rows:
        goal = "" if row.goal is None else f"{'<=' if row.ceiling else '>='} {row.goal:g}"
        lines.append(f"{row.what:<{width}}  {row.ratio:>7.2f}  {goal:>8}  {row.verdict:6}  {row.detail}")
    lines.append("Art is copied from the system's file cache, one file at a time, and no PDF library takes part.\n"
                 "Only where art is PDF itself does PyMuPDF keep the objects of the files that it has open.")
    return "\n".join(lines)


def main() -> None:
    from tests.bench_art import alpha_row, pdf_row
    from tests.bench_glow import glow_rows  # they take this table's rows, so they can't be loaded before them
    from tests.bench_hostile import hostile_rows
    from tests.bench_many import many_rows
    from tests.bench_memory import memory_row
    from tests.bench_release import release_rows

    parser = argparse.ArgumentParser(prog="python -m tests.bench", description=__doc__)
    parser.add_argument("--turns", type=int, default=7, help="turns of each contender (default: 7)")
    parser.add_argument("--quick", action="store_true", help="leave the 540 and the 1,500 cards out")
    options = parser.parse_args()
    with tempfile.TemporaryDirectory() as made:
        room = Path(made)
        rows = [*speed_rows("png", options.turns, room), *speed_rows("jpeg", options.turns, room)]
        if not options.quick:
            rows += [*growth_rows("png", 3, room), *growth_rows("jpeg", 3, room)]
            rows += [*release_rows("png", 2, room), *release_rows("jpeg", 2, room)]
        rows += [preview_row(options.turns), upload_row(options.turns, room)]
        rows += [alpha_row(options.turns, room), pdf_row(options.turns, room)]
    ratio, detail = nudge_ratio(options.turns)
    rows.append(Row("Nudge, 200 pages: time over open and save", ratio, NUDGE_GOAL, True, detail))
    rows += glow_rows(options.turns)
    if not options.quick:
        rows += many_rows()
        rows += [memory_row(), *hostile_rows()] if sys.platform == "linux" else []
    print(printed(rows))
    print(f"\n{wander_table()}")


if __name__ == "__main__":
    main()
