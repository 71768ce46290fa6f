"""``lampfold cost`` from the outside: its rows are what builds come to."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from PIL import Image

from server.cli import main
from server.core.methods import METHODS
from server.core.sizes import PAPERS
from tests.web.live import LiveServer


@pytest.fixture
def deck(tmp_path: Path) -> Path:
    for number in range(10):
        path = tmp_path / "deck" / "fronts" / f"{number}.png"
        path.parent.mkdir(parents=True, exist_ok=True)
        Image.new("RGB", (126, 176), (255 - 20 * number, 40 * (number % 4), 200)).save(path)
    (tmp_path / "deck" / "backs").mkdir()
    Image.new("RGB", (126, 176), (20, 60, 90)).save(tmp_path / "deck" / "backs" / "back.png")
    return tmp_path / "deck"


def said(capsys: pytest.CaptureFixture[str], *argv: object) -> dict[str, Any]:
    capsys.readouterr()
    assert main([*map(str, argv), "--json"]) == 0
    values: dict[str, Any] = json.loads(capsys.readouterr().out)
    return values


def test_every_method_and_paper_has_a_row_or_a_reason(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = said(capsys, "cost", deck)
    told = {(one["method"], one["paper"]) for part in ("rows", "left_out") for one in table[part]}
    assert told == {(method, paper) for method in METHODS for paper in PAPERS}
    assert all(one["why"] for one in table["left_out"])
    (best,) = (row for row in table["rows"] if row["best"])
    assert best["minutes"] == min(row["minutes"] for row in table["rows"])


@pytest.mark.parametrize("method", ["duplex", "side-fold", "fronts-only"])
def test_a_row_is_what_a_build_comes_to(deck: Path, tmp_path: Path, method: str,
                                        capsys: pytest.CaptureFixture[str]) -> None:
    (row,) = said(capsys, "cost", deck, "--methods", method, "--papers", "a4", "--sheet-price", "0.1")["rows"]
    built = said(capsys, "build", deck, "--method", method, "--out", tmp_path / "x.pdf")
    assert all(row[name] == built[name] for name in ("method", "paper", "sheets", "papers", "cuts"))
    assert row["money"] == pytest.approx(0.1 * built["papers"])
    # The build's ink is measured on its rendered pages; marks and lines are not in the row.
    assert row["ink"] == pytest.approx(built["ink"], abs=1.0)


def test_ink_is_paid_by_cover_and_cares_choose_the_best(deck: Path, capsys: pytest.CaptureFixture[str]) -> None:
    table = said(capsys, "cost", deck, "--papers", "a4", "--methods", "duplex,fronts-only", "--ink-price", "0.05",
                 "--care", "money")
    for row in table["rows"]:
        pages = row["papers"] * (2 if row["method"] == "duplex" else 1)
        # By hand: cover over the stated 5 %, times the price of such a page, for every printed page.
        assert row["money"] == pytest.approx(sum(row["ink"].values()) / 5 * 0.05 * pages, abs=0.02)
    assert [row["method"] for row in table["rows"] if row["best"]] == ["fronts-only"]


@pytest.mark.parametrize(("more", "names"), [(("--methods", "origami"), "origami"), (("--papers", "a11"), "a11"),
                                             (("--sheet-price", "dear"), "--sheet-price"),
                                             (("--ink-price", "-1"), "--ink-price")])
def test_what_is_refused_is_named(deck: Path, more: tuple[str, ...], names: str,
                                  capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["cost", str(deck), *more]) == 2
    assert names in capsys.readouterr().err


def test_the_sheet_page_gives_the_same_rows(deck: Path, live_server: LiveServer,
                                            capsys: pytest.CaptureFixture[str]) -> None:
    ours = said(capsys, "cost", deck, "--care", "money", "--sheet-price", "0.1", "--ink-price", "0.05",
                "--stock", "card-300")
    host = live_server.client()
    deck_id = live_server.deck({path.relative_to(deck).as_posix(): path.read_bytes() for path in deck.rglob("*.png")},
                               "deck", host)
    ask = {"care": "money", "sheet_price": 0.1, "ink_price": 0.05, "settings": {"stock": "card-300"}}
    theirs = host.post(f"/api/decks/{deck_id}/cost", json=ask).json()
    assert {name: theirs[name] for name in ours} == ours
    assert theirs["looked"] == theirs["arts"] == 11
    assert host.post(f"/api/decks/{deck_id}/cost", json={"sheet_price": -1}).status_code == 422
