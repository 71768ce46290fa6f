"""The command line: finds the subcommand, runs it, and turns every error into one line and an exit code.

Exit codes: 0 done; 1 ``check`` found something; 2 it could not run; 130 stopped by Ctrl-C. Errors go to stderr as
``lampfold: file or argument: cause. way out.`` and stdout stays clean for ``--json``.
"""

from __future__ import annotations

import argparse
import functools
import io
import os
import sys
import warnings
from typing import Any, NoReturn

from server import __version__
from server.errors import BadValue, LampfoldError
from server.formats.apart import Place, elsewhere

COULD_NOT_RUN, STOPPED = 2, 130
_TRACE = "LAMPFOLD_TRACE"


class _Parser(argparse.ArgumentParser):
    """Option names are given in full, so that a new one can't change what an old command means; errors are ours."""

    def __init__(self, **given: Any) -> None:
        given.setdefault("allow_abbrev", False)
        super().__init__(**given)

    def error(self, message: str) -> NoReturn:
        raise BadValue(message.removeprefix("argument ").rstrip(".") + ".", f"See {self.prog} --help.")


def main(argv: list[str] | None = None) -> int:
    """Run one command; ``argv`` without the program's name. Returns the exit code, prints errors, raises nothing."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a console that lacks a letter shows its code instead of failing
            stream.reconfigure(errors="backslashreplace")
    # What a decoder finds odd in a file that it takes all the same would land between our own lines.
    warnings.filterwarnings("ignore", category=UserWarning, module=r"PIL\.")
    try:
        code = _run(sys.argv[1:] if argv is None else argv)
        sys.stdout.flush()
        return code
    except KeyboardInterrupt:
        _say("stopped.")
        return STOPPED
    except BrokenPipeError:  # a reader that has enough is no error
        _drop_stdout()
        return 0
    except LampfoldError as error:
        from server.commands.report import here

        _say(f"{error.message} {here(error.fix)}")
    except OSError as error:
        where = f"{error.filename}: " if error.filename else ""
        _say(f"{where}{error.strerror or error}. Check the place and who may use it.")
    except Exception as error:
        if os.environ.get(_TRACE):
            import traceback

            traceback.print_exc()
        _say(f"{type(error).__name__}: {error}. This is a fault of ours; set {_TRACE}=1 to see where.")
    return COULD_NOT_RUN


def _run(argv: list[str]) -> int:
    from server.commands import DEFAULT_COMMAND, modules_for

    own = ("-h", "--help", "--version")
    if not argv or (argv[0].startswith("-") and argv[0] not in own):
        argv = [DEFAULT_COMMAND, *argv]
    parser = _Parser(prog="lampfold", description="Card art to print-ready sheets whose fronts and backs meet.",
                     epilog=f"Without a command, {DEFAULT_COMMAND} is run.")
    parser.add_argument("--version", action="version", version=f"lampfold {__version__}")
    subparsers = parser.add_subparsers(metavar="COMMAND", required=True)
    for command in modules_for(argv):
        command.register(subparsers)
    try:
        arguments = parser.parse_args(argv)
    except SystemExit as asked:  # --help and --version end so
        sys.stdout.flush()
        return int(asked.code or 0)
    with elsewhere(_own_worker):
        return int(arguments.run(arguments))


def _own_worker(*given: Any) -> Any:
    """Where art that may be a trap is read: a process under a server's limits, started by the first such file."""
    return _the_worker()(*given)


@functools.cache
def _the_worker() -> Place:
    from server.jobs.own_worker import OwnWorker
    from server.store.limits import Limits

    return OwnWorker(Limits())


def _say(text: str) -> None:
    """One line on stderr, whatever a file's name holds."""
    line = "".join(letter if letter.isprintable() else " " for letter in text)
    print(f"lampfold: {' '.join(line.split())}", file=sys.stderr)


def _drop_stdout() -> None:
    """Whoever read our output has gone: nothing more is written, not even when Python ends."""
    try:
        nowhere = os.open(os.devnull, os.O_WRONLY)
        os.dup2(nowhere, sys.stdout.fileno())
        os.close(nowhere)
    except (OSError, ValueError):  # stdout is no real file, as in a test
        return
