"""Ink against Pillow and numpy on what pdfium renders, and pale ink that leaves the art's bytes alone."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pikepdf
import pypdfium2
import pytest
from numpy.typing import NDArray

from server import cli
from tests.formats.artwork import encoded, picture, write

CHANNELS = ("cyan_percent", "magenta_percent", "yellow_percent", "black_percent")


def seen(path: Path) -> NDArray[np.float64]:
    """C, M, Y, K in percent, the mean over all pages as pdfium draws them at 144 dpi."""
    document = pypdfium2.PdfDocument(path)
    pages = []
    for page in document:
        rgb = page.render(scale=2).to_numpy()[:, :, ::-1] / 255.0
        black = 1 - rgb.max(axis=2)
        pages.append([*(100 * (1 - rgb[:, :, at] - black).mean() for at in range(3)), 100 * black.mean()])
    document.close()
    return np.mean(pages, axis=0)


def images(path: Path) -> list[bytes]:
    with pikepdf.open(path) as document:
        return sorted(item.read_raw_bytes() for item in document.objects
                      if isinstance(item, pikepdf.Stream) and item.get("/Subtype") == "/Image")


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """JPEG, PNG with and without alpha; a red card among noise, so that channels differ."""
    made = tmp_path / "Tides"
    red = picture(138, 188)
    red.paste((200, 30, 40), (0, 0, 138, 120))
    write(made, "fronts/red_x4.jpg", encoded("JPEG", red))
    write(made, "fronts/two_x3.png", encoded("PNG", picture(138, 188)))
    write(made, "fronts/three_x4.png", encoded("PNG", picture(138, 188, "RGBA")))
    write(made, "backs/back.png", encoded("PNG", picture(126, 176)))
    monkeypatch.chdir(tmp_path)
    return made


@pytest.mark.parametrize("options", [
    [], ["--method", "vertical-fold", "--cut-lines", "both"], ["--gutter", "4", "--back-flood", "#1f5f6b"],
], ids=" ".join)
def test_ink_is_what_is_seen_and_pale_saves_what_it_says(folder: Path, options: list[str],
                                                         capsys: pytest.CaptureFixture[str]) -> None:
    said = []
    for how in ("full", "pale"):
        assert cli.main(["build", str(folder), "--json", "--out", f"{how}.pdf", "--ink", how, *options]) == 0
        said.append(json.loads(capsys.readouterr().out))
    full, pale = (seen(Path(f"{how}.pdf")) for how in ("full", "pale"))
    assert full.sum() > 20 and full[1] > 3  # there is something to measure
    for values, found in zip(said, (full, pale), strict=True):
        assert [values["ink"][channel] for channel in CHANNELS] == pytest.approx(list(found), abs=1.0)
    assert said[0]["ink_saved_percent"] == 0
    assert said[1]["ink_saved_percent"] == pytest.approx(100 * (1 - pale.sum() / full.sum()), abs=1.0)
    assert said[1]["ink_saved_percent"] > 30
    assert images(Path("full.pdf")) == images(Path("pale.pdf"))  # byte for byte
    with pikepdf.open("pale.pdf") as document:
        assert document.check_pdf_syntax() == []
