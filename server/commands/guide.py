"""``lampfold guide``: how to build the cards, step by step, drawn from the plan, as a PDF on the deck's paper."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from server.commands.building import add_build_options, check_target, progress, read_asked, writing
from server.commands.report import as_json, counted


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``guide``."""
    says = "write the build steps with a drawing each, and what to be careful with, as a PDF"
    parser = subparsers.add_parser("guide", help=says, description=f"{says[:1].upper()}{says[1:]}.",
                                   epilog="Lengths are mm, or written with a unit, such as 0.125in.")
    add_build_options(parser)
    parser.add_argument("--out", type=Path, metavar="FILE.pdf", help="the PDF (default: FOLDER's name and -steps)")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the guide. Raises LampfoldError, naming the option, where the deck can't be laid out."""
    from server.core.guide import guide_to_json
    from server.prepress import build

    asked = read_asked(arguments)
    out = arguments.out or Path(f"{arguments.folder.resolve().name or 'deck'}-steps.pdf")
    check_target("--out", out, asked.found)
    prepared = asked.prepared()
    with writing("--out", out):
        built = build(prepared, out, progress(), part="guide")
    planned = built.planned
    steps = guide_to_json(planned.plan.layout, planned.settings, planned.box)
    if arguments.json:
        print(as_json({"pdf": str(out), "steps": steps}))
        return 0
    print(f"{out}: {counted(len(steps), 'step')}.")
    for number, step in enumerate(steps, 1):
        for caution in step["cautions"]:
            print(f"     Careful: {caution.partition(':')[0].lower()}")
        print(f"  {number:>2}. {step['title']}")
    return 0
