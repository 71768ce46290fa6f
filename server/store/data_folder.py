"""The data folder: its place, its rights, its lock and the room that is left."""

from __future__ import annotations

import contextlib
import os
import shutil
import sys
import time
from pathlib import Path
from typing import IO

import platformdirs

from server.errors import NoRoom, StoreTrouble
from server.store.limits import bytes_text

_LOCK_FILE = "lampfold.lock"
_STILL_WRITTEN_SECONDS = 60.0


def default_folder() -> Path:
    """Where this platform keeps a user's data."""
    return Path(platformdirs.user_data_dir("lampfold", appauthor=False))


def sync_folder(folder: Path) -> None:
    """Make renames in ``folder`` last. Windows has no such call, and its renames are journalled by NTFS."""
    if os.name == "nt":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


class DataFolder:
    """One folder on disk that holds everything: ``lampfold.db``, ``blobs``, ``incoming``, ``thumbs``, ``builds``
    and ``releases``."""

    def __init__(self, root: Path) -> None:
        """Make the folder, readable by its owner alone. Raises StoreTrouble where that can't be done."""
        self.root = root
        self.database = root / "lampfold.db"
        self.blobs = root / "blobs"
        self.incoming = root / "incoming"
        self.thumbs = root / "thumbs"
        self.builds = root / "builds"
        self.releases = root / "releases"
        self.log = root / "lampfold.log"
        self._lock: IO[str] | None = None
        try:
            root.mkdir(parents=True, exist_ok=True, mode=0o700)
            if os.name != "nt":
                root.chmod(0o700)
            for folder in (self.blobs, self.incoming, self.thumbs, self.builds, self.releases):
                folder.mkdir(exist_ok=True, mode=0o700)
        except OSError as error:
            raise StoreTrouble(f"data folder {root}: can't be used ({error.strerror or error}).",
                               "Choose another with --data, or mend its rights.") from error

    def lock(self) -> None:
        """Take the folder for this process until ``unlock`` or its end. Raises StoreTrouble if another has it."""
        handle = (self.root / _LOCK_FILE).open("a+", encoding="utf-8")
        try:
            _lock_file(handle)
        except OSError:
            handle.close()
            raise StoreTrouble(f"data folder {self.root}: another Lampfold is using it.",
                               "Use that one, end it first, or choose another folder with --data.") from None
        self._lock = handle

    def unlock(self) -> None:
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    def clear_incoming(self, older_than_seconds: float = _STILL_WRITTEN_SECONDS) -> None:
        """Remove what an earlier run was receiving when it ended; what is being written just now is a restore's."""
        oldest = time.time() - older_than_seconds
        for left in self.incoming.iterdir():
            with contextlib.suppress(OSError):
                if left.stat().st_mtime > oldest:
                    continue
                if left.is_dir() and not left.is_symlink():
                    shutil.rmtree(left)  # what an archive was unpacked to
                else:
                    left.unlink()

    def check_room(self, wanted_bytes: int, keep_free_bytes: int, what: str) -> None:
        """Raises NoRoom if storing ``wanted_bytes`` for ``what`` would leave less than ``keep_free_bytes`` free."""
        free = shutil.disk_usage(self.root).free
        if free - wanted_bytes < keep_free_bytes:
            raise NoRoom(
                f"{what}: {bytes_text(wanted_bytes)} don't fit: {bytes_text(free)} are free on this disk and "
                f"{bytes_text(keep_free_bytes)} are kept free.",
                "Free some space on the computer that runs Lampfold, then send the file again.",
            )


if sys.platform == "win32":
    import msvcrt

    def _lock_file(handle: IO[str]) -> None:
        handle.seek(0)
        msvcrt.locking(handle.fileno(), msvcrt.LK_NBLCK, 1)
else:
    import fcntl

    def _lock_file(handle: IO[str]) -> None:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
