"""What is kept: decks, art and printers, in one data folder. The database refers only to what is on the disk."""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from server.store.data_folder import default_folder
    from server.store.store import Store

__all__ = ["Store", "default_folder"]


def __getattr__(name: str) -> Any:
    """Loaded when it is asked for: a file's name is cleaned without a database."""
    if name not in __all__:
        raise AttributeError(f"module {__name__} has no {name}")
    return getattr(import_module(f"{__name__}.{'store' if name == 'Store' else 'data_folder'}"), name)
