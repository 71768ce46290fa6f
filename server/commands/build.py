"""``lampfold build``: from a folder of art to a PDF of sheets, and the plan that they were drawn from."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.commands.building import add_build_options, check_target, progress, read_asked, writing
from server.commands.report import (
    as_json,
    counted,
    pair_lines,
    pair_values,
    problem_lines,
    problem_values,
    table,
    wrapped,
)
from server.errors import BadValue

if TYPE_CHECKING:
    from server.core.search import Candidate
    from server.prepress import Prepared


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``build``."""
    says = "make the PDF of a folder of card art"
    parser = subparsers.add_parser("build", help=says, description=f"{says[:1].upper()}{says[1:]}.",
                                   epilog="Lengths are mm, or written with a unit, such as 0.125in.")
    add_build_options(parser)
    parser.add_argument("--out", type=Path, metavar="FILE.pdf",
                        help="the PDF (default: FOLDER's name, where the command is run)")
    parser.add_argument("--plan", type=Path, metavar="FILE.json",
                        help="write the sheet plan too: every placement in mm")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Build the PDF; exit code 0 when it was written, warnings or not.

    Raises LampfoldError, naming the file or the option, when it wasn't.
    """
    from server.prepress import build

    asked = read_asked(arguments)
    found = asked.found
    out = arguments.out or Path(f"{arguments.folder.resolve().name or 'deck'}.pdf")
    check_target("--out", out, found)
    if arguments.plan:
        check_target("--plan", arguments.plan, found)
        if arguments.plan.resolve() == out.resolve():
            raise BadValue(f"--plan: {arguments.plan} is the PDF's own place.", "Give it another name.")
    prepared = asked.prepared()
    with writing("--out", out):
        built = build(prepared, out, progress())
    if arguments.plan:
        _write_plan(built, arguments.plan)
    if arguments.json:
        from server.prepress import summarise

        print(as_json({"pdf": str(out), **summarise(built), **pair_values(built.deck),
                       "problems": problem_values(built.problems)}))
    else:
        for line in _lines(built, out):
            print(line)
    return 0


def _write_plan(built: Prepared, path: Path) -> None:
    from server.prepress import plan_file

    with writing("--plan", path):
        path.write_text(json.dumps(plan_file(built), indent=1) + "\n", encoding="utf-8")


def _lines(built: Prepared, out: Path) -> Iterator[str]:
    from server.core.guide import print_settings
    from server.core.methods import method_named

    planned, plan, layout, best = built.planned, built.planned.plan, built.planned.plan.layout, built.planned.best
    glued = f", {counted(plan.paper_count, 'piece')}" if plan.paper_count != plan.sheet_count else ""
    yield (f"{out}: {counted(len(plan.order), 'card')} on {counted(plan.sheet_count, 'sheet')}{glued} of "
           f"{layout.paper.label}.")
    yield f"  Method          {method_named(layout.method).label}"
    yield f"  Cards a sheet   {plan.cards_per_sheet} ({_grid(best)})"
    yield f"  Cuts            {best.cuts}"
    yield f"  Waste           {best.waste_percent:.1f} %"
    if len(planned.candidates) > 1:
        yield ""
        yield "Other plans"
        yield from table([("sheets", "a sheet", "cuts", "waste", "how, and how to choose it"),
                          *_rows(planned.candidates)])
    yield from pair_lines(built.deck)
    yield from problem_lines(built.problems)
    yield ""
    yield "In the print dialog"
    for step in print_settings(layout, built.settings.stock_record):
        yield from wrapped(step.title, "  ")


def _grid(candidate: Candidate) -> str:
    layout = candidate.layout
    lying = ", cards lying" if layout.card_turned else ""
    hinge = f", hinge {layout.hinge_side}" if layout.hinge_side else ""
    return f"{layout.columns} × {layout.rows}, {layout.arrangement}{lying}{hinge}"


def _rows(candidates: Sequence[Candidate]) -> Iterator[tuple[str, ...]]:
    """The plans after the best one. The options choose the best of its kind, so its like get no hint."""
    chosen = set()
    for number, candidate in enumerate(candidates):
        layout = candidate.layout
        choose = f"--arrangement {layout.arrangement} --turn-cards {'yes' if layout.card_turned else 'no'}"
        hint = "" if choose in chosen else f": {choose}"
        chosen.add(choose)
        if number:
            yield (str(candidate.papers), str(candidate.cards_per_sheet), str(candidate.cuts),
                   f"{candidate.waste_percent:.1f} %", f"{_grid(candidate)}{hint}")
