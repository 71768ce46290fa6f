"""The rules of the house, held by tests: what imports what, how long things are, what stands where, what is shipped."""

from __future__ import annotations

import ast
import json
import re
import shutil
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SERVER = ROOT / "server"
CODE = [path for top in ("server", "tests", "demo_decks") for path in sorted((ROOT / top).rglob("*.py"))]

# Imports go from a later row to an earlier one, or stay within their own part.
LAYERS = (("errors",), ("core", "resources"), ("intake", "drawing", "store"), ("jobs",), ("web",), ("commands",),
          ("cli", "__main__"))
HEAVY = ("fastapi", "starlette", "uvicorn", "jinja2", "pymupdf", "fitz", "PIL", "sqlite3", "segno", "numpy")


def part_of(module: str) -> str:
    return module.split(".")[1] if "." in module else ""


def module_name(path: Path) -> str:
    parts = path.relative_to(ROOT).with_suffix("").parts
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def imports(path: Path) -> Iterator[tuple[str, int]]:
    """Every module that a file imports, also inside functions, with its line."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((name.name, node.lineno) for name in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name}:{node.lineno} imports relatively"
            yield node.module or "", node.lineno
            if node.module == "server":
                yield from ((f"server.{name.name}", node.lineno) for name in node.names if name.name != "__version__")


def test_the_core_loads_nothing_heavy() -> None:
    # In a fresh process, since this one has loaded everything.
    script = (
        "import importlib, json, pkgutil, sys\n"
        "import server.core\n"
        "names = [found.name for found in pkgutil.walk_packages(server.core.__path__, 'server.core.')]\n"
        "for name in names: importlib.import_module(name)\n"
        "print(json.dumps([names, sorted(sys.modules)]))\n"
    )
    done = subprocess.run([sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True)
    walked, loaded = json.loads(done.stdout)
    assert {"server.core.geometry", "server.core.methods.duplex", "server.core.search"} <= set(walked)
    assert not {name for name in loaded if name.split(".")[0] in HEAVY}
    assert not {name for name in loaded if name.startswith("server.") and part_of(name) not in ("core", "errors")}


def test_the_core_imports_the_standard_library_alone() -> None:
    foreign = [f"{path.name}:{line} imports {module}" for path in sorted((SERVER / "core").rglob("*.py"))
               for module, line in imports(path)
               if module.split(".")[0] not in (*sys.stdlib_module_names, "server")]
    assert not foreign


def test_imports_follow_the_layers() -> None:
    rank = {part: row for row, parts in enumerate(LAYERS) for part in parts}
    against = []
    for path in sorted(SERVER.rglob("*.py")):
        own = part_of(module_name(path))
        for module, line in imports(path):
            part = part_of(module) if module.startswith("server") else ""
            if not part or not own:
                continue
            assert part in rank, f"{path}:{line}: no layer holds server.{part}"
            if part != own and rank[part] >= rank[own] and (own, part) != ("__main__", "cli"):
                against.append(f"{path.relative_to(ROOT)}:{line} imports {module}")
    assert not against


def test_nothing_imports_an_undeclared_package() -> None:
    declared = {"fastapi", "jinja2", "PIL", "platformdirs", "pymupdf", "segno", "starlette", "uvicorn",
                "pydantic", "anyio", "h11", "markupsafe"}  # these come with fastapi, starlette, uvicorn and jinja2
    foreign = {f"{path.name}:{line} imports {module}" for path in SERVER.rglob("*.py") for module, line in imports(path)
               if module.split(".")[0] not in (*sys.stdlib_module_names, "server", *declared)}
    assert not foreign


@pytest.mark.parametrize("path", CODE, ids=lambda path: path.relative_to(ROOT).as_posix())
def test_modules_and_functions_stay_short(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert text.count("\n") <= 300
    long = [f"{node.name} has {node.end_lineno - node.lineno + 1} lines" for node in ast.walk(ast.parse(text))
            if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.end_lineno is not None
            and node.end_lineno - node.lineno + 1 > 50]
    assert not long


def test_scripts_and_styles_stay_short() -> None:
    long = [path.name for path in (ROOT / "static").rglob("*") if path.suffix in (".js", ".css")
            and path.read_text(encoding="utf-8").count("\n") > 300]
    assert not long


def test_every_module_of_the_server_says_what_it_is() -> None:
    assert not [str(path) for path in SERVER.rglob("*.py")
                if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))]


def test_the_top_level_is_fixed() -> None:
    made = {"build", "dist", "htmlcov"}  # by builds and tools, and kept out by .gitignore
    found = {path.name for path in ROOT.iterdir() if not path.name.startswith(".") and path.suffix != ".egg-info"}
    assert found - made == {"README.md", "DEVELOPERS.md", "pyproject.toml", "server", "templates", "static", "tests",
                            "demo_decks"}


def test_no_file_names_a_machine() -> None:
    # Written in pieces, so that this file doesn't find itself.
    paths = "|".join(("/ho" "me/", "/ro" "ot/", "/wo" "rk/", r"[A-Z]:\\Us" r"ers\\", "/Us" "ers/"))
    words = re.compile(rf"(?:{paths})\w|\biss" r"ue #?\d|\bTO" r"DO\b|\bFIX" r"ME\b")
    kinds = {".py", ".md", ".toml", ".js", ".css", ".html", ".svg", ".json", ".csv", ".txt"}
    texts = [path for path in ROOT.rglob("*") if path.suffix in kinds and path.is_file()
             and not any(part.startswith(".") or part in ("build", "dist") for part in path.relative_to(ROOT).parts)]
    assert len(texts) > 50
    found = [f"{path.relative_to(ROOT)}: {match[0]}" for path in [*texts, ROOT / ".ci" / "run"]
             for match in words.finditer(path.read_text(encoding="utf-8"))]
    assert not found


def test_pages_load_nothing_from_outside() -> None:
    outside = re.compile(r"""(?:src|href|url|import|from|@import)\s*[=(]?\s*["'(]?(?:https?:)?//(?!www\.w3\.org)""")
    found = [f"{path.name}: {match[0]}" for top in ("templates", "static") for path in (ROOT / top).rglob("*")
             if path.suffix in (".html", ".js", ".css", ".svg")
             for match in outside.finditer(path.read_text(encoding="utf-8"))]
    assert not found


def readme_command(marker: str) -> str:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    found = re.search(rf"^<!-- {marker} -->\n```\w*\n(.*?)\n```\n<!-- end -->$", text, re.MULTILINE | re.DOTALL)
    assert found, marker
    return found[1]


def test_the_readme_gives_one_command_each_to_run_and_to_test() -> None:
    run, test = readme_command("run command"), readme_command("test command")
    assert "\n" not in run + test
    assert [step.split()[0] for step in run.split(" && ")] == ["python3", ".venv/bin/pip", ".venv/bin/lampfold"]
    # Lint, types and tests fail the line alike: each step must pass before the next is begun.
    assert [Path(step.split()[0]).name for step in test.split(" && ")] == ["python3", "pip", "ruff", "mypy", "pytest"]


@pytest.mark.skipif(shutil.which("bash") is None or sys.platform == "win32", reason=".ci/run is for bash on Debian")
def test_ci_runs_the_test_command_of_the_readme() -> None:
    done = subprocess.run(["bash", str(ROOT / ".ci" / "run"), "--print"], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == readme_command("test command")


def test_pictures_of_the_readme_are_there() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    linked = re.findall(r"\]\(((?!https?:|#)[^)]+)\)|(?:src|href)=\"((?!https?:|#)[^\"]+)\"", text)
    assert not [path for pair in linked if not (ROOT / (path := pair[0] or pair[1])).exists()]


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


def test_the_wheel_carries_pages_and_demo_decks_and_nothing_else(installed: Path) -> None:
    names = {path.relative_to(installed).parts[0] for path in installed.iterdir()}
    assert {name for name in names if not name.endswith(".dist-info")} == {"server"}
    shipped = installed / "server" / "_shipped"
    for folder in ("templates", "static", "demo_decks"):
        kept = {path.relative_to(ROOT / folder) for path in (ROOT / folder).rglob("*")
                if path.is_file() and "__pycache__" not in path.parts}
        packed = {path.relative_to(shipped / folder) for path in (shipped / folder).rglob("*") if path.is_file()}
        assert packed == kept, folder
    assert not list(installed.rglob("__pycache__"))


def test_an_installed_wheel_finds_its_own_files(installed: Path, tmp_path: Path) -> None:
    script = (
        "import sys; sys.path.insert(0, sys.argv[1])\n"
        "import server.resources as resources\n"
        "for name in ('templates', 'static', 'demo_decks'): print(resources.shipped(name))\n"
    )
    done = subprocess.run([sys.executable, "-I", "-c", script, str(installed)], cwd=tmp_path, capture_output=True,
                          text=True, check=True)
    assert [Path(line).parent for line in done.stdout.splitlines()] == [installed / "server" / "_shipped"] * 3
