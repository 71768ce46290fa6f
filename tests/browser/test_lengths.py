"""The pages' script reads lengths and sizes, and refuses them, as the server does: one list of cases for both."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from tests.web.live import LiveServer

LENGTHS = json.loads((Path(__file__).parent.parent / "lengths.json").read_text(encoding="utf-8"))


def test_lengths_and_sizes_read_as_the_server_reads_them(page: Page, live_server: LiveServer) -> None:
    page.goto("/")
    read: dict[str, list[Any]] = page.evaluate("""async (cases) => {
        const { readLength, readSize } = await import("/static/js/common/units.js");
        const each = (name, read) => cases[name].map(([text]) => read(text));
        const [mm, inch] = ["mm", "in"].map((unit) => (text) => readLength(text, unit));
        return {
          lengths: each("lengths", mm), inches: each("inches", inch), refused_lengths: each("refused_lengths", mm),
          sizes: each("sizes", readSize), refused_sizes: each("refused_sizes", readSize),
        };
    }""", LENGTHS)
    for name in ("lengths", "inches"):
        for (text, mm), found in zip(LENGTHS[name], read[name], strict=True):
            assert found["mm"] == pytest.approx(mm, abs=1e-9), text
    for (text, width, height), found in zip(LENGTHS["sizes"], read["sizes"], strict=True):
        assert (found["width_mm"], found["height_mm"]) == pytest.approx((width, height), abs=1e-9), text
    for (text, why, fix), found in zip(LENGTHS["refused_lengths"], read["refused_lengths"], strict=True):
        assert (found["mm"], found["message"], found["fix"]) == (None, f"'{text}' {why}", fix)
    for (text, why, fix), found in zip(LENGTHS["refused_sizes"], read["refused_sizes"], strict=True):
        assert found["width_mm"] is None and found["message"].endswith(why) and found["fix"] == fix, text
