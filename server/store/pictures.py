"""What the pictures of arts show: a digest of each one's pixels and a small copy, made in a worker once and kept."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from server.store.database import Database

_MANY = 500  # SQLite takes at least 999 host parameters (its Limits page); stay well below

Picture = tuple[str, bytes]


class Pictures:
    """The pictures table, by an art's key."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def get_many(self, keys: Iterable[str]) -> dict[str, Picture]:
        """(digest, small WebP) of those arts that have been looked at."""
        wanted, found = sorted(set(keys)), dict[str, Picture]()
        with self._database.read() as connection:
            for start in range(0, len(wanted), _MANY):
                some = wanted[start:start + _MANY]
                rows = connection.execute(
                    f"SELECT key, digest, small FROM pictures WHERE key IN ({','.join('?' * len(some))})", some)
                found.update({row["key"]: (row["digest"], row["small"]) for row in rows})
        return found

    def put(self, found: Mapping[str, Picture]) -> None:
        """Keep them; what belongs to a blob that has gone meanwhile is let go."""
        with self._database.write() as connection:
            for key, (digest, small) in found.items():
                blob = key.partition("#")[0]
                connection.execute("INSERT OR REPLACE INTO pictures SELECT ?, ?, ?, ? "
                                   "WHERE EXISTS (SELECT 1 FROM blobs WHERE key = ?)", (key, blob, digest, small, blob))
