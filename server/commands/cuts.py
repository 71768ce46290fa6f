"""``lampfold cuts``: what a cutting machine needs, each sheet's contours as SVG and a PDF with the same marks."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from server.commands.building import add_build_options, check_target, progress, read_asked, writing
from server.commands.report import as_json, counted, problem_lines, problem_values
from server.errors import BadValue


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``cuts``."""
    says = "write each sheet's contours as SVG for a cutting machine, and the PDF with its marks"
    parser = subparsers.add_parser("cuts", help=says, description=f"{says[:1].upper()}{says[1:]}.",
                                   epilog="Lengths are mm, or written with a unit, such as 0.125in.")
    add_build_options(parser, without=("registration",))
    parser.add_argument("--svg", type=Path, metavar="DIR", required=True,
                        help="the folder for sheet-01.svg and the rest; made if it isn't there")
    parser.add_argument("--out", type=Path, metavar="FILE.pdf",
                        help="the PDF (default: FOLDER's name, where the command is run)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the SVGs and the PDF. Raises LampfoldError, naming the option, where they can't be made."""
    from server.core.machine import machine_files
    from server.prepress import build, summarise

    arguments.registration = True
    asked = read_asked(arguments)
    out = arguments.out or Path(f"{arguments.folder.resolve().name or 'deck'}.pdf")
    check_target("--out", out, asked.found)
    folder: Path = arguments.svg
    if folder.exists() and not folder.is_dir():
        raise BadValue(f"--svg: {folder} is a file.", "Give a folder.")
    prepared = asked.prepared()
    with writing("--out", out):
        built = build(prepared, out, progress())
    files = machine_files(built.planned)
    with writing("--svg", folder):
        folder.mkdir(parents=True, exist_ok=True)
        for name, text in files.items():
            (folder / name).write_text(text, encoding="utf-8")
    if arguments.json:
        print(as_json({"pdf": str(out), "svg": [str(folder / name) for name in files], **summarise(built),
                       "problems": problem_values(built.problems)}))
        return 0
    plan = built.planned.plan
    marks = len(plan.layout.corner_marks)
    print(f"{out}: {counted(len(plan.order), 'card')} on {counted(plan.sheet_count, 'sheet')} of "
          f"{plan.layout.paper.label}, {marks} marks on each front.")
    print(f"{folder}: {counted(len(files), 'file')}, one for each sheet.")
    for line in problem_lines(built.problems):
        print(line)
    return 0
