"""Which marked changes were done, and what was answered: a change that comes again after a restart is not done again.

The mark goes into the change's own transaction, so that no crash can part them; the answer follows when it is known.
"""

from __future__ import annotations

import json
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from server.store.database import Database, now_text

_KEPT = timedelta(days=2)  # a page that waits for the link sends again for as long as it is open
_MOST_ANSWERS, _MOST_BYTES = 200, 256 * 1024

Header = tuple[bytes, bytes]


@dataclass(frozen=True, slots=True)
class Answer:
    """What was answered: headers as ASGI has them."""

    status: int
    headers: tuple[Header, ...]
    body: bytes


class Done:
    """The table of done changes."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def find(self, mark: str) -> tuple[bool, Answer | None]:
        """(whether that change was done, what was answered where that is kept)."""
        with self._database.read() as connection:
            row = connection.execute("SELECT answer FROM done WHERE mark = ?", (mark,)).fetchone()
        return row is not None, _unpacked(row["answer"]) if row and row["answer"] else None

    def answered(self, mark: str, status: int, headers: Sequence[Header], body: bytes) -> None:
        """Keep the answer of a change that has been done; nothing where none has, or for one that is very long."""
        packed = _packed(Answer(status, tuple(headers), body))
        if len(packed) > _MOST_BYTES:
            return
        with self._database.write() as connection:
            connection.execute("UPDATE done SET answer = ? WHERE mark = ?", (packed, mark))
            connection.execute("UPDATE done SET answer = NULL WHERE mark IN (SELECT mark FROM done WHERE answer IS NOT "
                               "NULL ORDER BY made DESC LIMIT -1 OFFSET ?)", (_MOST_ANSWERS,))

    def clean(self) -> None:
        """Forget what nobody sends again any more."""
        with self._database.write() as connection:
            connection.execute("DELETE FROM done WHERE made < ?", (now_text(_KEPT),))


def _packed(answer: Answer) -> bytes:
    headers = [[name.decode("latin-1"), value.decode("latin-1")] for name, value in answer.headers]
    head = json.dumps({"status": answer.status, "headers": headers}).encode()
    return zlib.compress(head + b"\n" + answer.body, 1)


def _unpacked(packed: bytes) -> Answer:
    head, _, body = zlib.decompress(packed).partition(b"\n")
    said = json.loads(head)
    return Answer(said["status"], tuple((name.encode("latin-1"), value.encode("latin-1"))
                                        for name, value in said["headers"]), body)
