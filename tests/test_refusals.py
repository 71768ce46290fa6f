"""Every refusal says what to do in the words of the place where it is read: a page's, or the command line's.

All places in the code that make one are looked through; then settings are got wrong one by one, on both faces.
"""

from __future__ import annotations

import ast
import inspect
import re
from collections.abc import Iterator
from pathlib import Path
from typing import NamedTuple

import pytest

from server import errors
from server.cli import main
from server.commands.report import here
from server.core.settings import SETTINGS
from tests.formats.artwork import encoded, picture, write
from tests.web.live import LiveServer, small_deck

SERVER = Path(__file__).resolve().parent.parent / "server"
MAKERS = {name for name, kind in vars(errors).items() if inspect.isclass(kind)} | {
    "BadArt", "ArtTooLarge", "OutOfWallTime", "Problem", "SightProblem"}
SHARED = ("core", "formats", "intake", "drawing", "photo", "prepress")
OPTION = re.compile(r"(?<![\w-])--?[a-z][\w-]+|\blampfold [a-z]")
PAGE = re.compile(r"\b(?:Desk|Art|Sheet|Glow|True-up|Output|People) page\b|\b(?:the form|click|button)\b")
# What only a command can do, or is read where Lampfold was started.
BY_COMMAND = ("Start Lampfold with --lan", "Ask the host to start Lampfold with --lan", "with --data", "--port",
              "`lampfold restore`", "`lampfold backup`")
# Nothing is to be done about these: they tell what somebody did, or what becomes of it by itself.
NO_WAY_OUT = ("cancelled", "isn't looked at yet")


class Refusal(NamedTuple):
    """Where it is made, its kind, and its texts; what stands in braces comes from a value."""

    at: str
    kind: str
    message: str
    fix: str


def text_of(node: ast.expr | None) -> str:
    if isinstance(node, ast.Constant):
        return str(node.value)
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "{}" for part in node.values)
    if isinstance(node, ast.BinOp):
        return text_of(node.left) + text_of(node.right)
    if isinstance(node, ast.IfExp):
        return f"{text_of(node.body)} {text_of(node.orelse)}"
    return "{}" if node is not None else ""


def refusals() -> Iterator[Refusal]:
    for path in sorted(SERVER.rglob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if not isinstance(node, ast.Call):
                continue
            kind = getattr(node.func, "id", getattr(node.func, "attr", ""))
            first = {"Problem": 3, "SightProblem": 1}.get(kind, 0)
            if kind in MAKERS and len(node.args) > first:
                texts = [text_of(one) for one in node.args[first:first + 2]]
                where = path.relative_to(SERVER).as_posix()
                yield Refusal(f"{where}:{node.lineno}", kind, texts[0], texts[1] if texts[1:] else "")


ALL = tuple(refusals())


def part(refusal: Refusal) -> str:
    return refusal.at.partition("/")[0]


def test_there_are_as_many_as_were_looked_for() -> None:
    assert len(ALL) > 300
    assert {"core", "formats", "intake", "store", "jobs", "web", "commands"} <= {part(one) for one in ALL}


def test_every_refusal_has_a_way_out() -> None:
    bare = [f"{one.at} {one.message}" for one in ALL if one.kind not in ("Problem", "SightProblem") and not one.fix
            and not any(words in one.message for words in NO_WAY_OUT)]
    assert not bare


def test_what_pages_show_names_no_option() -> None:
    wrong = []
    for one in ALL:
        said = f"{one.message} {one.fix}"
        for words in BY_COMMAND:
            said = said.replace(words, "")
        if part(one) in (*SHARED, "store", "jobs", "web") and not one.at.startswith("web/sockets") \
                and OPTION.search(said):
            wrong.append(f"{one.at} {said}")
    assert not wrong


def test_what_the_command_line_shows_names_no_page() -> None:
    wrong = [f"{one.at} {here(one.fix)}" for one in ALL if part(one) in (*SHARED, "commands")
             and PAGE.search(f"{one.message} {here(one.fix)}")]
    assert not wrong


@pytest.mark.parametrize(("shared", "option"), [
    ("Choose larger paper, a smaller card, less bleed or another build method.", "--paper --card --bleed --method"),
    ("Choose A4, or print and read a test sheet on Letter.", "--paper"),
    ("Keep 2.1 mm more free at the margins, put fewer cards on a sheet, or choose larger paper.", "--margin --paper"),
    ("Ask for a hinge strip of 14.5 mm, or put fewer cards on a sheet.", "--hinge"), ("Use tarot?", "--card"),
    ("Choose the long edge as the flip.", "--flip"), ("Choose a build method that does.", "--method"),
    ("Choose larger papers or other methods.", "--papers --methods"), ("Use 0 to 60 mm.", ""),
    ("Choose larger paper (--paper).", "--paper"),
])
def test_options_stand_beside_what_they_choose(shared: str, option: str) -> None:
    assert re.findall(r"--[a-z-]+", here(shared)) == option.split()
    assert here(here(shared)) == here(shared)


def test_each_setting_is_refused_in_the_words_of_the_place(live_server: LiveServer, tmp_path: Path,
                                                           capsys: pytest.CaptureFixture[str]) -> None:
    write(tmp_path, "fronts/lamp.png", encoded("PNG", picture()))
    client, deck = live_server.client(), live_server.deck(small_deck(1))
    tried = 0
    for name, setting in SETTINGS.items():
        if setting.kind in ("yes-no", "text", "printer") or not setting.option:
            continue
        assert main(["build", str(tmp_path), setting.option, "no such thing at all"]) == 2
        told = capsys.readouterr().err
        page = client.post(f"/api/decks/{deck}/plan", json={"settings": {name: "no such thing at all"}}).json()
        assert told.startswith(f"lampfold: {setting.option}: "), told
        assert page["field"] == name and page["message"].startswith(f"{name}: "), page
        assert page["fix"] and not OPTION.search(f"{page['message']} {page['fix']}"), page
        assert not PAGE.search(told) and here(page["fix"]) in told
        tried += 1
    assert tried > 12
    for one, other in (("card", "300x400"), ("paper", "30x40")):
        assert main(["build", str(tmp_path), f"--{one}", other]) == 2
        told = capsys.readouterr().err
        page = client.post(f"/api/decks/{deck}/plan", json={"settings": {one: other}}).json()
        assert ("--paper" in told or "mm" in told) and not PAGE.search(told)
        assert not OPTION.search(page["fix"])
