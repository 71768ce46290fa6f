"""``lampfold nudge``: move the back pages of a PDF that exists already."""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path
from typing import Any

from server.commands.options import add_parser, add_printer, check_place, read_printer
from server.commands.report import as_json
from server.errors import BadValue
from server.formats.apart import apart

_AS_MANY_FILES = 100  # whose time a PDF may take: as long as a server gives a build


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``nudge``."""
    parser = add_parser(subparsers, "nudge", "move, turn and scale the back pages of a ready PDF for a printer",
                        "Nothing is redrawn or re-encoded, and page sizes stay.")
    parser.add_argument("pdf", type=Path, metavar="IN.pdf", help="the PDF to print on both sides")
    add_printer(parser, "the printer whose drift is corrected", required=True)
    parser.add_argument("--backs", default="even", metavar="even|odd|LIST",
                        help="which pages are backs; a list such as 2,4,6-8 (default: even)")
    parser.add_argument("--out", type=Path, required=True, metavar="OUT.pdf", help="the PDF to write")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the nudged PDF; exit code 0, with warnings on stderr. Raises LampfoldError, naming the file or option."""
    from server.core.wording import page_list_text
    from server.drawing.nudge import nudge_named, nudged_to_json

    check_place("--out", arguments.out, arguments.pdf, arguments.printer)
    if not arguments.pdf.is_file():
        raise BadValue(f"IN.pdf: {arguments.pdf} isn't there.", "Give the name of a PDF.")
    printer = read_printer(arguments.printer)
    assert printer is not None  # the option is required
    try:
        # What a worker that is ended leaves behind goes with the room.
        with tempfile.TemporaryDirectory(prefix=".lampfold-", dir=arguments.out.parent) as room:
            moved = Path(room) / "moved.pdf"
            done = apart(str(arguments.pdf), nudge_named, arguments.pdf, moved, printer, arguments.backs,
                         str(arguments.pdf), "--backs", times=_AS_MANY_FILES)
            moved.replace(arguments.out)
    except OSError as error:
        raise BadValue(f"--out: {arguments.out} can't be written ({error.strerror or error}).",
                       "Choose another place, or close the program that has it open.") from None
    for warning in done.warnings:
        print(f"lampfold: {warning}", file=sys.stderr)
    if arguments.json:
        print(as_json({"pdf": str(arguments.out), **nudged_to_json(done)}))
    else:
        pages = page_list_text(done.moved)
        print(f"{arguments.out}: {pages[:1].upper()}{pages[1:]} of {done.pages} moved; {printer.note}.")
    return 0
