"""``lampfold leeway``: how far each back may move before the cut card shows it."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from server.commands.options import add_folder, folder_from, settings_from
from server.commands.report import as_json, counted, table, wrapped

if TYPE_CHECKING:
    from server.core.art import Art
    from server.core.leeway import Leeway, Sides

_DIGITS = 3


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``leeway``."""
    says = "say how far each back may move before the cut card shows it"
    parser = subparsers.add_parser(
        "leeway", help=says, description=f"{says[:1].upper()}{says[1:]}.",
        epilog="Left means that the back moves to the left as it is seen; null, or a dash, that it never happens.")
    add_folder(parser)
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Measure every distinct back; exit code 0 where each could be measured, else 1.

    Raises LampfoldError where the folder or an option can't be used, or there is no back.
    """
    from server.core.methods import method_named
    from server.errors import BadValue
    from server.prepress.backs import card_leeways, distinct_backs

    found, settings = folder_from(arguments, settings_from(arguments))
    method = method_named(settings.method)
    if not method.has_backs:
        raise BadValue(f"--method: {method.name} prints no backs.", "Choose a build method that does.")
    if not any(card.back for card in found.deck.cards):
        raise BadValue(f"{arguments.folder}: no card has a back.", "Put backs into backs/.")
    backs = distinct_backs(found.deck)
    leeways, broken = card_leeways(found.deck, settings, found.source)
    measured = [(art, leeways[key]) for key, art in backs.items() if key in leeways]
    if arguments.json:
        print(as_json([leeway_values(art.file, leeway) for art, leeway in measured]))
    else:
        for line in _lines(found.deck.name, measured):
            print(line)
    for error in broken.values():
        print(f"lampfold: {error}", file=sys.stderr)
    return 1 if broken else 0


def leeway_values(file: str, leeway: Leeway) -> dict[str, Any]:
    """One back's leeway as plain values, in mm, to the micrometre; None where a thing never happens.

    What lies beside a back is known only where it is cut out with its front.
    """
    beside = _sides(leeway.neighbour_shows_mm)
    return {
        "file": file,
        "paper_shows_mm": _sides(leeway.paper_shows_mm),
        "art_cut_mm": _sides(leeway.art_cut_mm),
        "uneven_mm": _sides(leeway.uneven_mm),
        **({"neighbour_shows_mm": beside} if any(value is not None for value in beside.values()) else {}),
        "leeway_mm": _rounded(leeway.leeway_mm),
    }


def _sides(sides: Sides[float | None]) -> dict[str, float | None]:
    return {side: _rounded(value) for side, value in sides.items()}


def _rounded(value: float | None) -> float | None:
    return None if value is None else round(value, _DIGITS) + 0.0  # never -0.0


def _lines(name: str, measured: list[tuple[Art, Leeway]]) -> Iterator[str]:
    from server.core.leeway import RULES
    from server.core.units import mm_text

    def cell(value: float | None) -> str:
        return "-" if value is None else mm_text(value)

    yield f"{name}: {counted(len(measured), 'distinct back')}. How far each may move, in mm:"
    yield from wrapped("Each back by itself. On a sheet without a gutter its neighbour may show sooner; the Glow page "
                       "measures that.", "")
    rows = [("left", "right", "up", "down", "what shows then")]
    for art, leeway in measured:
        yield ""
        yield from wrapped(f"{art.file}: {leeway.says()}", "")
        rows = [rows[0]]
        for rule in RULES:
            sides = leeway.rule(rule.name)
            if rule.name == "neighbour_shows" and all(value is None for _, value in sides.items()):
                continue  # there is no sheet here
            rows.append((cell(sides.left), cell(sides.right), cell(sides.top), cell(sides.bottom), rule.title))
        yield from table(rows)
