"""Cards that are folded by themselves, and fronts alone, read back from the PDF as ``tests/test_readback.py`` does."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from tests.test_readback import BACKS, COARSE, arranged, build, check_card_fold, check_page, near
from tests.test_readback import folder as folder  # a fixture


@pytest.mark.parametrize("core", ["0", "2"])
@pytest.mark.parametrize("arrangement", ["portrait", "landscape"])
@pytest.mark.parametrize("turned", ["no", "yes"])
def test_cards_folded_by_themselves(folder: Path, tmp_path: Path, core: str, arrangement: str, turned: str) -> None:
    """Each pair, folded on its own creases, brings its back upright behind its front; the back says how."""
    built = build(folder, tmp_path, "--method", "card-fold", "--core", core, "--turn-cards", turned,
                  *arranged(arrangement))
    assert built.plan["through_front"] is None
    for number, page in enumerate(built.pages):
        check_page(built, number)
        said = built.plan["pages"][number]
        for back in (one for one in said["placements"] if one["side"] == "back"):
            own = [crease for crease in said["creases"] if beside(back["trim"], crease, float(core))]
            assert len(own) == (1 if core == "0" else 2)
            upright = own[0]["start"][0] == own[0]["end"][0]
            middle = float(np.mean([crease["start"][0 if upright else 1] for crease in own]))
            check_card_fold(built, number, page, back["card"], 2 * middle, upright)
            assert back["through_front"] == {"axis": "vertical" if upright else "horizontal",
                                             "at": pytest.approx(middle)}


def beside(trim: dict[str, float], crease: dict[str, list[float]], core_mm: float) -> bool:
    """True if the crease runs along an edge of that card, or along its spine."""
    (x, y), (x2, y2) = crease["start"], crease["end"]
    left, top, right, bottom = trim["x"], trim["y"], trim["x"] + trim["width"], trim["y"] + trim["height"]
    reach = core_mm + 1
    if x == x2:
        return {round(y, 3), round(y2, 3)} == {round(top, 3), round(bottom, 3)} and left - reach < x < right + reach
    return {round(x, 3), round(x2, 3)} == {round(left, 3), round(right, 3)} and top - reach < y < bottom + reach


def test_fronts_only(folder: Path, tmp_path: Path) -> None:
    built = build(folder, tmp_path, "--method", "fronts-only")
    assert [page["face"] for page in built.plan["pages"]] == ["front"] and len(built.pages) == 1
    check_page(built, 0)
    assert {one["side"] for one in built.plan["pages"][0]["placements"]} == {"front"}
    assert max(near(built.pages[0], colour).sum() for colour in BACKS) < (10 * COARSE) ** 2
