"""A store in a folder of its own, and small blobs for it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator
from pathlib import Path

import pytest

from server.core.art import Art
from server.store import Store
from server.store.art_records import ArtRecord
from server.store.decks import KeptBlob
from server.store.limits import Limits


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    opened = Store.open(tmp_path / "data", Limits())
    yield opened
    opened.close()


def keep(store: Store, content: bytes, label: str = "fronts/keeper.png") -> KeptBlob:
    """``content`` as a kept blob with a record of one picture."""
    with store.blobs.incoming(label) as incoming:
        incoming.write(content)
        key = incoming.keep()
    assert key == hashlib.sha256(content).hexdigest()
    return KeptBlob(key, len(content), ArtRecord((Art("", key, "png", 30, 40),)))
