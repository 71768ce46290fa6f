"""The command line in a process of its own: what only shows there."""

from __future__ import annotations

import json
import os
import struct
import subprocess
import sys
from pathlib import Path

import pymupdf
import pytest

from tests.formats.artwork import encoded, picture, write

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture
def deck(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Ten cards with one back, in a folder beside the one that the command runs in."""
    folder = tmp_path / "Harbour"
    write(folder, "fronts/lamp_x10.png", encoded("PNG", picture(252, 352)))
    write(folder, "backs/back.png", encoded("PNG", picture(252, 352, "L")))
    (tmp_path / "here").mkdir()
    monkeypatch.chdir(tmp_path / "here")
    return folder


def run(*argv: str, stdout: int = subprocess.PIPE, **variables: str) -> subprocess.CompletedProcess[bytes]:
    """The command in a process of its own."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **variables}
    return subprocess.run([sys.executable, "-m", "server", *argv], env=environment, check=False, timeout=60,
                          stdout=stdout, stderr=subprocess.PIPE)


def test_the_module_runs_as_the_command_does(deck: Path) -> None:
    done = run("build", str(deck), "--json")
    assert (done.returncode, done.stderr) == (0, b"")
    assert json.loads(done.stdout)["pdf"] == "Harbour.pdf"
    with pymupdf.open("Harbour.pdf") as made:
        assert made.page_count == 4


@pytest.mark.skipif(sys.platform == "win32", reason="Windows closes pipes in its own way")
def test_a_build_waits_for_no_library_that_it_does_not_need(tmp_path: Path) -> None:
    for kind in ("PNG", "JPEG"):  # 69 x 94 mm: with bleed of its own, so that no edge is looked at
        write(tmp_path, f"deck/fronts/lamp.{kind.lower()}", encoded(kind, picture(276, 376)))
    code = ("import sys; from server.cli import main\n"
            "assert main(['build', *sys.argv[1:]]) == 0\n"
            "print([name for name in ('PIL', 'pymupdf', 'numpy', 'cv2', 'fastapi', 'sqlite3', 'ssl', 'asyncio', "
            "'email', 'statistics', 'server.web', 'server.jobs', 'server.store') if name in sys.modules])")
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "deck"), "--out", str(tmp_path / "a.pdf")],
                          capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.splitlines()[-1] == "[]"


def test_nobody_reading_is_no_traceback(deck: Path) -> None:
    reading, writing = os.pipe()
    os.close(reading)
    done = run("build", str(deck), "--json", stdout=writing)
    os.close(writing)
    assert done.returncode == 0
    assert b"Traceback" not in done.stderr
    assert b"Exception ignored" not in done.stderr


def test_a_console_of_few_letters_is_no_trouble(deck: Path) -> None:
    write(deck, "fronts/Möwe ✶.png", encoded("PNG", picture()))
    done = run("build", str(deck), PYTHONIOENCODING="ascii")
    assert (done.returncode, done.stderr) == (0, b"")
    assert b"M\\xf6we \\u2736.png" in done.stdout


def test_what_a_decoder_finds_odd_stays_off_stderr(deck: Path) -> None:
    data = bytearray(encoded("TIFF", picture()))
    start, = struct.unpack_from("<I", data, 4)
    struct.pack_into("<HHII", data, start + 2, 256, 3, 17, 8)  # the width, said 17 times over
    write(deck, "fronts/odd.tif", bytes(data))
    done = run("check", str(deck))
    assert (done.returncode, done.stderr) == (1, b"")
