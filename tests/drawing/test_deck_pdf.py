"""A whole deck as one PDF: valid, the same every time, small in memory, and all or nothing on disk."""

from __future__ import annotations

import errno
import os
import shutil
import subprocess
import sys
import tracemalloc
from collections import Counter
from pathlib import Path

import numpy as np
import pikepdf
import pytest
from PIL import Image

from server.core.art import Art, Card, Deck
from server.core.planning import Planned, plan_deck
from server.core.settings import DeckSettings
from server.drawing.deck_pdf import write_deck_pdf
from server.errors import Stopped, Unreadable
from tests.drawing.pdf_help import art_of, png_data

METHODS = ("duplex", "vertical-fold", "side-fold", "two-sheet")


def noisy(folder: Path, name: str, size: tuple[int, int] = (163, 222), seed: int = 0) -> Art:
    """Art of 69 x 94 mm at 60 ppi, that is 63 x 88 mm with 3 mm of bleed; JPEG or PNG by its name."""
    samples = np.random.default_rng(seed).integers(0, 256, (size[1], size[0], 3)).astype(np.uint8)
    path = folder / name
    Image.fromarray(samples).save(path)
    return art_of(path, "png" if name.endswith("png") else "jpeg", *size)


def small_deck(folder: Path, cards: int = 11) -> Deck:
    back = noisy(folder, "back.png", seed=99)
    fronts = [noisy(folder, f"front{at}.{'png' if at % 2 else 'jpg'}", seed=at) for at in range(cards)]
    return Deck("Harbour Φ", tuple(Card(f"card {at}", front, back, 1 + at % 3) for at, front in enumerate(fronts)))


def built(folder: Path, deck: Deck, out: Path, **settings: object) -> Planned:
    chosen = DeckSettings().changed(settings)
    planned = plan_deck(deck, chosen)
    write_deck_pdf(planned, deck, chosen, lambda art: folder / art.file, out)
    return planned


@pytest.mark.parametrize("method", METHODS)
def test_every_method_gives_a_valid_pdf_with_each_art_once(tmp_path: Path, method: str) -> None:
    deck = small_deck(tmp_path)
    out = tmp_path / "out.pdf"
    planned = built(tmp_path, deck, out, method=method)
    with pikepdf.open(out) as document:
        assert document.check_pdf_syntax() == []
        assert len(document.pages) == len(planned.plan.faces)
        everything = [item for item in document.objects if isinstance(item, pikepdf.Stream)]
        streams = Counter(item.read_raw_bytes() for item in everything if item.get("/Subtype") == "/Image")
    arts = {art.file for card in deck.cards for art in (card.front, card.back) if art}
    files = [(tmp_path / name).read_bytes() for name in arts]
    assert streams == Counter(png_data(data) if data[1:4] == b"PNG" else data for data in files)
    if shutil.which("qpdf") is None:
        pytest.skip("the qpdf program isn't installed; qpdf's own check has passed through pikepdf")
    assert subprocess.run(["qpdf", "--check", str(out)], capture_output=True, check=False).returncode == 0


@pytest.mark.parametrize(("method", "flip", "duplex"), [
    ("duplex", "long-edge", "/DuplexFlipLongEdge"), ("duplex", "short-edge", "/DuplexFlipShortEdge"),
    ("vertical-fold", "long-edge", "/Simplex"), ("side-fold", "long-edge", "/Simplex"),
    ("two-sheet", "long-edge", "/Simplex"),
])
def test_the_print_dialogue_is_asked_for_the_flip_of_the_plan(tmp_path: Path, method: str, flip: str,
                                                              duplex: str) -> None:
    # ISO 32000-1, Table 150.
    out = tmp_path / "out.pdf"
    built(tmp_path, small_deck(tmp_path, 2), out, method=method, flip=flip)
    with pikepdf.open(out) as document:
        assert document.Root.ViewerPreferences.Duplex == duplex


@pytest.mark.parametrize("method", METHODS)
def test_the_same_deck_gives_the_same_bytes(tmp_path: Path, method: str) -> None:
    deck = small_deck(tmp_path)
    for name in ("one.pdf", "two.pdf"):
        built(tmp_path, deck, tmp_path / name, method=method)
    assert (tmp_path / "one.pdf").read_bytes() == (tmp_path / "two.pdf").read_bytes()


def test_other_processes_with_other_hash_seeds_give_the_same_bytes(tmp_path: Path) -> None:
    small_deck(tmp_path, 4)
    script = ("import sys; from pathlib import Path; from tests.drawing import test_deck_pdf as t; "
              "f = Path(sys.argv[1]); t.built(f, t.small_deck(f, 4), f / sys.argv[2])")
    for seed in ("1", "2"):
        subprocess.run([sys.executable, "-c", script, str(tmp_path), f"{seed}.pdf"], check=True,
                       cwd=Path(__file__).parents[2], env={**os.environ, "PYTHONHASHSEED": seed})
    assert (tmp_path / "1.pdf").read_bytes() == (tmp_path / "2.pdf").read_bytes()


def test_memory_doesnt_grow_with_the_deck(tmp_path: Path) -> None:
    arts = [noisy(tmp_path, f"{at}.png", seed=at) for at in range(60)]
    peaks = []
    for count in (10, 60):
        deck = Deck("Many", tuple(Card(art.file, art) for art in arts[:count]))
        settings = DeckSettings()
        planned = plan_deck(deck, settings)
        _ = [planned.fit(art) for art in arts[:count]], planned.plan.faces
        tracemalloc.start()
        write_deck_pdf(planned, deck, settings, lambda art: tmp_path / art.file, tmp_path / "out.pdf")
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    # What is kept for each image (a number, a matrix) is hundreds of bytes; the images are 100 kB each, and a few of
    # them are under way to the disk at once.
    assert peaks[1] - peaks[0] < 600_000
    assert (tmp_path / "out.pdf").stat().st_size > 5_000_000


def test_progress_counts_every_face(tmp_path: Path) -> None:
    deck, settings = small_deck(tmp_path), DeckSettings()
    told: list[tuple[int, int]] = []
    planned = plan_deck(deck, settings)
    write_deck_pdf(planned, deck, settings, lambda art: tmp_path / art.file, tmp_path / "out.pdf",
                   progress=lambda done, total: told.append((done, total)))
    total = len(planned.plan.faces)
    assert told == [(done, total) for done in range(total + 1)]


def test_a_cancelled_build_leaves_what_was_there(tmp_path: Path) -> None:
    deck, settings = small_deck(tmp_path), DeckSettings()
    out = tmp_path / "pdf" / "out.pdf"
    out.parent.mkdir()
    out.write_bytes(b"the last one")
    answers = iter((False, True))
    with pytest.raises(Stopped):
        write_deck_pdf(plan_deck(deck, settings), deck, settings, lambda art: tmp_path / art.file, out,
                       cancelled=lambda: next(answers))
    assert [path.name for path in out.parent.iterdir()] == ["out.pdf"]
    assert out.read_bytes() == b"the last one"


def test_broken_art_is_named_and_nothing_is_left_behind(tmp_path: Path) -> None:
    deck = small_deck(tmp_path)
    broken = tmp_path / "front5.png"
    broken.write_bytes(broken.read_bytes()[:-500])
    out = tmp_path / "pdf" / "out.pdf"
    out.parent.mkdir()
    with pytest.raises(Unreadable, match=r"^front5\.png: "):
        built(tmp_path, deck, out)
    assert list(out.parent.iterdir()) == []


def test_a_disk_that_refuses_is_told_as_such(tmp_path: Path) -> None:
    with pytest.raises(OSError, match=r"nowhere"):
        built(tmp_path, small_deck(tmp_path, 2), tmp_path / "nowhere" / "out.pdf")


@pytest.mark.parametrize("after", [0, 1])
def test_a_disk_that_fills_up_behind_our_back_is_told_and_nothing_is_left(tmp_path: Path, after: int,
                                                                          monkeypatch: pytest.MonkeyPatch) -> None:
    calls = iter(range(100))

    def refusing(handle: int, part: memoryview, at: int) -> int:
        if next(calls) >= after:
            raise OSError(errno.ENOSPC, "No space left on device")
        return whole(handle, part, at)
    if not hasattr(os, "pwrite"):
        pytest.skip("this system has no writing to a place")
    whole = os.pwrite
    monkeypatch.setattr(os, "pwrite", refusing)
    arts = [noisy(tmp_path, f"{at}.png", (326, 444), seed=at) for at in range(3)]  # large enough for the thread
    out = tmp_path / "pdf" / "out.pdf"
    out.parent.mkdir()
    with pytest.raises(OSError, match="No space left"):
        built(tmp_path, Deck("Full", tuple(Card(art.file, art) for art in arts)), out)
    assert list(out.parent.iterdir()) == []
