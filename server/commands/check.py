"""``lampfold check``: what is wrong with the art, per file, with the way out."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from server.commands.options import add_folder, folder_from, settings_from
from server.commands.report import as_json, counted, pair_lines, pair_values, problem_lines, problem_values

if TYPE_CHECKING:
    from server.core.art import Deck, Problem

CLEAN, FOUND = 0, 1


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``check``."""
    says = "say what is wrong with a folder of art, per file, with the way out"
    parser = subparsers.add_parser("check", help=says, description=f"{says[:1].upper()}{says[1:]}.",
                                   epilog="Exit code: 0 clean, 1 warnings or errors found, 2 could not run.")
    add_folder(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Read, decode and check the art; exit code 0 where nothing but notes is found, else 1.

    Raises LampfoldError where the folder or an option can't be used.
    """
    from server.core.checks import all_problems
    from server.prepress import prove

    found, settings = folder_from(arguments, settings_from(arguments))
    deck = prove(found.deck, found.source)
    problems = all_problems(deck, settings)
    if arguments.json:
        print(as_json({"cards": deck.count, **pair_values(deck), "problems": problem_values(problems)}))
    else:
        print(_summary(deck, problems))
        for line in (*pair_lines(deck), *problem_lines(problems)):
            print(line)
    return FOUND if any(problem.severity != "note" for problem in problems) else CLEAN


def _summary(deck: Deck, problems: tuple[Problem, ...]) -> str:
    errors = sum(problem.severity == "error" for problem in problems)
    warnings = sum(problem.severity == "warning" for problem in problems)
    faults = " and ".join(counted(count, what) for count, what in ((errors, "error"), (warnings, "warning")) if count)
    return f"{deck.name}: {counted(deck.count, 'card')}, {faults or 'nothing wrong'}."
