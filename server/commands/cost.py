"""``lampfold cost``: sheets, cuts, time, ink and money by every build method and paper, side by side."""

from __future__ import annotations

import argparse
import math
from typing import TYPE_CHECKING, Any

from server.commands.building import add_build_options, naming_options, read_asked
from server.commands.report import as_json, table, wrapped
from server.core.cost import CARES
from server.errors import BadValue

if TYPE_CHECKING:
    from server.core.cost import CostRow


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``cost``."""
    says = "say what the deck costs by every build method and paper"
    parser = subparsers.add_parser(
        "cost", help=says, description=f"{says[:1].upper()}{says[1:]}.",
        epilog="Minutes are a rough guide for careful hands, drying left out; prices are in your own money.")
    add_build_options(parser, without=("method", "paper", "arrangement", "card_turned"))
    parser.add_argument("--methods", default="", metavar="NAMES", help="build methods, with commas (default: all)")
    parser.add_argument("--papers", default="", metavar="NAMES", help="papers, with commas (default: all)")
    parser.add_argument("--care", default="minutes", choices=CARES, metavar="FOR",
                        help=f"what the best is told by: {', '.join(CARES)} (default: minutes)")
    parser.add_argument("--sheet-price", default="0", metavar="MONEY", help="what a sheet of paper costs")
    parser.add_argument("--ink-price", default="0", metavar="MONEY",
                        help="a cartridge's price divided by the pages that it is said to print")
    parser.set_defaults(run=run, method=None, paper=None, arrangement=None, card_turned=None)


def run(arguments: argparse.Namespace) -> int:
    """Print the table; exit code 0. Raises LampfoldError, naming the file or the option."""
    from server.core.cost import Prices, best_of
    from server.core.methods import method_named
    from server.core.sizes import paper_named
    from server.prepress.inks import cost_table, cost_to_json, ink_of_art, printed_art

    prices = Prices(_money("--sheet-price", arguments.sheet_price), _money("--ink-price", arguments.ink_price))
    methods = [method_named(name).name for name in _names(arguments.methods)]
    papers = [paper_named(name).name for name in _names(arguments.papers)]
    asked = read_asked(arguments)
    with naming_options():
        deck = asked.found.deck
        rows, refused = cost_table(deck, asked.settings, ink_of_art(printed_art(deck).values(), asked.found.source),
                                   prices, methods, papers)
    if arguments.json:
        print(as_json(cost_to_json(rows, refused, arguments.care)))
        return 0
    best = best_of(rows, arguments.care)
    for line in table([("sheets", "papers", "cuts", "minutes", "ink", "money", "how"),
                       *(_cells(row, row is best) for row in rows)]):
        print(line)
    for method, paper, why in refused:
        print("\n".join(wrapped(f"{method}, {paper}: {why}", "  ")))
    return 0


def _names(text: str) -> list[str]:
    return [name.strip() for name in text.split(",") if name.strip()]


def _money(option: str, text: str) -> float:
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not 0 <= value <= 1e6:
        raise BadValue(f"{option}: {text!r} is no price.", "Write it as 0.08, in your own money.")
    return value


def _cells(row: CostRow, best: bool) -> tuple[str, ...]:
    return (str(row.sheets), str(row.papers), str(row.cuts), f"{row.minutes:.0f}", f"{row.ink.total:.0f} %",
            f"{row.money:.2f}", f"{row.method}, {row.paper}{'  <- best' if best else ''}")
