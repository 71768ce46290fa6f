"""Content-addressed files: named by the SHA-256 of their bytes, written so that a crash leaves all or nothing."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import secrets
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from types import TracebackType

from server.errors import NoRoom, NotThere, StoreTrouble
from server.store.data_folder import DataFolder, sync_folder

_GRACE_SECONDS = 3600.0  # an unreferenced blob may belong to an upload that is still being read


def disk_trouble(error: OSError, what: str) -> StoreTrouble:
    """What a person is told when the disk refuses ``what``."""
    if error.errno in (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)):
        return NoRoom(f"{what}: the disk is full.", "Free some space; what was saved before is kept.")
    return StoreTrouble(f"{what}: can't be written ({error.strerror or error}).",
                        "Look at the data folder's rights and its disk; what was saved before is kept.")


class Incoming:
    """A file on its way in: written and hashed bit by bit, then kept or dropped. Use as a context manager."""

    def __init__(self, blobs: Blobs, label: str) -> None:
        self.label = label
        self.size = 0
        self._blobs = blobs
        self._hash = hashlib.sha256()
        self.path = blobs.folder.incoming / secrets.token_hex(16)
        try:
            self._file = self.path.open("xb", buffering=0)
        except OSError as error:
            raise disk_trouble(error, label) from error

    def write(self, chunk: bytes) -> None:
        """Raises NoRoom on a full disk, StoreTrouble where it can't be written at all."""
        self._hash.update(chunk)
        self.size += len(chunk)
        left = memoryview(chunk)
        try:
            while left:
                left = left[self._file.write(left):]
        except OSError as error:
            raise disk_trouble(error, self.label) from error

    @property
    def key(self) -> str:
        return self._hash.hexdigest()

    def finish(self) -> str:
        """All bytes are in and on the disk: their key. The file stays in ``path`` until it is kept or dropped."""
        try:
            if not self._file.closed:
                os.fsync(self._file.fileno())
                self._file.close()
        except OSError as error:
            raise disk_trouble(error, self.label) from error
        return self.key

    def keep(self) -> str:
        """Move the file to its place for good. Returns the key."""
        key = self.finish()
        self._blobs.adopt(self.path, key, self.label)
        return key

    def __enter__(self) -> Incoming:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None,
                 traceback: TracebackType | None) -> None:
        with contextlib.suppress(OSError):
            self._file.close()
        with contextlib.suppress(OSError):
            self.path.unlink(missing_ok=True)


class Blobs:
    """All blobs of one data folder, in ``blobs/ab/abcd...``."""

    def __init__(self, folder: DataFolder) -> None:
        self.folder = folder
        self._guard = threading.Lock()

    def path(self, key: str) -> Path:
        """Where the blob is. Raises NotThere for anything that isn't a key; the file itself isn't looked for."""
        if len(key) != 64 or any(letter not in "0123456789abcdef" for letter in key):
            raise NotThere("art: no such key.", "Load the page again.")
        return self.folder.blobs / key[:2] / key

    def holds(self, key: str) -> bool:
        return self.path(key).is_file()

    def incoming(self, label: str) -> Incoming:
        return Incoming(self, label)

    def adopt(self, source: Path, key: str, label: str) -> None:
        """Rename ``source``, already synced, to its key. A blob that is there already is only marked as fresh."""
        target = self.path(key)
        try:
            with self._guard:
                if target.is_file():
                    os.utime(target)
                    return
                if not target.parent.is_dir():
                    target.parent.mkdir(mode=0o700)
                    sync_folder(self.folder.blobs)
                source.replace(target)
                sync_folder(target.parent)
        except OSError as error:
            raise disk_trouble(error, label) from error

    def keys(self) -> Iterator[str]:
        """Every blob on the disk, referred to or not."""
        for folder in sorted(self.folder.blobs.iterdir()):
            if folder.is_dir():
                yield from sorted(entry.name for entry in folder.iterdir() if len(entry.name) == 64)

    def remove_if_old(self, key: str, grace_seconds: float = _GRACE_SECONDS) -> bool:
        """Remove a blob that nothing refers to, unless it has been touched lately. Says whether it went."""
        path = self.path(key)
        with self._guard, contextlib.suppress(OSError):
            if path.stat().st_mtime <= time.time() - grace_seconds:
                path.unlink()
                return True
        return False
