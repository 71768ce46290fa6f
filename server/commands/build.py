"""``lampfold build``: from a folder of art to a PDF of sheets, and the plan that they were drawn from."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.commands.options import add_folder, add_sheet_options, by_option, settings_from
from server.commands.printer_option import add_printer, read_printer
from server.commands.said import as_json, counted, problem_lines, problem_values, table, wrapped
from server.errors import BadValue, TooMuch, Unreadable

if TYPE_CHECKING:
    from server.core.art import Deck, Problem
    from server.core.planning import Planned
    from server.core.registration.printer import Printer
    from server.core.search import Candidate
    from server.core.settings import DeckSettings
    from server.intake.folder import FolderDeck


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``build``."""
    says = "make the PDF of a folder of card art"
    parser = subparsers.add_parser("build", help=says, description=f"{says[:1].upper()}{says[1:]}.",
                                   epilog="Lengths are mm, or written with a unit, such as 0.125in.")
    add_folder(parser)
    add_sheet_options(parser)
    parser.add_argument("--out", type=Path, metavar="FILE.pdf",
                        help="the PDF (default: FOLDER's name, where the command is run)")
    add_printer(parser, "correct the backs for this printer's drift")
    parser.add_argument("--plan", type=Path, metavar="FILE.json",
                        help="write the sheet plan too: every placement in mm")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Build the PDF; exit code 0 when it was written, warnings or not.

    Raises LampfoldError, naming the file or the option, when it wasn't.
    """
    from server.core.checks import all_problems
    from server.intake.folder import read_folder

    printer = read_printer(arguments.printer)
    if printer:  # made for that printer, so on its paper and with its flip, where the command doesn't say otherwise
        arguments.paper = arguments.paper or printer.paper.name
        arguments.flip = arguments.flip or printer.flip
    settings = settings_from(arguments)
    found = read_folder(arguments.folder)
    out = arguments.out or Path(f"{arguments.folder.resolve().name or 'deck'}.pdf")
    _check_target("--out", out, found)
    if arguments.plan:
        _check_target("--plan", arguments.plan, found)
        if arguments.plan.resolve() == out.resolve():
            raise BadValue(f"--plan: {arguments.plan} is the PDF's own place.", "Give it another name.")
    planned = _build(found, settings, out, printer)
    if arguments.plan:
        _write_plan(planned, arguments.plan)
    problems = tuple(dict.fromkeys((*all_problems(planned.deck, settings), *planned.problems)))
    if arguments.json:
        print(as_json(_values(planned, out, problems)))
    else:
        for line in _lines(planned, out, problems):
            print(line)
    return 0


def _build(found: FolderDeck, settings: DeckSettings, out: Path, printer: Printer | None) -> Planned:
    """Plan and draw. Art that turns out broken while it is drawn is left out, and the others go on."""
    deck = found.deck
    while True:
        try:
            return _draw(deck, found, settings, out, printer)
        except Unreadable as error:
            from server.intake.proof import broken_art, files_of, without

            broken = broken_art(deck, found.source)
            if not broken:  # the decoders take what the PDF can't; the error names its file
                broken = {file: error for file in files_of(deck) if error.message.startswith(f"{file}: ")}
            if not broken:
                raise
            deck = without(deck, broken)


def _draw(deck: Deck, found: FolderDeck, settings: DeckSettings, out: Path, printer: Printer | None) -> Planned:
    from server.core.planning import plan_deck
    from server.drawing.deck_pdf import write_deck_pdf
    from server.formats.limits import MAX_CARDS

    if deck.count == 0:
        raise BadValue(f"{found.deck.name}: has no card to print.{_first_error(deck)}",
                       "Put art into fronts/; lampfold check says more.")
    if deck.count > MAX_CARDS:
        raise TooMuch(f"{found.deck.name}: asks for {deck.count} cards, over the limit of {MAX_CARDS}.",
                      "Lower the copies, or build it in parts.")
    if settings.edges == "colour":
        from server.formats.pixels import with_edge_colours

        deck = with_edge_colours(deck, found.source)
    try:
        planned = plan_deck(deck, settings, printer)
    except Unreadable:
        raise
    except BadValue as error:
        raise by_option(error) from None
    try:
        write_deck_pdf(planned, deck, settings, found.source, out, _progress())
    except OSError as error:
        raise BadValue(f"--out: {out} can't be written ({error.strerror or error}).",
                       "Choose another place, or close the program that has it open.") from None
    return planned


def _first_error(deck: Deck) -> str:
    first = next((problem for problem in deck.problems if problem.severity == "error"), None)
    return f" {first.file}: {first.message}" if first else ""


def _check_target(option: str, path: Path, found: FolderDeck) -> None:
    """Raises BadValue for a place that can't be written to, or that holds this deck's own art."""
    if path.is_dir():
        raise BadValue(f"{option}: {path} is a folder.", "Give the name of a file.")
    if not path.parent.is_dir():
        raise BadValue(f"{option}: the folder {path.parent} isn't there.", "Make it first, or choose another.")
    if path.resolve() in {art.resolve() for art in found.paths.values()}:
        raise BadValue(f"{option}: {path} is art of this deck and would be lost.", "Give another name by --out.")


def _write_plan(planned: Planned, path: Path) -> None:
    from server.core.plan_json import plan_to_json

    try:
        path.write_text(json.dumps(plan_to_json(planned), indent=1) + "\n", encoding="utf-8")
    except OSError as error:
        raise BadValue(f"--plan: {path} can't be written ({error.strerror or error}).",
                       "Choose another place.") from None


def _progress() -> Callable[[int, int], None]:
    """Tells a person at a terminal how far it is, on stderr, and nobody else."""
    if not sys.stderr.isatty():
        return lambda done, total: None

    def tell(done: int, total: int) -> None:
        line = f"Page {done} of {total}" if done < total else ""
        sys.stderr.write(f"\r{line:<40}" + ("" if line else "\r"))
        sys.stderr.flush()

    return tell


def _values(planned: Planned, out: Path, problems: tuple[Problem, ...]) -> dict[str, Any]:
    best, layout = planned.best, planned.plan.layout
    return {
        "pdf": str(out), "method": layout.method, "paper": layout.paper.name, "sheets": planned.plan.paper_count,
        "cards_per_sheet": planned.plan.cards_per_sheet, "cuts": best.cuts,
        "waste_percent": round(best.waste_percent, 2), "problems": problem_values(problems),
    }


def _lines(planned: Planned, out: Path, problems: tuple[Problem, ...]) -> Iterator[str]:
    from server.core.guide import print_settings
    from server.core.methods import method_named

    plan, layout, best = planned.plan, planned.plan.layout, planned.best
    yield f"{out}: {counted(len(plan.order), 'card')} on {counted(plan.paper_count, 'sheet')} of {layout.paper.label}."
    yield f"  Method          {method_named(layout.method).label}"
    yield f"  Cards a sheet   {plan.cards_per_sheet} ({_grid(best)})"
    yield f"  Cuts            {best.cuts}"
    yield f"  Waste           {best.waste_percent:.1f} %"
    if len(planned.candidates) > 1:
        yield ""
        yield "Other plans"
        yield from table([("sheets", "a sheet", "cuts", "waste", "how, and how to choose it"),
                          *_rows(planned.candidates)])
    yield from problem_lines(problems)
    yield ""
    yield "In the print dialog"
    for step in print_settings(layout, planned.settings.stock_record):
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
