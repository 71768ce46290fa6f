"""``lampfold release`` from the outside: what the pack holds, opened by zipfile, pdfium and pikepdf."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import zipfile
from pathlib import Path

import pikepdf
import pypdfium2
import pytest
from PIL import Image

from server.cli import main


@pytest.fixture
def decks(tmp_path: Path) -> tuple[Path, Path]:
    for name, count, size in (("Lamps", 10, (126, 176)), ("Tides", 3, (140, 240))):
        (tmp_path / name / "fronts").mkdir(parents=True)
        (tmp_path / name / "backs").mkdir()
        for number in range(count):
            Image.new("RGB", size, (20 * number, 90, 160)).save(tmp_path / name / "fronts" / f"{number}.png")
        Image.new("RGB", size, (20, 60, 90)).save(tmp_path / name / "backs" / "back.png")
    (tmp_path / "rules.txt").write_text("Turn a card.", encoding="utf-8")
    return tmp_path / "Lamps", tmp_path / "Tides"


def test_a_pack_holds_every_choice_and_the_same_bytes_each_time(decks: tuple[Path, Path], tmp_path: Path) -> None:
    choices = ["--version", "0.3", "--papers", "a4,letter", "--methods", "duplex,fronts-only", "--ink", "full,pale",
               "--extra", str(tmp_path / "rules.txt"), "--box", "tuck"]
    for name in ("one.zip", "two.zip"):
        assert main(["release", *map(str, decks), *choices, "--out", str(tmp_path / name)]) == 0
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()
    with zipfile.ZipFile(tmp_path / "one.zip") as pack:
        assert pack.testzip() is None and {entry.date_time[0] for entry in pack.infolist()} == {1980}
        names = pack.namelist()
        manifest = json.loads(pack.read("manifest.json"))
        files = {name: pack.read(name) for name in names}
    wanted = {f"{deck}/{deck}-0.3-{method}-{paper}-{kind}.pdf" for deck in ("Lamps", "Tides")
              for method in ("duplex", "fronts-only") for paper in ("a4", "letter")
              for kind in ("full", "pale", "guide", "box")}
    assert set(names) == wanted | {"index.pdf", "extras/rules.txt", "manifest.json"}
    assert {one["file"]: one["sha256"] for one in manifest["files"]} == {
        name: hashlib.sha256(content).hexdigest() for name, content in files.items() if name != "manifest.json"}
    _look_inside(files)


def _look_inside(files: dict[str, bytes]) -> None:
    """Ten cards of 63 x 88 mm take two sheets of A4, so four pages by duplex; the page is the paper that the name says;
    pale is lighter by about half; the index names every PDF."""
    for paper, size in (("a4", (595.28, 841.89)), ("letter", (612, 792))):
        with pikepdf.open(io.BytesIO(files[f"Lamps/Lamps-0.3-duplex-{paper}-full.pdf"])) as pdf:
            assert len(pdf.pages) == 4
            assert [float(one) for one in pdf.pages[0].mediabox[2:]] == pytest.approx(size, abs=0.02)
    with pikepdf.open(io.BytesIO(files["Lamps/Lamps-0.3-fronts-only-a4-full.pdf"])) as pdf:
        assert len(pdf.pages) == 2
    lightness = {}
    for ink in ("full", "pale"):
        with pypdfium2.PdfDocument(files[f"Lamps/Lamps-0.3-duplex-a4-{ink}.pdf"]) as pdf:
            lightness[ink] = 255 - pdf[0].render(scale=0.5).to_numpy().mean()
    assert lightness["pale"] == pytest.approx(lightness["full"] / 2, rel=0.15)
    with pypdfium2.PdfDocument(files["index.pdf"]) as pdf:
        words = " ".join(page.get_textpage().get_text_range() for page in pdf)
    with pypdfium2.PdfDocument(files["Tides/Tides-0.3-fronts-only-letter-box.pdf"]) as pdf:
        assert len(pdf) == 1 and pdf.get_page_size(0) == (612, 792)
    assert "Lamps and Tides 0.3" in words and "10 cards" in words and "extras/rules.txt" in words
    assert all(name in words.replace("\r\n", "") for name in files if name.endswith(("-full.pdf", "-pale.pdf")))


def test_art_that_is_broken_is_said(decks: tuple[Path, Path], tmp_path: Path,
                                    capsys: pytest.CaptureFixture[str]) -> None:
    for name, harm in (("0", lambda data: data[:-30]), ("1", lambda data: data[:-20] + b"\xff" + data[-19:])):
        path = decks[1] / f"fronts/{name}.png"
        path.write_bytes(harm(path.read_bytes()))
    assert main(["release", str(decks[1]), "--version", "1", "--papers", "a4", "--out", str(tmp_path / "x.zip")]) == 0
    said = capsys.readouterr().out.partition("Not in it")[2]
    assert "fronts/0.png" in said and "fronts/1.png" in said
    with zipfile.ZipFile(tmp_path / "x.zip") as pack, pypdfium2.PdfDocument(pack.read("index.pdf")) as pdf:
        words = pdf[0].get_textpage().get_text_range()
    assert "1 card" in words and "0.png" not in words  # which file broke is the maker's to know


def test_decks_of_one_name_have_folders_of_their_own(decks: tuple[Path, Path], tmp_path: Path,
                                                     capsys: pytest.CaptureFixture[str]) -> None:
    """Names in other scripts and the same name twice; letters outside ASCII are spelt, so that every system unpacks."""
    named = [decks[1].rename(tmp_path / "Große Gezeiten"), decks[0].rename(tmp_path / "海")]
    for folder in ("カード", "old/grosse-gezeiten"):
        (tmp_path / folder).parent.mkdir(exist_ok=True)
        named.append(shutil.copytree(named[0], tmp_path / folder))
    assert main(["release", *map(str, named), "--version", "1", "--papers", "a4", "--methods", "fronts-only",
                 "--out", str(tmp_path / "x.zip"), "--json"]) == 0
    files = [one["file"] for one in json.loads(capsys.readouterr().out)["files"]]
    names = ("Grosse-Gezeiten", "deck", "deck-2", "grosse-gezeiten-2")
    assert [file for file in files if file.endswith("-full.pdf")] == [
        f"{name}/{name}-1-fronts-only-a4-full.pdf" for name in names]
    with zipfile.ZipFile(tmp_path / "x.zip") as pack, pypdfium2.PdfDocument(pack.read("index.pdf")) as pdf:
        words = " ".join(page.get_textpage().get_text_range() for page in pdf)
    assert "1 sheet." in words and "3 cards" in words and "1 sheets" not in words


def test_what_does_not_fit_is_said_and_the_rest_is_packed(decks: tuple[Path, Path], tmp_path: Path,
                                                          capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["release", str(decks[1]), "--version", "1", "--papers", "a5,a4", "--methods", "vertical-fold",
                 "--card", "100x135", "--out", str(tmp_path / "x.zip"), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert len(said["left_out"]) == 1 and "vertical-fold on a5" in said["left_out"][0]
    assert said["files"][0]["file"] == "Tides/Tides-1-vertical-fold-a4-full.pdf"


@pytest.mark.parametrize(("more", "names"), [
    (("--version", ""), "--version"), (("--version", "1", "--ink", "neon"), "--ink"),
    (("--version", "1", "--papers", "a11"), "a11"), (("--version", "1", "--methods", "origami"), "origami"),
    (("--version", "1", "--extra", "gone.txt"), "gone.txt"), (("--version", "x" * 40), "--version"),
    (("--version", "1", "--papers", "a5", "--card", "200x280"), "nothing fits"),
    (("--version", "1", "--papers", "a5", "--card", "200x280"), "other methods (--methods)"),
    # an option that would be passed over is refused
    (("--version", "1", "--method", "two-sheet"), "--method two-sheet"),
    (("--version", "1", "--paper", "a5"), "--paper a5"),
])
def test_what_is_refused_is_named_and_leaves_nothing(decks: tuple[Path, Path], tmp_path: Path, more: tuple[str, ...],
                                                     names: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["release", str(decks[0]), *more, "--out", str(tmp_path / "x.zip")]) == 2
    assert names in capsys.readouterr().err
    assert not list(tmp_path.glob("*x.zip*"))
