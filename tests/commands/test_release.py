"""``lampfold release`` from the outside: what the pack holds, opened by zipfile, pdfium and pikepdf."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import numpy as np
import pikepdf
import pymupdf
import pypdfium2
import pytest
from PIL import Image

from server.cli import main
from server.core.art import Art
from server.drawing.pdf_images import ImageWriter
from server.drawing.pdf_import import PageImporter
from server.formats import shrink
from server.formats.limits import DEFAULT_LIMITS
from server.formats.reader import read_art
from server.formats.shrink import Order, Shrinking
from server.prepress import pack as packs
from server.prepress.small_pictures import MOST_PICTURES
from tests.formats.artwork import encoded, pdf, picture, write


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


def _same_pages(one: bytes, other: bytes) -> None:
    with pypdfium2.PdfDocument(one) as first, pypdfium2.PdfDocument(other) as second:
        assert len(first) == len(second)
        for number in range(len(first)):
            ours, theirs = (document[number].render(scale=1).to_numpy().astype(int) for document in (first, second))
            assert np.abs(ours - theirs).max() <= 1
    with pikepdf.open(io.BytesIO(one)) as document:
        assert document.check_pdf_syntax() == []
        layers = [str(group.Name) for group in document.Root.OCProperties.OCGs]
        assert len({layer for layer in layers if layer.startswith("Layer")}) == 1


def test_art_of_every_kind_is_read_once_and_each_variant_prints_as_a_build_does(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = tmp_path / "Mixed"
    for kind in ("png", "jpeg", "webp", "tiff", "pdf"):
        write(folder, f"fronts/{kind}.{kind}", pdf() if kind == "pdf" else encoded(kind))
    write(folder, "fronts/clear.png", encoded("png", picture(mode="RGBA")))
    with pymupdf.open() as layered:  # its layer has to be named in every PDF that shows the page
        page = layered.new_page(width=63 * 72 / 25.4, height=88 * 72 / 25.4)
        page.draw_rect((10, 10, 90, 90), fill=(1, 0, 0), oc=layered.add_ocg("Layer of lamps"))
        write(folder, "backs/back.pdf", layered.tobytes())
    added: list[tuple[str, str]] = []
    members = [""]
    writing = packs.Pack.writing

    def noting(pack: packs.Pack, name: str, part: packs.MemberPart, **about: Any) -> Any:
        members.append(part)
        return writing(pack, name, part, **about)
    monkeypatch.setattr(packs.Pack, "writing", noting)
    for writer in (ImageWriter, PageImporter):
        def adding(self: Any, art: Art, path: Path, add: Any = writer.add) -> Any:
            added.append((members[-1], art.key))
            return add(self, art, path)
        monkeypatch.setattr(writer, "add", adding)
    assert main(["release", str(folder), "--version", "2", "--papers", "a4,letter", "--methods",
                 "duplex,vertical-fold", "--ink", "full,pale", "--out", str(tmp_path / "x.zip")]) == 0
    for_sheets = [key for part, key in added if part == "sheets"]  # guides and the index show some of it, too
    assert len(for_sheets) == len(set(for_sheets)) == 7
    with zipfile.ZipFile(tmp_path / "x.zip") as pack:
        assert pack.testzip() is None
        for method, paper, ink in (("duplex", "a4", "full"), ("vertical-fold", "letter", "pale")):
            out = tmp_path / "one.pdf"
            assert main(["build", str(folder), "--method", method, "--paper", paper, "--ink", ink, "--version",
                         "2", "--out", str(out)]) == 0
            _same_pages(pack.read(f"Mixed/Mixed-2-{method}-{paper}-{ink}.pdf"), out.read_bytes())


def test_torn_art_is_left_out_of_every_variant_wherever_it_comes_to_light(tmp_path: Path) -> None:
    # By the first method backs aren't looked at; by the second a torn one is, after the first one's PDF is packed.
    for name in ("front0", "front1", "front2", "back1"):
        noise = Image.effect_noise((690, 940), 90 + len(name)).convert("RGB")
        path = write(tmp_path / "Torn", f"{name[:-1]}s/{name[-1]}.png", encoded("PNG", noise))
        if name in ("front2", "back1"):
            content = bytearray(path.read_bytes())
            content[len(content) // 2] ^= 1
            path.write_bytes(content)
    assert main(["release", str(tmp_path / "Torn"), "--version", "2", "--papers", "a4", "--methods",
                 "fronts-only,duplex", "--ink", "full,pale", "--out", str(tmp_path / "x.zip")]) == 0
    with zipfile.ZipFile(tmp_path / "x.zip") as pack:
        assert pack.testzip() is None
        manifest = json.loads(pack.read("manifest.json"))
        assert all(one["sha256"] == hashlib.sha256(pack.read(one["file"])).hexdigest() for one in manifest["files"])
        for ink in ("full", "pale"):
            for method, pages in (("fronts-only", 1), ("duplex", 2)):
                with pikepdf.open(io.BytesIO(pack.read(f"Torn/Torn-2-{method}-a4-{ink}.pdf"))) as document:
                    assert len(document.pages) == pages
                    assert len(document.pages[0].Resources.XObject) == 2  # fronts that are whole
    assert not list(tmp_path.glob(".x.zip*"))


_FRESH = """
import sys
from server.cli import main
code = main(sys.argv[1:])
sys.exit(code or "PIL" in sys.modules and "a decoder was loaded" or 0)
"""


def test_a_large_deck_shows_some_cards_and_names_the_others_and_its_process_loads_no_decoder(tmp_path: Path) -> None:
    for number in range(MOST_PICTURES + 30):
        size = (815, 1110) if number == 0 else (163, 222)  # with bleed: 69 x 94 mm
        noise = Image.effect_noise(size, 200) if number == 0 else Image.new("L", size, number)
        write(tmp_path / "Many", f"fronts/card{number:03}.png", encoded("PNG", noise.convert("RGB")))
    out = tmp_path / "x.zip"
    subprocess.run([sys.executable, "-c", _FRESH, "release", str(tmp_path / "Many"), "--version", "1", "--papers", "a4",
                    "--out", str(out)], check=True, capture_output=True)
    with zipfile.ZipFile(out) as pack, pikepdf.open(io.BytesIO(pack.read("index.pdf"))) as document:
        images = {str(image.objgen): image for page in document.pages for image in page.Resources.XObject.values()
                  if image.Subtype == "/Image"}
        with pypdfium2.PdfDocument(pack.read("index.pdf")) as index:
            words = " ".join("".join(page.get_textpage().get_text_range() for page in index).split())
    assert len(images) == MOST_PICTURES
    small = [image for image in images.values() if image.Filter == "/DCTDecode"]  # what was shrunk
    assert [(int(image.Width), int(image.Height)) for image in small] == [(163, 222)]
    assert all(words.count(f"card{number:03}") == 1 for number in range(MOST_PICTURES + 30))
    assert words.count("1 × card") == MOST_PICTURES and "Also in the deck: card" in words


def test_pictures_that_their_process_leaves_are_made_all_the_same(tmp_path: Path,
                                                                  monkeypatch: pytest.MonkeyPatch) -> None:
    path = write(tmp_path, "lamp.png", encoded("PNG", picture(630, 880)))
    art, = read_art(path, "lamp.png", "k")
    monkeypatch.setattr(sys, "executable", str(tmp_path / "nothing"))
    monkeypatch.setattr(shrink, "has_decoder", lambda: False)
    shrinking = Shrinking([Order(art, path, tmp_path / "small.jpg")], 200, DEFAULT_LIMITS)
    shrinking.finish()
    shrinking.end()
    with Image.open(tmp_path / "small.jpg") as small:
        assert max(small.size) in range(200, 400)


@pytest.mark.parametrize("wide", [False, True])
def test_a_pack_of_any_size_is_one_that_others_read(tmp_path: Path, wide: bool,
                                                    monkeypatch: pytest.MonkeyPatch) -> None:
    # The fields for more than 4 GiB (APPNOTE.TXT, 4.5.3), written for less, read by zipfile.
    if wide:
        monkeypatch.setattr(packs, "_MANY", 2)
        monkeypatch.setattr(packs, "_LET_GO_BYTES", 1000)
    path = tmp_path / "x.zip"
    with path.open("xb", buffering=0) as stream:
        pack = packs.Pack(stream, path)
        with pack.writing("Lämpchen/one.pdf", "sheets") as inside:
            inside.write(b"art" * 999_999)
            beginning = inside.so_far()
            inside.write(b"first")
        with pytest.raises(RuntimeError), pack.writing("torn.pdf", "sheets") as inside:
            inside.write(b"half")
            raise RuntimeError
        with pack.writing("two.pdf", "sheets") as inside:
            inside.repeat(beginning)
            inside.write(b"second")
        pack.seal({"release": "1"})
    with zipfile.ZipFile(path) as read:
        assert read.testzip() is None
        assert read.namelist() == ["Lämpchen/one.pdf", "two.pdf", "manifest.json"]
        assert read.read("two.pdf") == b"art" * 999_999 + b"second"
        manifest = json.loads(read.read("manifest.json"))
        assert [one["sha256"] for one in manifest["files"]] == [
            hashlib.sha256(read.read(name)).hexdigest() for name in read.namelist()[:2]]
    assert (b"PK\6\6" in path.read_bytes()[-300:]) == wide
