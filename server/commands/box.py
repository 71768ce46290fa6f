"""``lampfold box``: a box for the deck, its net as a page of its own, and where every panel and crease lies."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any, get_args

from server.commands.building import add_build_options, check_target, progress, read_asked, writing
from server.commands.report import as_json, counted, problem_values, wrapped
from server.core.box import DEFAULT_CLEARANCE_MM, BoxKind
from server.core.card_stack import Thickness
from server.core.guide import layers_of
from server.core.units import mm_text

if TYPE_CHECKING:
    from server.core.box import Box
    from server.prepress import Prepared

# This command's own words for settings.
_OPTIONS = {"box": "--kind", "box_clearance_mm": "--clearance", "box_sleeved": "--sleeved", "box_panels": "--panel",
            "panel": "--panel"}


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``box``."""
    says = "make a box for the cards of a folder"
    parser = subparsers.add_parser("box", help=says, description=f"{says[:1].upper()}{says[1:]}, its net on one page.",
                                   epilog="Lengths are mm, or written with a unit, such as 0.125in.")
    add_build_options(parser, without=tuple(_OPTIONS))
    parser.add_argument("--out", type=Path, metavar="FILE.pdf", help="the PDF (default: FOLDER's name and -box)")
    parser.add_argument("--kind", choices=get_args(BoxKind), default="tuck", dest="box",
                        help="a tuck box of one piece, or a base with a lid that lifts off (default: tuck)")
    parser.add_argument("--clearance", metavar="MM", dest="box_clearance_mm",
                        help="what the box is larger than the deck, added once to each length "
                             f"(default: {DEFAULT_CLEARANCE_MM:g} mm)")
    parser.add_argument("--sleeved", action="store_true", default=None, dest="box_sleeved",
                        help="for sleeved cards")
    parser.add_argument("--panel", action="append", default=[], metavar="NAME=WHAT",
                        help="a colour such as #1f5f6b, or a file of FOLDER, on a panel: front, back, left, right, "
                             "lid, bottom, or all; may be given several times")
    parser.set_defaults(run=run)


def run(arguments: argparse.Namespace) -> int:
    """Write the box's PDF. Raises LampfoldError, naming the option and the way out, where no box can be made."""
    from server.core.box import box_to_json
    from server.core.planning import box_of
    from server.prepress import build

    if arguments.panel:
        arguments.box_panels = ",".join(arguments.panel)
    asked = read_asked(arguments, _OPTIONS)
    out = arguments.out or Path(f"{arguments.folder.resolve().name or 'deck'}-box.pdf")
    check_target("--out", out, asked.found)
    prepared = asked.prepared(_OPTIONS)
    with writing("--out", out):
        built = build(prepared, out, progress(), part="box")
    box = box_of(built.deck, built.settings, built.planned.plan.layout)
    if arguments.json:
        print(as_json({"pdf": str(out), **box_to_json(box), "problems": problem_values(built.problems)}))
    else:
        for line in _lines(box, out, built):
            print(line)
    return 0


def _lines(box: Box, out: Path, built: Prepared) -> Iterator[str]:
    def size(sides: tuple[float, float, float]) -> str:
        return " × ".join(mm_text(side, 1) for side in sides)

    settings, layout = built.settings, built.planned.plan.layout
    layers = layers_of(layout, settings.stock_record, settings.core_mm, sleeved=settings.box_sleeved)
    thick = Thickness.of(layers, built.deck.count)
    sleeved = ", sleeved" if settings.box_sleeved else ""
    yield f"{out}: a {'tuck box' if box.kind == 'tuck' else 'box with a lid'} on {box.paper.label}."
    yield f"  Deck            {size(box.deck_mm)} mm, {counted(built.deck.count, 'card')}{sleeved}"
    yield f"  Clearance       {mm_text(box.clearance_mm)} mm on each length"
    yield f"  Inside          {size(box.inside_mm)} mm, width, height and depth"
    yield f"  Thickness       {thick.says(1)}"
    if thick.most_mm > box.inside_mm[2]:
        yield from wrapped(f"A stack at the thick end would not go in: measure it, and give --clearance "
                           f"{mm_text(thick.most_mm - box.deck_mm[2] + 0.5, 1)}.", "  ")
