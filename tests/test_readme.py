"""The README promises what is there: its commands, its options, its pictures; and CI runs what it says."""

from __future__ import annotations

import argparse
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from server.commands import modules_for
from server.core.setting import Setting
from server.core.settings import SETTINGS

ROOT = Path(__file__).resolve().parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def commands() -> dict[str, argparse.ArgumentParser]:
    """Every command's parser, by its name."""
    subparsers = argparse.ArgumentParser(prog="lampfold").add_subparsers()
    for module in modules_for([]):
        module.register(subparsers)
    return dict(subparsers.choices)


def long_options(parser: argparse.ArgumentParser) -> set[str]:
    return set(re.findall(r"(?<![\w-])--[a-z][a-z-]+", parser.format_help())) - {"--help"}


def readme_command(marker: str) -> str:
    found = re.search(rf"^<!-- {marker} -->\n```\w*\n(.*?)\n```\n<!-- end -->$", README, re.MULTILINE | re.DOTALL)
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
    linked = re.findall(r"\]\(((?!https?:|#)[^)]+)\)|(?:src|href)=\"((?!https?:|#)[^\"]+)\"", README)
    assert not [path for pair in linked if not (ROOT / (path := pair[0] or pair[1])).exists()]


def test_every_command_and_option_is_in_the_readme(commands: dict[str, argparse.ArgumentParser]) -> None:
    missing = [f"{name} {option}" for name, parser in commands.items() for option in sorted(long_options(parser))
               if f"`{option}" not in README]
    assert not missing
    assert not [name for name in commands if f"lampfold {name}" not in README]


def test_the_readme_names_no_command_or_option_that_is_not_there(commands: dict[str, argparse.ArgumentParser]) -> None:
    shown = re.findall(r"^lampfold ([a-z-]+)(.*?)(?:#.*)?$", README, re.MULTILINE)
    assert len(shown) >= len(commands)
    for name, rest in shown:
        assert name in commands
        assert set(re.findall(r"--[a-z-]+", rest)) <= long_options(commands[name]), name
    known = {option for parser in commands.values() for option in long_options(parser)}
    assert set(re.findall(r"`(--[a-z-]+)", README)) <= known


def option_rows(*, art: bool) -> str:
    """README's lines for the settings that have an option: those of how art lies on a card, or all others."""
    def row(setting: Setting) -> str:
        value = "" if setting.kind == "yes-no" else f" {(setting.placeholder or 'TEXT').partition('|')[0]}"
        default = setting.default_says()
        left_out = f"`{default}`" if default in {choice.name for choice in setting.choices} else default
        return f"| `{setting.option}{value}` | {setting.says('`')} | {left_out} |"

    return "".join(f"{row(setting)}\n" for setting in SETTINGS.values() if setting.option and setting.art == art)


def with_options(text: str) -> str:
    """The README with its options as the table of settings has them."""
    for art, marker in ((True, "options of art"), (False, "options of sheets")):
        text = re.sub(rf"(?<=<!-- {marker} -->\n)(\|[^\n]*\n\|[^\n]*\n).*?(?=<!-- end -->)",
                      rf"\g<1>{option_rows(art=art)}", text, flags=re.DOTALL)
    return text


def test_the_readmes_options_are_the_table_of_settings() -> None:
    assert README.count("<!-- options of ") == 2
    assert with_options(README) == README, "python -m tests.test_readme writes them anew"


if __name__ == "__main__":
    (ROOT / "README.md").write_text(with_options(README), encoding="utf-8", newline="\n")
