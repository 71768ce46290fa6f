"""The rules of the house, held by tests: what imports what, how long things are, what stands where, what is shipped."""

from __future__ import annotations

import ast
import json
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent.parent
SERVER = ROOT / "server"
CODE = [path for top in ("server", "tests", "demo_decks") for path in sorted((ROOT / top).rglob("*.py"))]

# Imports go from a later row to an earlier one, or stay within their own part.
LAYERS = (("errors",), ("core", "resources"), ("formats",), ("intake", "drawing", "store", "photo"), ("prepress",),
          ("jobs",), ("web",), ("commands",), ("cli", "__main__"))
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


def test_routes_import_no_routes() -> None:
    routes = {path: module_name(path) for path in (SERVER / "web").glob("*.py")
              if path.name != "app.py" and "APIRouter(" in path.read_text(encoding="utf-8")}
    assert len(routes) > 5
    between = [f"{path.name}:{line} imports {module}" for path in routes for module, line in imports(path)
               if module in routes.values()]
    assert not between


def test_sql_stands_in_the_store_alone() -> None:
    sql = re.compile(r"SELECT .+ FROM|INSERT (?:OR \w+ )?INTO|UPDATE \w+ SET|DELETE FROM|CREATE TABLE|PRAGMA", re.S)
    texts = [(path, node.value) for path in SERVER.rglob("*.py")
             for node in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
             if isinstance(node, ast.Constant) and isinstance(node.value, str) and sql.search(node.value)]
    assert len(texts) > 20
    assert not {path.name for path, _ in texts if path.parent != SERVER / "store"}
    assert not [path.name for path in SERVER.rglob("*.py") if path.parent != SERVER / "store"
                for module, _ in imports(path) if module == "sqlite3"]


def test_nothing_imports_an_undeclared_package() -> None:
    declared = {"numpy", "cv2",  # the extra "photo", imported by server.photo alone
                "fastapi", "jinja2", "PIL", "platformdirs", "pymupdf", "segno", "starlette", "uvicorn",
                "pydantic", "anyio", "h11", "markupsafe"}  # these come with fastapi, starlette, uvicorn and jinja2
    foreign = {f"{path.name}:{line} imports {module}" for path in SERVER.rglob("*.py") for module, line in imports(path)
               if module.split(".")[0] not in (*sys.stdlib_module_names, "server", *declared)}
    assert not foreign
    elsewhere = {path.name for path in SERVER.rglob("*.py") if path.parent != SERVER / "photo"
                 for module, _ in imports(path) if module.split(".")[0] in ("numpy", "cv2")}
    assert not elsewhere, "numpy and OpenCV may be missing: server.photo alone imports them"


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


def test_only_tests_are_called_so() -> None:
    assert not [str(path) for path in SERVER.rglob("test_*")]


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


def test_each_page_finds_its_script_by_its_own_name() -> None:
    pages = ("desk", "art", "sheet", "glow", "true_up", "output", "people")
    scripts = ROOT / "static" / "js"
    assert {path.name for path in scripts.iterdir()} == {*pages, "common"}
    for page in pages:
        assert f'src="/static/js/{page}/page.js"' in (ROOT / "templates" / f"{page}.html").read_text(encoding="utf-8")
    # What one page has for itself is no other page's; what two need lies in common.
    across = [f"{path.relative_to(scripts)} imports {found}" for path in scripts.rglob("*.js")
              for found in re.findall(r'from "(\.\./[^"]+)"', path.read_text(encoding="utf-8"))
              if not found.startswith("../common/")]
    assert not across
