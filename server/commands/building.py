"""What commands share that lay a folder's cards out: their options, how they read them, and how they write files."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Collection, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from server.commands.options import (
    add_folder,
    add_printer,
    add_sheet_options,
    by_option,
    folder_from,
    read_printer,
    settings_from,
)
from server.errors import BadValue, Unreadable

if TYPE_CHECKING:
    from server.core.art import Art
    from server.core.registration.printer import Printer
    from server.core.settings import DeckSettings
    from server.intake.folder import FolderDeck
    from server.prepress import Prepared


def add_build_options(parser: argparse.ArgumentParser, without: Collection[str] = ()) -> None:
    """The folder and everything that shapes its sheets, but for the settings in ``without``."""
    add_folder(parser, without)
    add_sheet_options(parser, without)
    add_printer(parser, "correct the backs for this printer's drift")


@contextmanager
def naming_options(options: Mapping[str, str] | None = None) -> Iterator[None]:
    """Turns an error that names a setting into the same one that names its option; art's own errors stay."""
    try:
        yield
    except Unreadable:
        raise
    except BadValue as error:
        raise by_option(error, options) from None


@dataclass(frozen=True)
class Asked:
    """What a command line asks for: the folder's deck, its settings, and the printer it is for."""

    found: FolderDeck
    settings: DeckSettings
    printer: Printer | None

    def prepared(self, options: Mapping[str, str] | None = None) -> Prepared:
        """Laid out. Raises LampfoldError, naming the option where a setting is to blame."""
        from server.prepress import prepare

        with naming_options(options):
            return prepare(self.found.deck, self.settings, self.found.source, self.printer)


def read_asked(arguments: argparse.Namespace, options: Mapping[str, str] | None = None) -> Asked:
    """Read the folder, the settings and the printer. ``options`` are a command's own words for settings."""
    printer = read_printer(arguments.printer)
    if printer:  # made for that printer, so on its paper and with its flip, where the command doesn't say otherwise
        arguments.paper = arguments.paper or printer.paper.name
        arguments.flip = arguments.flip or printer.flip
    found, settings = folder_from(arguments, settings_from(arguments, options))
    return Asked(_with_box_art(found, arguments.folder, settings), settings, printer)


def _with_box_art(found: FolderDeck, folder: Path, settings: DeckSettings) -> FolderDeck:
    from server.formats.reader import read_art
    from server.prepress.prepare import with_box_art

    paths = dict(found.paths)

    def art_of(label: str) -> Art | None:
        file = label.partition("#")[0]
        arts = read_art(folder / file, file, f"box-{file}") if (folder / file).is_file() else ()
        paths.update({art.file: folder / file for art in arts if art.file == label})
        return next((art for art in arts if art.file == label), None)

    return replace(found, deck=with_box_art(found.deck, settings, art_of), paths=paths)


def check_target(option: str, path: Path, found: FolderDeck) -> None:
    """Raises BadValue for a place that can't be written to, or that holds this deck's own art."""
    if path.is_dir():
        raise BadValue(f"{option}: {path} is a folder.", "Give the name of a file.")
    if not path.parent.is_dir():
        raise BadValue(f"{option}: the folder {path.parent} isn't there.", "Make it first, or choose another.")
    if path.resolve() in {art.resolve() for art in found.paths.values()}:
        raise BadValue(f"{option}: {path} is art of this deck and would be lost.", "Give another name by --out.")


@contextmanager
def writing(option: str, path: Path) -> Iterator[None]:
    """Turns what a disk refuses into an error that names the option."""
    try:
        yield
    except OSError as error:
        raise BadValue(f"{option}: {path} can't be written ({error.strerror or error}).",
                       "Choose another place, or close the program that has it open.") from None


def progress() -> Callable[[int, int], None]:
    """Tells a person at a terminal how far it is, on stderr, and nobody else."""
    if not sys.stderr.isatty():
        return lambda done, total: None

    def tell(done: int, total: int) -> None:
        line = f"Page {done} of {total}" if done < total else ""
        sys.stderr.write(f"\r{line:<40}" + ("" if line else "\r"))
        sys.stderr.flush()

    return tell
