"""``lampfold release``: decks by several methods, papers and inks in one pack for others to print."""

from __future__ import annotations

import argparse
import copy
from pathlib import Path
from typing import TYPE_CHECKING, Any

from server.commands.building import check_target, naming_options, progress, read_asked, writing
from server.commands.options import add_folder, add_sheet_options
from server.commands.report import as_json, counted, wrapped
from server.errors import BadValue

if TYPE_CHECKING:
    from server.prepress.release import DeckToPack, ReleaseOrder

_OWN = ("method", "paper", "ink", "version", "arrangement", "card_turned")
_INKS = ("full", "pale")


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``release``."""
    says = "pack decks for others to print: every method, paper and ink that is chosen, guides, and an index"
    parser = subparsers.add_parser("release", help=says, description=f"{says[:1].upper()}{says[1:]}.",
                                   epilog="Lengths are mm, or written with a unit, such as 0.125in.")
    add_folder(parser, _OWN, several=True)
    add_sheet_options(parser, _OWN)
    parser.add_argument("--version", required=True, metavar="NAME", help="what this version is called")
    parser.add_argument("--papers", default="a4,letter", metavar="NAMES",
                        help="papers, with commas (default: a4,letter)")
    parser.add_argument("--methods", default="duplex", metavar="NAMES",
                        help="build methods, with commas (default: duplex)")
    parser.add_argument("--ink", default="full", metavar="NAMES",
                        help="full, pale or both with a comma (default: full)")
    parser.add_argument("--extra", type=Path, action="append", default=[], metavar="FILE",
                        help="a file of your own for the pack, such as rules or a licence; may be given several times")
    parser.add_argument("--out", type=Path, metavar="PACK.zip",
                        help="the pack (default: the first FOLDER's name and the version, where the command is run)")
    parser.set_defaults(run=run, method=None, paper=None, arrangement=None, card_turned=None, printer=None)


def run(arguments: argparse.Namespace) -> int:
    """Write the pack; exit code 0. Raises LampfoldError, naming the file or the option."""
    from server.prepress.release import release
    from server.store.names import file_stem, version_stem

    order = _order(arguments)
    out = arguments.out or Path(f"{file_stem(order.decks[0].deck.name)}-{version_stem(order.version)}.zip")
    with writing("--out", out), naming_options():
        made = release(order, out, progress())
    if arguments.json:
        print(as_json({"pack": str(out), "release": order.version, "left_out": list(made.left_out),
                       "files": [{"file": member.file, "sha256": member.sha256} for member in made.members]}))
        return 0
    print(f"{out}: {counted(len(made.members), 'file')} and a manifest.")
    for member in made.members:
        print(f"  {member.file}")
    if made.left_out:
        print("Not in it")
    for line in made.left_out:
        print("\n".join(wrapped(line, "  ")))
    return 0


def _order(arguments: argparse.Namespace) -> ReleaseOrder:
    from server.core.methods import method_named
    from server.core.settings import DeckSettings
    from server.core.sizes import paper_named
    from server.prepress.release import ReleaseOrder

    with naming_options({"version": "--version"}):
        version = DeckSettings().changed({"version": arguments.version}).version
    if not version:
        raise BadValue("--version: is empty.", "Say what this version is called, such as 0.3.")
    papers, methods = _names("--papers", arguments.papers), _names("--methods", arguments.methods)
    inks = _names("--ink", arguments.ink)
    for ink in inks:
        if ink not in _INKS:
            raise BadValue(f"--ink: {ink!r} is not known.", f"Use {' or '.join(_INKS)}, or both with a comma.")
    return ReleaseOrder(
        tuple(_deck(arguments, folder) for folder in arguments.folders), version,
        tuple(method_named(name).name for name in methods), tuple(paper_named(name).name for name in papers),
        inks, _extras(arguments.extra))  # type: ignore[arg-type]


def _deck(arguments: argparse.Namespace, folder: Path) -> DeckToPack:
    from server.prepress.release import DeckToPack

    own = copy.copy(arguments)
    own.folder, own.ink = folder, None
    asked = read_asked(own)
    if arguments.out:
        check_target("--out", arguments.out, asked.found)
    return DeckToPack(asked.found.deck, asked.settings, asked.found.source)


def _extras(paths: list[Path]) -> tuple[tuple[str, Path], ...]:
    from server.store.names import clean_file_name

    for path in paths:
        if not path.is_file():
            raise BadValue(f"--extra: {path} isn't a file.", "Give the file's own path.")
    with naming_options({"file": "--extra"}):
        return tuple((clean_file_name(path.name), path) for path in paths)


def _names(option: str, text: str) -> tuple[str, ...]:
    names = tuple(dict.fromkeys(name.strip().lower() for name in text.split(",") if name.strip()))
    if not names:
        raise BadValue(f"{option}: names nothing.", "Give one name, or several with commas.")
    return names
