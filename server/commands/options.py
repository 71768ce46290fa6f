"""The options that shape a deck, the same for every command that takes a folder of art."""

from __future__ import annotations

import argparse
import re
from pathlib import Path

from server.core.card_sizes import CARD_SIZES
from server.core.paper import PAPERS
from server.core.settings import DeckSettings
from server.core.stock import STOCKS
from server.errors import BadValue

# field of DeckSettings: option, placeholder, help
_ART = {
    "card": ("--card", "NAME|WxH", f"card at trim: {', '.join(CARD_SIZES)} or a size in mm (or 2.5x3.5in)"),
    "bleed_mm": ("--bleed", "MM", "bleed round each card"),
    "edges": ("--edges", "HOW", "where bleed comes from: auto, art, mirror, stretch, colour or none"),
}
_SHEET = {
    "method": ("--method", "NAME", "build method: duplex, vertical-fold, side-fold or two-sheet"),
    "flip": ("--flip", "EDGE", "how a duplex sheet is turned: long-edge or short-edge"),
    "paper": ("--paper", "NAME|WxH", f"{', '.join(PAPERS)} or a size in mm"),
    "gutter_mm": ("--gutter", "MM", "room between two cards; 0 shares one cut"),
    "safe_mm": ("--safe", "MM", "safe zone inside the trim, shown on screen only"),
    "cut_lines": ("--cut-lines", "FACES", "fronts, both or none"),
    "line_style": ("--line-style", "STYLE", "full lines, or ticks in the waste"),
    "stock": ("--stock", "NAME", f"what it is printed on: {', '.join(STOCKS)}"),
    "core_mm": ("--core", "MM", "thickness of the board between the panels of a fold; 0 for none"),
    "hinge_mm": ("--hinge", "MM", "width of the strip for the tape, 10 or more"),
    "margin_mm": ("--margin", "MM", "edge of the paper that the printer can't reach"),
    "back_flood": ("--back-flood", "COLOUR", "colour such as #1f5f6b laid under the backs, to the edge of what prints"),
    "arrangement": ("--arrangement", "NAME", "portrait or landscape, where the best plan isn't wanted"),
    "card_turned": ("--turn-cards", "yes|no", "cards lying on the sheet, or upright"),
}
_OPTIONS = {"fold_on_cut": "--fold-on-cut", **{field: option for field, (option, _, _) in {**_ART, **_SHEET}.items()}}


def add_folder(parser: argparse.ArgumentParser) -> None:
    """The folder of art, ``--json``, and how art lies on a card."""
    parser.add_argument("folder", type=Path, metavar="FOLDER", help="folder of art, with fronts/ and backs/")
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    _add(parser, _ART)


def add_sheet_options(parser: argparse.ArgumentParser) -> None:
    """Everything else that shapes the sheets."""
    _add(parser, _SHEET)
    parser.add_argument("--fold-on-cut", action="store_true", default=None, dest="fold_on_cut",
                        help="lay the crease on the cut line, without bleed there")


def _add(parser: argparse.ArgumentParser, options: dict[str, tuple[str, str, str]]) -> None:
    defaults = DeckSettings().as_mapping()
    for field, (option, placeholder, says) in options.items():
        default = f"{defaults[field]:g} mm" if isinstance(defaults[field], float) else defaults[field]
        text = f"{says} (default: {default})" if default else says
        parser.add_argument(option, dest=field, metavar=placeholder, help=text.replace("%", "%%"))


def settings_from(arguments: argparse.Namespace) -> DeckSettings:
    """The deck's settings, from the options that were given. Raises BadValue, naming the option."""
    given = {field: value for field in _OPTIONS if (value := getattr(arguments, field, None)) is not None}
    try:
        return DeckSettings().changed(given)
    except BadValue as error:
        raise by_option(error) from None


def by_option(error: BadValue) -> BadValue:
    """The same error, of the same class, naming the option where it named the setting."""
    found = re.match(r"(\w+): ", error.message)
    if not found:
        return error
    fields = (found[1], f"{found[1]}_mm")
    option = next((_OPTIONS[field] for field in fields if field in _OPTIONS), None)
    return type(error)(f"{option}: {error.message[found.end():]}", error.fix) if option else error
