"""All parts of a data folder, opened together."""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from server.errors import BadValue
from server.store.art_records import ArtRecords, Pictures
from server.store.blobs import Blobs
from server.store.data_folder import DataFolder
from server.store.database import Database
from server.store.decks import Decks
from server.store.done import Done
from server.store.guests import Links, Sessions
from server.store.limits import Limits, read_limits
from server.store.printers import Printers
from server.store.releases import Releases
from server.store.versions import Versions


@dataclass(frozen=True)
class Store:
    """Everything kept in one data folder."""

    folder: DataFolder
    limits: Limits
    database: Database
    blobs: Blobs
    decks: Decks
    art: ArtRecords
    versions: Versions
    releases: Releases
    pictures: Pictures
    printers: Printers
    sessions: Sessions
    links: Links
    done: Done

    @classmethod
    def open(cls, root: Path, limits: Limits | None = None, *, locked: bool = True) -> Store:
        """Open a data folder, made where it is missing. ``locked`` keeps every other server out of it.

        Raises StoreTrouble where the folder can't be used or another process has it, BadValue for a bad limit.
        """
        folder = DataFolder(root)
        if locked:
            folder.lock()
            folder.clear_incoming()
        try:
            limits = limits or read_limits(root, os.environ)
            database = Database(folder.database)
        except (OSError, BadValue):
            folder.unlock()
            raise
        return cls(folder, limits, database, Blobs(folder), Decks(database, limits.decks), ArtRecords(database),
                   Versions(database), Releases(database, folder), Pictures(database), Printers(database),
                   Sessions(database), Links(database), Done(database))

    def close(self) -> None:
        self.database.close()
        self.folder.unlock()
