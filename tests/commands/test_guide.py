"""``lampfold guide``: the words in order, cautions that can't be left out, and a drawing beside each step."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pypdfium2
import pytest

from server import cli
from server.core.methods import METHODS
from tests.formats.artwork import encoded, picture, write

SPRAY, COAT, KNIFE, GUILLOTINE = "Spray glue:", "Clear coat:", "Knife and rule:", "Guillotine or stack cutter:"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    made = tmp_path / "Tides"
    write(made, "fronts/one_x9.png", encoded("PNG", picture(63, 88)))
    write(made, "backs/back.png", encoded("PNG", picture(63, 88, "L")))
    monkeypatch.chdir(tmp_path)
    return made


def page_texts(path: Path) -> list[str]:
    """Each page's text as pdfium reads it, spaces evened out."""
    document = pypdfium2.PdfDocument(path)
    texts = [re.sub(r"\s+", " ", page.get_textpage().get_text_range()) for page in document]
    document.close()
    return texts


@pytest.mark.parametrize("paper", ["a4", "a5"])
@pytest.mark.parametrize("method", sorted(METHODS))
def test_every_step_and_its_cautions_stand_in_order_on_one_page_each(
        folder: Path, method: str, paper: str, capsys: pytest.CaptureFixture[str]) -> None:
    card = ["--card", "mini"] if paper == "a5" else []
    assert cli.main(["guide", str(folder), "--method", method, "--paper", paper, *card, "--out", "guide.pdf", "--json",
                     *(["--core", "1"] if "core_mm" in METHODS[method].honours else [])]) == 0
    said = json.loads(capsys.readouterr().out)
    assert all(set(step) == {"title", "says", "cautions"} for step in said["steps"])
    pages = page_texts(Path("guide.pdf"))
    whole, at = " ".join(pages), -1
    for number, step in enumerate(said["steps"], 1):
        heading = f"{number}. {step['title']}"
        title = whole.index(heading)
        assert title > at
        for caution in step["cautions"]:  # every word of it, before the step that it belongs to, after the step before
            assert at < whole.index(caution, at) < title
        assert whole.index(step["says"], title) > title
        page = next(page for page in pages if heading in page)
        assert step["says"] in page and all(caution in page for caution in step["cautions"])  # not cut in two
        at = title
    by_title = {step["title"].split(",")[0].split(":")[0]: " ".join(step["cautions"]) for step in said["steps"]}
    cut = by_title["Cut"]
    assert KNIFE in cut and GUILLOTINE in cut and COAT in by_title["Clear coat"]
    if METHODS[method].glued:
        assert SPRAY in " ".join(by_title.values())
    assert "licensed person decide" in whole


def test_words_follow_what_was_chosen(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    def steps(*options: str) -> list[dict[str, str]]:
        assert cli.main(["guide", str(folder), "--json", "--out", "guide.pdf", *options]) == 0
        found: list[dict[str, str]] = json.loads(capsys.readouterr().out)["steps"]
        return found

    assert [step["title"] for step in steps("--box", "tuck")][-1] == "Cut, crease and close the box"
    assert any("5 mm suits" in step["says"] for step in steps("--corner-radius", "5"))
    assert not any(step["title"] == "Round the corners" for step in steps("--corner-radius", "0"))
    pair = steps("--method", "two-sheet")
    edge = next(step for step in pair if step["title"] == "If no waste is left for the tape")
    assert "Coated prints only" in edge["says"] and "printed sides up" in edge["says"]
