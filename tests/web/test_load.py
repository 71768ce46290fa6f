"""A few rounds of several people at once; ``python -m tests.load`` does a minute of eight."""

from __future__ import annotations

from pathlib import Path

from tests.load import run


def test_several_people_at_once_lose_nothing(tmp_path: Path) -> None:
    works, idle, busy = run(tmp_path / "data", clients=3, rounds=2)
    assert all(work.files for work in works)
    assert sum(work.builds for work in works)
    assert idle and busy
