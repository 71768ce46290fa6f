"""The options that shape a deck, the same for every command that takes a folder of art, and ``--printer``."""

from __future__ import annotations

import argparse
from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from server.core.setting import Setting
from server.core.settings import SETTINGS, DeckSettings
from server.errors import BadValue

if TYPE_CHECKING:
    from server.intake.folder import FolderDeck
import os
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from server.core.registration.printer import Printer


_DECK = tuple(setting for setting in SETTINGS.values() if setting.option)


def add_folder(parser: argparse.ArgumentParser, without: Collection[str] = (), *, several: bool = False) -> None:
    """The folder of art, or ``several`` of them as ``folders``; ``--json``, and how art lies on a card, but for the
    settings in ``without``."""
    says = "folder of art, with fronts/ and backs/"
    if several:
        parser.add_argument("folders", type=Path, nargs="+", metavar="FOLDER", help=f"{says}; a deck each")
    else:
        parser.add_argument("folder", type=Path, metavar="FOLDER", help=says)
    parser.add_argument("--json", action="store_true", help="print one JSON object instead of text")
    parser.add_argument("--pairs", action="append", default=[], metavar="NAME",
                        help="take pairs that are only proposed, as check names them; may be given several times")
    _add(parser, [setting for setting in _DECK if setting.art and setting.name not in without])


def add_sheet_options(parser: argparse.ArgumentParser, without: Collection[str] = ()) -> None:
    """Everything else that shapes the sheets, but for the settings in ``without``."""
    _add(parser, [setting for setting in _DECK if not setting.art and setting.name not in without])


def _add(parser: argparse.ArgumentParser, settings: Iterable[Setting]) -> None:
    for setting in settings:
        text = setting.says().replace("%", "%%")
        if setting.kind == "yes-no":
            parser.add_argument(setting.option, action="store_const", const=not setting.default, dest=setting.name,
                                help=text)
        else:
            parser.add_argument(setting.option, dest=setting.name, metavar=setting.placeholder or "TEXT",
                                help=f"{text} (default: {setting.default_says(unit=True)})")


def folder_from(arguments: argparse.Namespace, settings: DeckSettings) -> tuple[FolderDeck, DeckSettings]:
    """The deck in the folder that was given, with the proposals that were taken; and the settings, with the card that
    its art was drawn for where none was given. Raises BadValue, NotThere, TooMuch."""
    from server.core.card_from_art import with_card_of_art
    from server.intake.folder import read_folder

    try:
        found = read_folder(arguments.folder, taken=arguments.pairs)
    except BadValue as error:
        raise type(error)(f"--{error.message}", error.fix) if error.message.startswith("pairs: ") else error from None
    deck, settings = with_card_of_art(found.deck, settings, chosen=arguments.card is not None)
    return replace(found, deck=deck), settings


def settings_from(arguments: argparse.Namespace, options: Mapping[str, str] | None = None) -> DeckSettings:
    """The deck's settings, from the options that were given. Raises BadValue, naming the option; ``options`` are a
    command's own words for some of them."""
    given = {setting.name: value for setting in _DECK
             if (value := getattr(arguments, setting.name, None)) is not None}
    try:
        return DeckSettings().changed(given)
    except BadValue as error:
        raise by_option(error, options) from None


def by_option(error: BadValue, options: Mapping[str, str] | None = None) -> BadValue:
    """The same error, of the same class, naming the option where it named the setting."""
    name, colon, message = error.message.partition(": ")
    setting = SETTINGS.get(name)
    option = (options or {}).get(name) or (setting.option if setting else "")
    return type(error)(f"{option}: {message}", error.fix) if colon and option else error


def add_printer(parser: argparse.ArgumentParser, says: str, *, required: bool = False) -> None:
    """The option itself; ``says`` is its help."""
    parser.add_argument("--printer", type=Path, metavar="FILE.json", required=required,
                        help=f"{says} (a file from lampfold fit --out, or from the True-up page)")


def read_printer(path: Path | None) -> Printer | None:
    """The printer in that file, None where no file is named. Raises BadValue, naming the file and what is wrong."""
    if path is None:
        return None
    from server.core.registration.printer_file import MOST_BYTES, printer_from_text

    text = read_text("--printer", path, MOST_BYTES, "Make one with lampfold fit READINGS.csv --out FILE.json.")
    return printer_from_text(text, f"--printer: {path}")


def read_text(argument: str, path: Path, most_bytes: int, fix: str) -> str:
    """A small text file. Raises BadValue, naming it and why it can't be read."""
    try:
        if path.stat().st_size > most_bytes:
            raise BadValue(f"{argument}: {path} is larger than {most_bytes // 1000} kB.", fix)
        return path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise BadValue(f"{argument}: {path} is no text in UTF-8.", fix) from None
    except OSError as error:
        raise BadValue(f"{argument}: {path} can't be read ({error.strerror or error}).", fix) from None


def write_whole(option: str, path: Path, content: bytes) -> None:
    """All of it or nothing. Raises BadValue, naming the option and the place."""
    under_way = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
    try:
        under_way.write_bytes(content)
        under_way.replace(path)
    except OSError as error:
        raise BadValue(f"{option}: {path} can't be written ({error.strerror or error}).",
                       "Choose another place, or close the program that has it open.") from None
    finally:
        under_way.unlink(missing_ok=True)


def check_place(option: str, path: Path, *own: Path) -> None:
    """Raises BadValue for a place that can't be written to, or that is one of the files that are read."""
    if path.is_dir():
        raise BadValue(f"{option}: {path} is a folder.", "Give the name of a file.")
    if not path.parent.is_dir():
        raise BadValue(f"{option}: the folder {path.parent} isn't there.", "Make it first, or choose another.")
    if any(path.resolve() == one.resolve() for one in own):
        raise BadValue(f"{option}: {path} is read by this command and would be lost.", "Give it another name.")


def add_parser(subparsers: argparse._SubParsersAction[Any], name: str, says: str,
               epilog: str | None = None) -> argparse.ArgumentParser:
    """A subcommand's parser, its help and description from the same words."""
    parser: argparse.ArgumentParser = subparsers.add_parser(
        name, help=says, description=f"{says[:1].upper()}{says[1:]}.", epilog=epilog)
    return parser
