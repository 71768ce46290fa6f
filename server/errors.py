"""The error tree, at a glance.

Every error names the argument, the value and the way out. Each class also subclasses a built-in, so
that code which knows nothing of Lampfold can still catch it by kind.

    LampfoldError
    ├── BadValue (ValueError)          a setting that can't be used
    │   ├── DoesNotFit                 a card that no plan can place on this paper
    │   └── Unreadable                 a file that is no art, or broken art
    │       └── NotArt                 a file of a kind that is never art
    ├── FitError (ValueError)          readings that no drift can be fitted to
    ├── NotThere (LookupError)         a deck, file or printer that isn't kept
    ├── Conflict (RuntimeError)        the deck has moved on since it was read
    ├── Refused (PermissionError)      not allowed for this person
    ├── TooMuch (ValueError)           over a limit that the host has set
    ├── Busy (RuntimeError)            too much is waiting already; says when to come back
    ├── Stopped (RuntimeError)         work that was cancelled, ran out of time or whose worker died
    └── StoreTrouble (OSError)         the data folder or its database can't be used
        └── NoRoom                     the disk is full, or as full as the host allows
"""

from __future__ import annotations


class LampfoldError(Exception):
    """Root of all errors that a person may see. ``message`` says what, ``fix`` the way out."""

    def __init__(self, message: str, fix: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.fix = fix

    def __str__(self) -> str:
        return f"{self.message} {self.fix}".strip()


class BadValue(LampfoldError, ValueError):
    """A setting that can't be used: names the argument, the value and what would do."""


class DoesNotFit(BadValue):
    """No plan places this card on this paper; the message says by how many millimetres."""


class Unreadable(BadValue):
    """A file that can't be used as art."""


class NotArt(Unreadable):
    """A file whose content is of no kind that can be art."""


class FitError(LampfoldError, ValueError):
    """Readings to which no drift can be fitted."""


class NotThere(LampfoldError, LookupError):
    """Something asked for by name that isn't kept."""


class Conflict(LampfoldError, RuntimeError):
    """The deck has moved on since it was read."""


class Refused(LampfoldError, PermissionError):
    """Not allowed for this person."""


class TooMuch(LampfoldError, ValueError):
    """Over a limit that the host has set: names the file, the limit and the way out."""


class StoreTrouble(LampfoldError, OSError):
    """The data folder or its database can't be used as it is."""


class NoRoom(StoreTrouble):
    """The disk is full, or as full as the host allows."""


class Busy(LampfoldError, RuntimeError):
    """Too much is waiting already. ``wait_seconds`` says when to come back."""

    def __init__(self, message: str, fix: str = "", wait_seconds: int = 5) -> None:
        super().__init__(message, fix)
        self.wait_seconds = wait_seconds


class Stopped(LampfoldError, RuntimeError):
    """Work that was cancelled, ran out of time, or whose worker died."""
