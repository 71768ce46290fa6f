"""What the reader found in each blob, kept so that a picture is read once; and what arts show, by pixels.

Of each picture a digest of its pixels and a small copy, made in a worker once and kept.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from typing import Any

from server.core.art import Art, Problem
from server.core.edge_bleed import SIDES, ArtEdges, EdgeSeen
from server.core.geometry import Edges
from server.store.database import Database

_MOST_PARSED = 10_000  # arts, of which one record may have many
_MANY = 500  # SQLite takes at least 999 host parameters (its Limits page); stay well below


@dataclass(frozen=True, slots=True)
class ArtRecord:
    """The arts of one blob (one per PDF page), or why it can't be used."""

    arts: tuple[Art, ...] = ()
    problem: Problem | None = None

    def named(self, path: str) -> ArtRecord:
        """The record for one file of a deck: a file with several pages names each as ``path#1``, ``path#2``."""
        several = len(self.arts) > 1
        arts = tuple(replace(art, file=f"{path}#{number}" if several else path)
                     for number, art in enumerate(self.arts, 1))
        return ArtRecord(arts, replace(self.problem, file=path) if self.problem else None)

    def to_json(self) -> str:
        return json.dumps({"arts": [asdict(art) for art in self.arts],
                           "problem": asdict(self.problem) if self.problem else None}, ensure_ascii=False)


def read_record(text: str) -> ArtRecord:
    given = json.loads(text)
    problem = Problem(**given["problem"]) if given["problem"] else None
    return ArtRecord(tuple(_art(values) for values in given["arts"]), problem)


def _art(values: dict[str, Any]) -> Art:
    for name in ("size_mm", "edge_rgb"):
        if values.get(name) is not None:
            values[name] = tuple(values[name])
    if values.get("trim_mm") is not None:
        values["trim_mm"] = Edges(**values["trim_mm"])
    if (edges := values.get("edges")) is not None:
        seen = {side: EdgeSeen(edges[side]["kind"], _rgb(edges[side]["rgb"])) for side in SIDES}
        values["edges"] = ArtEdges(**seen, corner=edges["corner"], rgb=_rgb(edges["rgb"]))
    return Art(**values)


def _rgb(values: list[int]) -> tuple[int, int, int]:
    return values[0], values[1], values[2]


class ArtRecords:
    """The art table."""

    def __init__(self, database: Database) -> None:
        self._database = database
        # A key names its bytes, so what was found in them doesn't change, unless they were refused; a page asks for all
        # of a deck's at once.
        self._parsed: dict[str, ArtRecord] = {}

    def get(self, key: str) -> ArtRecord | None:
        return self.get_many([key]).get(key)

    def get_many(self, keys: Iterable[str]) -> dict[str, ArtRecord]:
        """The records of those blobs that have been read."""
        every = set(keys)
        found = {key: self._parsed[key] for key in every if key in self._parsed}
        wanted = sorted(every - found.keys())
        if not wanted:
            return found
        with self._database.read() as connection:
            for start in range(0, len(wanted), _MANY):
                some = wanted[start:start + _MANY]
                marks = ",".join("?" * len(some))
                rows = connection.execute(f"SELECT key, record FROM art WHERE key IN ({marks})", some)
                found.update({row["key"]: read_record(row["record"]) for row in rows})
        if sum(1 + len(record.arts) for record in self._parsed.values()) > _MOST_PARSED:
            self._parsed = {}
        self._parsed |= {key: found[key] for key in wanted if key in found and not found[key].problem}
        return found


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
