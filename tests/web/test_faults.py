"""A few kills of a real server; ``python -m tests.faults`` does two hundred."""

from __future__ import annotations

from pathlib import Path

from tests.faults import run


def test_what_was_answered_outlives_kills(tmp_path: Path) -> None:
    answered = run(tmp_path / "data", kills=4, seed=5)
    assert answered.files
    assert answered.named
