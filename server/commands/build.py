"""``lampfold build``: from a folder of art to a PDF of sheets, and the plan that they were drawn from."""

from __future__ import annotations

import argparse
import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.commands.building import add_build_options, check_target, naming_options, progress, read_asked, writing
from server.commands.options import read_text
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
    from server.commands.building import Asked
    from server.core.search import Candidate
    from server.intake.folder import FolderDeck
    from server.prepress import ChangeSheet, Prepared, Record


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
    parser.add_argument("--since", type=Path, metavar="RECORD.json|FOLDER",
                        help="lay out only what changed since that version, and say which cards to take out")
    parser.add_argument("--record", type=Path, metavar="FILE.json",
                        help="write down what was printed, with a small picture of every card, for --since later on")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Build the PDF; exit code 0 when it was written, warnings or not.

    Raises LampfoldError, naming the file or the option, when it wasn't.
    """
    from server.prepress import build

    asked = read_asked(arguments)
    out = arguments.out or Path(f"{arguments.folder.resolve().name or 'deck'}.pdf")
    _check_targets(arguments, out, asked.found)
    since, built = _since(arguments, asked)
    pdf: Path | None = out
    if since is None or since.has_pages:
        with writing("--out", out):
            built = build(built, out, progress(), since=since)
    else:
        pdf = None
    _write_beside(arguments, asked, built, since)
    if arguments.json:
        from server.prepress import changes_to_json, ink_figures, summarise

        ink = ink_figures(built, pdf) if pdf else {}
        changes = {**pair_values(asked.found.deck), **(changes_to_json(since, built) if since else {})}
        print(as_json({"pdf": str(pdf) if pdf else None, **summarise(built), **ink, **changes,
                       "problems": problem_values(built.problems)}))
    else:
        for line in _lines(built, out, since):
            print(line)
    return 0


def _check_targets(arguments: argparse.Namespace, out: Path, found: FolderDeck) -> None:
    """Raises BadValue for a place that can't be written to, that holds art, or that two options share."""
    places: dict[Path, str] = {}
    for option, path in (("--out", out), ("--plan", arguments.plan), ("--record", arguments.record)):
        if path is None:
            continue
        check_target(option, path, found)
        taken = places.setdefault(path.resolve(), option)
        if taken != option:
            place = "the PDF's own place" if taken == "--out" else f"the place of {taken}"
            raise BadValue(f"{option}: {path} is {place}.", "Give it another name.")


def _since(arguments: argparse.Namespace, asked: Asked) -> tuple[ChangeSheet | None, Prepared]:
    """The cards to print, laid out: all, or what changed since the version that --since names."""
    if arguments.since is None:
        return None, asked.prepared()
    from server.prepress import prepare_since

    old = _old_version(arguments.since, asked)
    with naming_options():
        return prepare_since(asked.found.deck, asked.settings, asked.found.source, old, asked.printer)


def _old_version(path: Path, asked: Asked) -> Record:
    """The record at ``path``, or that of the folder there. Raises LampfoldError, naming --since."""
    from server.intake.folder import read_folder
    from server.prepress import make_record, readable_deck, record_from_text
    from server.prepress.record import MOST_BYTES, Picture

    if path.is_dir():
        old, known = read_folder(path), dict[str, Picture]()
        return make_record(readable_deck(old.deck, old.source, known), asked.settings, old.source, known)
    text = read_text("--since", path, MOST_BYTES, "Give a record of lampfold build --record, or a folder.")
    return record_from_text(text, f"--since: {path}")


def _write_beside(arguments: argparse.Namespace, asked: Asked, built: Prepared, since: ChangeSheet | None) -> None:
    """The plan and the record, where they are asked for; the record is of the whole deck, whatever was printed."""
    if arguments.plan:
        from server.prepress import plan_file

        with writing("--plan", arguments.plan):
            arguments.plan.write_text(json.dumps(plan_file(built), indent=1) + "\n", encoding="utf-8")
    if arguments.record:
        from server.prepress import as_printed, make_record, record_to_json

        deck = asked.found.deck if since else built.deck
        whole = since.new if since else make_record(deck, asked.settings, asked.found.source)
        record = record_to_json(as_printed(whole, asked.settings))
        with writing("--record", arguments.record):
            arguments.record.write_text(json.dumps(record, indent=1) + "\n", encoding="utf-8")


def _lines(built: Prepared, out: Path, since: ChangeSheet | None) -> Iterator[str]:
    if since:
        yield from _change_lines(since, built)
        if not since.deck.count:
            return
        yield ""
    yield from _sheet_lines(built, out)


def _change_lines(since: ChangeSheet, built: Prepared) -> Iterator[str]:
    from server.prepress import changes_to_json

    if since.changes.nothing:
        yield f"Nothing has changed since {since.old.deck} {since.old.version}".rstrip() + ": nothing to print."
        return
    yield since.says
    said = changes_to_json(since, built)
    for heading, cards in (("Take out", said["take_out"]), ("Put in", said["printed"])):
        if cards:
            yield heading
            yield from wrapped(", ".join(f"{card['copies']} × {card['name']}" for card in cards), "  ")
    if said["changed"]:
        yield "Changed"
        yield from wrapped(", ".join(map(_changed_says, said["changed"])), "  ")


def _changed_says(changed: dict[str, Any]) -> str:
    """The card, which of its sides changed and how far they differ, such as "gull (back, by 1.87 %)"."""
    percent = changed["differs_percent"]
    by = "" if percent is None else f", by {percent if percent >= 0.01 else 'less than 0.01'} %"
    return f"{changed['new']} ({' and '.join(changed['sides'])}{by})"


def _sheet_lines(built: Prepared, out: Path) -> Iterator[str]:
    from server.core.guide import print_settings
    from server.core.methods import method_named
    from server.prepress.prepare import thickness_says

    planned, plan, layout, best = built.planned, built.planned.plan, built.planned.plan.layout, built.planned.best
    glued = f", {counted(plan.paper_count, 'piece')}" if plan.paper_count != plan.sheet_count else ""
    yield (f"{out}: {counted(len(plan.order), 'card')} on {counted(plan.sheet_count, 'sheet')}{glued} of "
           f"{layout.paper.label}.")
    yield f"  Method          {method_named(layout.method).label}"
    yield f"  Cards a sheet   {plan.cards_per_sheet} ({_grid(best)})"
    yield f"  Cuts            {best.cuts}"
    yield f"  Waste           {best.waste_percent:.1f} %"
    yield from wrapped(thickness_says(built), "  ")
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
    yield ""
    yield from wrapped("Before you glue, coat or cut, read the cautions of `lampfold guide`; the product's label, the "
                       "machine's manual and local rules decide.", "")


def _grid(candidate: Candidate) -> str:
    layout = candidate.layout
    lying = ", cards on their side" if layout.card_turned else ""
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
