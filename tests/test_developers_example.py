"""The build method that DEVELOPERS.md walks through works as it is printed there."""

from __future__ import annotations

import re
import sys
from pathlib import Path
from types import ModuleType

import pytest

from server.core.methods import METHODS
from server.core.plan import PlanRequest
from server.core.search import search
from server.core.sizes import CARD_SIZES, PAPERS

DEVELOPERS = Path(__file__).resolve().parent.parent / "DEVELOPERS.md"


@pytest.fixture
def head_fold(monkeypatch: pytest.MonkeyPatch) -> str:
    text = DEVELOPERS.read_text(encoding="utf-8")
    found = re.search(r"^<!-- example -->\n```python\n(.*?)^```\n<!-- end -->$", text, re.MULTILINE | re.DOTALL)
    assert found
    module = ModuleType("head_fold_of_the_example")
    monkeypatch.setitem(sys.modules, module.__name__, module)  # where dataclasses look for their annotations
    exec(compile(found[1], str(DEVELOPERS), "exec"), vars(module))
    method = module.HEAD_FOLD
    monkeypatch.setitem(METHODS, method.name, method)
    return str(method.name)


@pytest.mark.parametrize("core_mm", [0.0, 1.5])
def test_the_example_lays_backs_above_their_fronts_and_upside_down(head_fold: str, core_mm: float) -> None:
    request = PlanRequest(method=head_fold, paper=PAPERS["a4"], card=CARD_SIZES["poker-metric"], core_mm=core_mm,
                          arrangement="portrait")
    plans = search(request, 9)
    assert {plan.layout.card_turned for plan in plans} == {False, True}
    for plan in plans:
        layout = plan.layout
        crease = 297 / 2  # the middle of A4, ISO 216
        assert [line.at_mm for line in layout.creases] == pytest.approx(
            [crease] if core_mm == 0 else [crease - layout.spine_mm / 2, crease + layout.spine_mm / 2])
        for slot in layout.slots:
            assert slot.front.y >= crease + layout.spine_mm / 2
            # A vertical fold sends (x, y) to (x, -y): columns kept, rows mirrored, the back turned by 180 degrees.
            assert slot.back.x == pytest.approx(slot.front.x)
            assert slot.back.bottom == pytest.approx(297 - slot.front.y)
            assert (slot.back_rotation + slot.front_rotation) % 360 == 180
            assert layout.printable.contains(slot.front)
            assert layout.printable.contains(slot.back)
