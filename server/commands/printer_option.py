"""``--printer FILE``: a printer's file on the command line, read and written."""

from __future__ import annotations

import argparse
import secrets
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.errors import BadValue

if TYPE_CHECKING:
    from server.core.registration.printer import Printer


def add_printer(parser: argparse.ArgumentParser, says: str, *, required: bool = False) -> None:
    """The option itself; ``says`` is its help."""
    parser.add_argument("--printer", type=Path, metavar="FILE.json", required=required,
                        help=f"{says} (a file from lampfold fit --out, or from the True-up page)")


def read_printer(path: Path | None) -> Printer | None:
    """The printer in that file, None where no file is named. Raises BadValue, naming the file and what is wrong."""
    from server.core.registration.printer_file import MOST_BYTES, printer_from_text

    if path is None:
        return None
    text = read_text("--printer", path, MOST_BYTES, "Make one with lampfold fit READINGS.csv --out FILE.json.")
    return printer_from_text(text, f"--printer: {path}")


def read_text(argument: str, path: Path, most_bytes: int, fix: str) -> str:
    """A small text file. Raises BadValue, naming it and why it can't be read."""
    try:
        if path.stat().st_size > most_bytes:
            raise BadValue(f"{argument}: {path} is larger than {most_bytes // 1000} kB.", fix)
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise BadValue(f"{argument}: {path} is no text in UTF-8.", fix) from None
    except OSError as error:
        raise BadValue(f"{argument}: {path} can't be read ({error.strerror or error}).", fix) from None


def write_whole(option: str, path: Path, content: bytes) -> None:
    """All of it or nothing. Raises BadValue, naming the option and the place."""
    under_way = path.with_name(f".{path.name}.{secrets.token_hex(4)}.part")
    try:
        under_way.write_bytes(content)
        under_way.replace(path)
    except OSError as error:
        raise BadValue(f"{option}: {path} can't be written ({error.strerror or error}).",
                       "Choose another place, or close the program that has it open.") from None
    finally:
        under_way.unlink(missing_ok=True)


def check_place(option: str, path: Path, *own: Path) -> None:
    """Raises BadValue for a place that can't be written to, or that is one of the files that are read."""
    if path.is_dir():
        raise BadValue(f"{option}: {path} is a folder.", "Give the name of a file.")
    if not path.parent.is_dir():
        raise BadValue(f"{option}: the folder {path.parent} isn't there.", "Make it first, or choose another.")
    if any(path.resolve() == one.resolve() for one in own):
        raise BadValue(f"{option}: {path} is read by this command and would be lost.", "Give it another name.")


def add_parser(subparsers: argparse._SubParsersAction[Any], name: str, says: str,
               epilog: str | None = None) -> argparse.ArgumentParser:
    """A subcommand's parser, its help and description from the same words."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        name, help=says, description=f"{says[:1].upper()}{says[1:]}.", epilog=epilog)
    return parser
