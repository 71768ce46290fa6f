"""Test sheets as pdfium renders them, once for all tests of photographs."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from server.cli import main
from tests.photographer import faces

Faces = tuple[np.ndarray, np.ndarray]


def printed(folder: Path, paper: str, flip: str) -> Faces:
    assert main(["test-sheet", "--paper", paper, "--flip", flip, "--out", str(folder / "sheet.pdf")]) == 0
    return faces(folder / "sheet.pdf", flip)


@pytest.fixture(scope="session")
def a4(tmp_path_factory: pytest.TempPathFactory) -> Faces:
    return printed(tmp_path_factory.mktemp("a4"), "a4", "long-edge")


@pytest.fixture(scope="session")
def a5_short(tmp_path_factory: pytest.TempPathFactory) -> Faces:
    return printed(tmp_path_factory.mktemp("a5"), "a5", "short-edge")
