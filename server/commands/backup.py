"""``lampfold backup`` and ``lampfold restore``: everything that is kept, in one file; also while a server runs."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import Any

from server.errors import NotThere


def register(subparsers: argparse._SubParsersAction[Any]) -> None:
    """Add ``backup`` and ``restore``."""
    saving = subparsers.add_parser("backup", help="write everything that is kept into one ZIP",
                                   description="Write every deck, printer and piece of art into one ZIP.")
    saving.add_argument("out", type=Path, metavar="OUT.zip", help="the file to write")
    saving.set_defaults(run=run_backup)
    bringing = subparsers.add_parser("restore", help="bring back what a backup holds",
                                     description="Add what a backup holds to what is there; nothing is overwritten.")
    bringing.add_argument("source", type=Path, metavar="IN.zip", help="a file that `lampfold backup` wrote")
    bringing.set_defaults(run=run_restore)
    for parser in (saving, bringing):
        parser.add_argument("--data", type=Path, metavar="DIR",
                            help="where decks are kept (default: the user's data folder)")


def run_backup(arguments: argparse.Namespace) -> int:
    """Raises NotThere where there is nothing to back up, StoreTrouble where it can't be written."""
    from server.store import Store, default_folder
    from server.store.backup import backup

    folder = (arguments.data or default_folder()).expanduser().resolve()
    if not (folder / "lampfold.db").is_file():
        raise NotThere(f"{folder}: nothing is kept here.", "Name the data folder with --data.")
    store = Store.open(folder, locked=False)
    try:
        moved = backup(store, arguments.out.expanduser().resolve())
    finally:
        store.close()
    print(f"{arguments.out}: {moved.decks} decks, {moved.printers} printers, {moved.blobs} pieces of art.")
    return 0


def run_restore(arguments: argparse.Namespace) -> int:
    """Raises BadValue for a file that is no backup, StoreTrouble where the data folder can't be written."""
    from server.store import Store, default_folder
    from server.store.backup import restore

    store = Store.open((arguments.data or default_folder()).expanduser().resolve(), locked=False)
    try:
        moved = restore(store, arguments.source.expanduser())
    finally:
        store.close()
    print(f"Brought back {moved.decks} decks, {moved.printers} printers and {moved.blobs} pieces of art; "
          "what was here already is as it was.")
    return 0
