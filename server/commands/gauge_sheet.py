"""``lampfold test-sheet``: the sheet whose two sides are read against each other at the light."""

from __future__ import annotations

import argparse
import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from server.commands.options import add_parser, add_printer, check_place, read_printer, write_whole
from server.commands.report import wrapped
from server.errors import BadValue


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``test-sheet``."""
    parser = add_parser(subparsers, "test-sheet", "make the two-sided sheet that shows how far backs are off")
    parser.add_argument("--paper", metavar="NAME|WxH", help="a4, letter, ... or a size in mm (default: a4)")
    parser.add_argument("--flip", choices=("long-edge", "short-edge"),
                        help="how the sheet is turned (default: long-edge)")
    parser.add_argument("--out", type=Path, default=Path("test-sheet.pdf"), metavar="FILE.pdf",
                        help="the PDF (default: test-sheet.pdf)")
    add_printer(parser, "print with this printer's correction, to confirm that the drift is gone")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the PDF; exit code 0. Raises BadValue, naming the option."""
    from server.core.sizes import paper_named
    from server.drawing.gauge_sheet import gauge_sheet_pdf

    check_place("--out", arguments.out, *([arguments.printer] if arguments.printer else []))
    printer = read_printer(arguments.printer)
    paper = paper_named(arguments.paper) if arguments.paper else printer.paper if printer else paper_named("a4")
    flip = arguments.flip or (printer.flip if printer else "long-edge")
    if printer:
        from server.core.methods.duplex import DUPLEX
        from server.core.registration.correction import check_match

        check_match(printer, paper, DUPLEX.name, flip)
    stream = io.BytesIO()
    try:
        gauge_sheet_pdf(stream, paper, flip, printer)
    except BadValue as error:
        raise BadValue(f"--{error.message}", error.fix) from None
    write_whole("--out", arguments.out, stream.getvalue())
    for line in _lines(arguments.out, paper.label, flip, printer is not None):
        print(line)
    return 0


def _lines(out: Path, paper: str, flip: str, corrected: bool) -> Iterator[str]:
    edge = flip.replace("-", " ")
    yield f"{out}: test sheet on {paper}, flip on the {edge}{', corrected' if corrected else ''}."
    yield from wrapped(f"Print both sides at 100 % (actual size), flipped on the {edge}. Hold the sheet to a window, "
                       "read dx and dy of each station, and write them to a file under the heading "
                       "sheet,station,dx_mm,dy_mm. Five sheets or more also tell the wander.", "")
    if not corrected:
        yield "Then: lampfold fit READINGS.csv --out PRINTER.json"
