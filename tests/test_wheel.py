"""The wheel, laid out far from the checkout: it carries what it needs and serves pages and art from there."""

from __future__ import annotations

import re
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest

ROOT = Path(__file__).resolve().parent.parent
# Isolated (-I), so that neither the folder it runs in nor the environment leads back to the checkout.
RUN = "import sys; sys.path.insert(0, sys.argv[1]); from server.cli import main; raise SystemExit(main(sys.argv[2:]))"


@pytest.fixture(scope="module")
def installed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The wheel, built from the checkout and laid out as pip would lay it, far from the checkout."""
    made, site = tmp_path_factory.mktemp("wheel"), tmp_path_factory.mktemp("site packages")
    subprocess.run([sys.executable, "-m", "hatchling", "build", "-t", "wheel", "-d", str(made)], cwd=ROOT, check=True,
                   capture_output=True)
    (wheel,) = made.glob("lampfold-*.whl")
    with zipfile.ZipFile(wheel) as packed:  # a pure wheel's files go as they are (binary distribution format, PEP 427)
        packed.extractall(site)
    return site


def test_the_wheel_carries_pages_demo_decks_and_nothing_else(installed: Path) -> None:
    names = {path.relative_to(installed).parts[0] for path in installed.iterdir()}
    assert {name for name in names if not name.endswith(".dist-info")} == {"server"}
    shipped = installed / "server" / "_shipped"
    for folder in ("templates", "static", "demo_decks"):
        kept = {path.relative_to(ROOT / folder) for path in (ROOT / folder).rglob("*")
                if path.is_file() and "__pycache__" not in path.parts and path.suffix != ".py"}
        packed = {path.relative_to(shipped / folder) for path in (shipped / folder).rglob("*") if path.is_file()}
        assert packed == kept, folder
    assert not list(installed.rglob("__pycache__"))
    (about,) = installed.glob("*.dist-info/METADATA")
    assert "License-Expression: AGPL-3.0-or-later" in about.read_text(encoding="utf-8").splitlines()


def test_an_installed_wheel_finds_its_own_files(installed: Path, tmp_path: Path) -> None:
    script = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "from server.resources import shipped\n"
        "for name in ('templates', 'static', 'demo_decks'): print(shipped(name))\n"
    )
    done = subprocess.run([sys.executable, "-I", "-c", script, str(installed)], cwd=tmp_path, capture_output=True,
                          text=True, check=True)
    assert [Path(line).parent for line in done.stdout.splitlines()] == [installed / "server" / "_shipped"] * 3


@pytest.fixture
def served(installed: Path, tmp_path: Path) -> Iterator[httpx.Client]:
    """A client that is in as host on a server of its own, run from the wheel as the installed command would."""
    command = [sys.executable, "-I", "-c", RUN, str(installed), "serve", "--no-browser", "--port", "0", "--data",
               str(tmp_path / "data")]
    with subprocess.Popen(command, cwd=tmp_path, stdout=subprocess.PIPE, text=True, encoding="utf-8") as process:
        try:
            assert process.stdout
            said = process.stdout.readline()
            address = re.search(r"(http://127\.0\.0\.1:\d+)(/welcome\S+)", said)
            assert address, said
            with httpx.Client(verify=False, base_url=address[1], headers={"Origin": address[1]}, timeout=60) as client:
                assert client.get(address[2]).status_code == 303
                yield client
        finally:
            process.kill()


def test_pages_and_demo_decks_come_from_the_wheel(served: httpx.Client) -> None:
    desk = served.get("/")
    assert desk.status_code == 200
    assert "<h1" in desk.text
    linked = re.findall(r"(?:href|src)=\"(/static/[^\"]+)\"", desk.text)
    assert linked
    assert {served.get(path).status_code for path in linked} == {200}
    demos = [demo["which"] for demo in served.get("/api/demo").json()["demos"]]
    assert demos == ["harbour_lamps", "stormwreck", "tide_tables"]
    deck = served.post("/api/demo", json={"which": "tide_tables"})
    assert deck.status_code in (200, 201), deck.text
    assert len(deck.json()["cards"]) == 13  # read by worker processes, which must find the wheel as well
