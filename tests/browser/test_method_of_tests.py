"""A build method that nobody else knows by name: backs above their fronts, beyond three creases.

It is added as any other is, by one entry in ``METHODS``, and goes through plan, PDF, API, form, guide and Glow.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect

from server.cli import main
from server.core.geometry import Rect, ThroughFront
from server.core.methods import METHODS, BuildMethod, Frame, Step, Work, Zone
from server.core.methods.protocol import room_on_both_faces
from server.core.plan import Line, PlanRequest
from tests.browser.glow_help import cornered_deck, open_glow, set_settings
from tests.test_readback import Built, build, check_fold, check_page
from tests.test_readback import folder as folder  # a fixture
from tests.web.live import LiveServer

GAP_MM = 3.0


def _zones(request: PlanRequest, frame: Frame) -> Iterator[Zone]:
    size = frame.size
    middle = size.height / 2
    through = ThroughFront("horizontal", middle)
    room = room_on_both_faces(request, frame, through)
    top = middle + GAP_MM
    yield Zone(Rect(room.x, top, room.width, room.bottom - top), through, snug="top",
               creases=tuple(Line((0, y), (size.width, y)) for y in (middle - GAP_MM, middle, middle + GAP_MM)))


def _steps(work: Work) -> Iterator[Step]:
    yield Step("Roll the lighthouse over", "Fold at each of the three creases by a third of the way.")


LIGHTHOUSE = BuildMethod(
    name="lighthouse", label="Backs rolled over", summary="Backs above, over three creases.",
    prints="One side, the lamp up.", turns="Roll the backs over.", faces=("spread",), zones=_zones, steps=_steps,
    papers_per_card=2)


@pytest.fixture
def lighthouse(monkeypatch: pytest.MonkeyPatch) -> str:
    monkeypatch.setitem(METHODS, LIGHTHOUSE.name, LIGHTHOUSE)
    return LIGHTHOUSE.name


@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
def test_its_plan_and_pdf(lighthouse: str, folder: Path, tmp_path: Path, arrangement: str) -> None:
    built: Built = build(folder, tmp_path, "--method", lighthouse, "--arrangement", arrangement)
    assert built.plan["method"] == lighthouse and built.plan["spine"] == pytest.approx(2 * GAP_MM)
    check_page(built, 0)
    said = built.plan["pages"][0]
    assert said["face"] == "spread" and len(said["creases"]) == 3
    upright = said["creases"][0]["start"][0] == said["creases"][0]["end"][0]
    middle = sorted(crease["start"][0 if upright else 1] for crease in said["creases"])[1]
    check_fold(built, 0, built.pages[0], 2 * middle, upright)


def test_its_words_on_the_command_line(lighthouse: str, folder: Path, tmp_path: Path,
                                       capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["build", "-h"]) == 0
    assert lighthouse in " ".join(capsys.readouterr().out.split())
    assert main(["build", str(folder), "--method", lighthouse, "--out", str(tmp_path / "deck.pdf")]) == 0
    assert LIGHTHOUSE.label in capsys.readouterr().out


def test_its_tables_form_guide_and_glow(lighthouse: str, page: Page, live_server: LiveServer) -> None:
    client = live_server.client()
    (told,) = [one for one in client.get("/api/tables").json()["methods"] if one["name"] == lighthouse]
    assert (told["label"], told["prints"], told["honours"]) == (LIGHTHOUSE.label, LIGHTHOUSE.prints, [])
    deck = live_server.deck(cornered_deck(2), "Rolled over")
    set_settings(live_server, deck, method=lighthouse)
    guide = client.get(f"/api/decks/{deck}/guide").json()
    assert "Roll the lighthouse over" in json.dumps(guide["build_steps"])
    assert LIGHTHOUSE.prints in json.dumps(guide["print_settings"])
    glow = client.get(f"/api/decks/{deck}/glow").json()
    (fold,) = glow["folds"]
    assert len(fold["creases"]) == 3 and glow["through"]["axis"] == fold["through"]["axis"]

    page.goto(f"/decks/{deck}/sheet")
    expect(page.get_by_label(LIGHTHOUSE.label)).to_be_checked()
    expect(page.locator('[data-field="core_mm"]')).to_be_hidden()
    expect(page.locator('[data-field="flip"]')).to_be_hidden()
    open_glow(page, deck)
    page.get_by_role("button", name="Folded", exact=True).click()
    parts = page.locator(".fold-part")
    expect(parts).to_have_count(4)  # the fronts, two strips, the backs
    expect(page.locator("[data-fold-stage]")).to_have_attribute("aria-label",
                                                                "The sheet is folded, seen from the front.")
    # Three creases of 60 degrees: the backs come to lie behind their fronts, parallel to them.
    matrix = parts.last.evaluate("(part) => part.style.transform.match(/matrix3d[(]([^)]*)[)]/)[1]")
    numbers = [float(number) for number in matrix.split(",")]
    assert numbers[10] == pytest.approx(-1, abs=1e-6)
    assert abs(numbers[14]) == pytest.approx(2 * GAP_MM * math.sin(math.radians(60)), abs=1e-4)
