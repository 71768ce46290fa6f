"""``lampfold cuts``: SVG read back in mm by the standard library, marks found in the PDF as pdfium draws it."""

from __future__ import annotations

import json
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pypdfium2
import pytest

from server import cli
from tests.formats.artwork import encoded, picture, write

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    made = tmp_path / "Tides"
    write(made, "fronts/one_x10.png", encoded("PNG", picture(138, 188)))
    write(made, "backs/back.png", encoded("PNG", picture(138, 188, "L")))
    monkeypatch.chdir(tmp_path)
    return made


def length(text: str) -> float:
    assert text.endswith("mm")
    return float(text.removesuffix("mm"))


def groups(path: Path) -> tuple[tuple[float, float], dict[str, ElementTree.Element]]:
    """The page's size in mm, and the three groups. One user unit is one millimetre."""
    root = ElementTree.parse(path).getroot()
    size = length(root.attrib["width"]), length(root.attrib["height"])
    assert [float(value) for value in root.attrib["viewBox"].split()] == [0, 0, *size]
    return size, {group.attrib["id"]: group for group in root.findall(f"{SVG}g")}


@pytest.mark.parametrize("options", [
    ["--method", "duplex"], ["--method", "vertical-fold", "--core", "1"], ["--method", "side-fold"],
    ["--method", "two-sheet"], ["--paper", "letter", "--gutter", "4"],
    ["--method", "side-fold", "--back-flood", "#102030"],
], ids=" ".join)
def test_contours_are_the_trims_and_marks_lie_where_the_pdf_has_them(
        folder: Path, options: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["build", str(folder), "--registration", "--plan", "plan.json", *options]) == 0
    assert cli.main(["cuts", str(folder), "--svg", "svg", "--out", "cut.pdf", "--corner-radius", "2.5", *options]) == 0
    plan = json.loads(Path("plan.json").read_text(encoding="utf-8"))
    fronts = [page for page in plan["pages"] if page["face"] != "back"]
    files = sorted(Path("svg").iterdir())
    assert [file.name for file in files] == [f"sheet-{number + 1:02d}.svg" for number in range(plan["sheets"])]
    document = pypdfium2.PdfDocument("cut.pdf")
    for file, page in zip(files, fronts, strict=True):
        size, found = groups(file)
        assert size == pytest.approx((plan["paper"]["width"], plan["paper"]["height"]))
        assert set(found) == {"cut", "creases", "registration"}
        contours = sorted(tuple(float(rect.attrib[name]) for name in ("x", "y", "width", "height", "rx", "ry"))
                          for rect in found["cut"])
        trims = sorted((*(one["trim"][name] for name in ("x", "y", "width", "height")), 2.5, 2.5)
                       for one in page["placements"] if one["side"] == "front")
        assert len(contours) == len(trims)
        for contour, trim in zip(contours, trims, strict=True):
            assert contour == pytest.approx(trim, abs=1e-4)
        assert len(found["creases"]) == len(page["creases"])
        scale = 6.0
        pixels = document[page["page"] - 1].render(scale=scale * 25.4 / 72, grayscale=True).to_numpy()
        centres = [(float(ring.attrib["cx"]), float(ring.attrib["cy"]))
                   for ring in found["registration"].iter(f"{SVG}circle")]
        assert len({(x < size[0] / 2, y < size[1] / 2) for x, y in centres}) >= (2 if "#102030" in options else 3)
        assert len(centres) >= 3
        for x, y in centres:
            top, left = int((y - 3) * scale), int((x - 3) * scale)
            around = pixels[top:int((y + 3) * scale), left:int((x + 3) * scale)]
            ink = 255.0 - around
            assert ink.sum() / 255 / scale**2 > 2.5  # two bars of 5 by 0.4 mm are 3.84 mm2
            rows, columns = np.indices(ink.shape)
            middle = [(ink * (rows + top + 0.5)).sum() / ink.sum() * size[1] / pixels.shape[0],
                      (ink * (columns + left + 0.5)).sum() / ink.sum() * size[0] / pixels.shape[1]]
            assert middle == pytest.approx([y, x], abs=0.08)  # the cross lies about its centre
            ring = around.copy()
            ring[int(0.4 * scale):-int(0.4 * scale), int(0.4 * scale):-int(0.4 * scale)] = 255
            assert ring.min() > 240, (x, y)  # clear of all other ink
    document.close()
    capsys.readouterr()


@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_the_hinges_edge_on_the_backs_is_the_cut_of_the_fronts_beside_the_hinge(
        folder: Path, arrangement: str, capsys: pytest.CaptureFixture[str]) -> None:
    """Where a back has no line, one is what the option draws; seen from the front, W - x of its own x, it lies on the
    fronts' cut that is nearest to the hinge, and the hinge lies beyond it."""
    options = ["--method", "two-sheet", "--arrangement", arrangement, "--plan", "plan.json"]
    pages = {}
    for name, more in (("with", ["--hinge-edge"]), ("without", [])):
        assert cli.main(["build", str(folder), *options, *more, "--out", f"{name}.pdf"]) == 0
        with pypdfium2.PdfDocument(f"{name}.pdf") as document:
            pages[name] = [document[number].render(scale=6 * 25.4 / 72, grayscale=True).to_numpy().astype(int)
                           for number in range(2)]
    capsys.readouterr()
    assert (pages["with"][0] == pages["without"][0]).all()  # the fronts have it already
    plan = json.loads(Path("plan.json").read_text(encoding="utf-8"))
    rows, columns = np.nonzero(pages["without"][1] - pages["with"][1] > 40)
    upright = np.ptp(rows) > np.ptp(columns)
    assert max(np.ptp(rows), np.ptp(columns)) / 6 > 150 and min(np.ptp(rows), np.ptp(columns)) <= 2  # one line
    at = (columns if upright else rows).mean() / 6 + 1 / 12
    at_front = plan["paper"]["width"] - at if upright else at  # a back turned about its long edge
    trims = [one["trim"] for one in plan["pages"][0]["placements"]]
    axis, side = ("x", "width") if upright else ("y", "height")
    first, last = min(trim[axis] for trim in trims), max(trim[axis] + trim[side] for trim in trims)
    (hinge,) = plan["pages"][0]["hinge_strips"]
    beside = first if hinge[axis] + hinge[side] <= first + 1e-6 else last
    assert hinge[axis] + hinge[side] <= first + 1e-6 or hinge[axis] >= last - 1e-6
    assert at_front == pytest.approx(beside, abs=0.12)
    # The fronts' own line is there, dark in the waste.
    front = pages["with"][0] if upright else pages["with"][0].T
    assert front[:, int((beside - 0.3) * 6):int((beside + 0.3) * 6) + 1].min(axis=1)[60:90].max() < 200


def test_a_box_is_a_file_too_and_a_file_is_no_folder(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["cuts", str(folder), "--svg", "svg", "--out", "cut.pdf", "--box", "tuck", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert [Path(file).name for file in said["svg"]] == ["sheet-01.svg", "sheet-02.svg", "box.svg"]
    _, found = groups(Path("svg/box.svg"))
    assert len(found["creases"]) == 12 and len(found["cut"]) > 20
    assert cli.main(["cuts", str(folder), "--svg", "cut.pdf", "--out", "cut.pdf"]) == 2
    assert "--svg: cut.pdf is a file." in capsys.readouterr().err
