"""Join codes: short enough to read out, guessed by no one within the rates that are let through."""

from __future__ import annotations

import secrets
import threading
import time
from collections import deque
from collections.abc import Callable

from server.errors import Busy, Refused
from server.web.people import Role

# Crockford's Base32: no I, L, O or U, so that a code can be read out; 8 letters are 40 bits. At 30 tries a minute a
# guess at one of two codes takes 35,000 years on average.
_LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
_LOOKALIKES = str.maketrans("ILO", "110")
_LENGTH = 8
_MINUTE = 60.0
_TRIES_EACH, _TRIES_ALL = 6, 30
GUEST_ROLES: tuple[Role, ...] = ("maker", "playtester")


def new_code() -> str:
    """A code as it is shown: ``4K7M-9QXD``."""
    letters = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
    return f"{letters[:4]}-{letters[4:]}"


def plain_code(text: str) -> str:
    """A code as it was typed or pasted: case, spaces, hyphens and look-alike letters make no difference."""
    return "".join(letter for letter in text.upper().translate(_LOOKALIKES) if letter.isalnum())[:40]


class Door:
    """The codes that are good now, and how often anyone has tried. Codes change with every start."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._lock = threading.Lock()
        self._codes: dict[Role, str] = {role: new_code() for role in GUEST_ROLES}
        self._wrong: dict[str, deque[float]] = {}
        self._wrong_all: deque[float] = deque()

    def code(self, role: Role) -> str:
        with self._lock:
            return self._codes[role]

    def renew(self, role: Role) -> str:
        """A new code for a role; the old one lets no one in any more, and who is in stays in."""
        with self._lock:
            self._codes[role] = new_code()
            return self._codes[role]

    def role_for(self, text: str, address: str) -> Role:
        """The role that a code gives. Raises Refused for a wrong one, Busy after too many of them."""
        given = plain_code(text)
        with self._lock:
            self._check_rate(address)
            for role, code in self._codes.items():
                if secrets.compare_digest(given.encode(), plain_code(code).encode()):
                    self._wrong.pop(address, None)
                    return role
            now = self._clock()
            self._wrong.setdefault(address, deque()).append(now)
            self._wrong_all.append(now)
        raise Refused("That isn't the code.", "Look at the host's screen again; the code changes when Lampfold starts.")

    def _check_rate(self, address: str) -> None:
        """Counts wrong tries alone, so that ten people may join at once."""
        now = self._clock()
        for tries in (self._wrong_all, *self._wrong.values()):
            while tries and tries[0] <= now - _MINUTE:
                tries.popleft()
        self._wrong = {who: tries for who, tries in self._wrong.items() if tries}
        own = self._wrong.get(address, deque())
        for tries, most in ((own, _TRIES_EACH), (self._wrong_all, _TRIES_ALL)):
            if len(tries) >= most:
                wait = max(1, round(tries[-most] + _MINUTE - now))
                raise Busy("Too many wrong codes.", f"Wait {wait} seconds, then try again.", wait)
