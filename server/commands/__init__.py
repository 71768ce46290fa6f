"""The subcommands, one module each: ``register(subparsers)`` adds its parser and sets ``run``, which returns the exit
code.

To add one, write the module and put its name into ``COMMANDS``. A command that is named like its module is found
without importing the others, and modules import what is heavy inside ``run``, so that no command waits for another's
libraries.
"""

from __future__ import annotations

from collections.abc import Sequence
from importlib import import_module
from types import ModuleType

# ``serve`` brings ``demo`` along, ``backup`` ``restore``.
COMMANDS = ("serve", "build", "check", "leeway", "box", "cuts", "guide", "cost", "release", "gauge_sheet", "read",
            "fit", "nudge", "backup")
# Commands that aren't named like their module.
_ELSEWHERE = {"test-sheet": "gauge_sheet"}
# What ``lampfold`` alone does.
DEFAULT_COMMAND = "serve"


def modules_for(argv: Sequence[str]) -> tuple[ModuleType, ...]:
    """The modules to register for this command line: the one that is named, or all of them."""
    named = _ELSEWHERE.get(argv[0], argv[0].replace("-", "_")) if argv else ""
    names = [named] if named in COMMANDS else COMMANDS
    return tuple(import_module(f"{__name__}.{name}") for name in names)
