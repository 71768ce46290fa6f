"""What a phone sends to a desk, and the shapes of what was read on a picture."""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from pydantic import BaseModel

from server.core.plan import Flip
from server.errors import Busy, NotThere
from server.web import models

GOOD_SECONDS = 30 * 60
MOST_SHEETS = 20
_MOST_POSTS = 100


class StationSeen(BaseModel):
    """One station; the numbers are null where it wasn't read, and ``why`` says what to do."""

    station: int
    dx_mm: float | None
    dy_mm: float | None
    sigma_mm: float | None
    read: bool
    why: str | None


class PhotoProblem(BaseModel):
    code: str
    message: str
    fix: str


class PhotoRead(BaseModel):
    """What a picture shows of one sheet, and the picture with what was found drawn on it, as a data URL."""

    photo: str
    kind: str | None
    stations: list[StationSeen]
    problems: list[PhotoProblem]
    pictures: list[str]


class PhotosRead(models.InMm):
    format: str = "lampfold-photos"
    sheets: list[PhotoRead]


class PostMade(BaseModel):
    """``url`` is what the QR code at ``qr`` holds."""

    id: str
    url: str
    qr: str
    minutes: int


class PostOut(models.InMm):
    """What has come since the number that was asked with; ``next`` is the number to ask with then."""

    format: str = "lampfold-photos-come"
    sheets: list[PhotoRead]
    next: int


@dataclass
class Post:
    """One desk's post: whose it is, the phone's secret, paper and flip, and what has come."""

    owner: str
    secret: str
    paper: str
    flip: Flip
    until: float
    sheets: list[PhotoRead] = field(default_factory=list)


class Posts:
    """All posts, in memory: they last half an hour and no longer than the server."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock, self._lock = clock, threading.Lock()
        self._posts: dict[str, Post] = {}

    def make(self, owner: str, paper: str, flip: Flip) -> tuple[str, Post]:
        with self._lock:
            now = self._clock()
            self._posts = {key: post for key, post in self._posts.items() if post.until > now and post.owner != owner}
            if len(self._posts) >= _MOST_POSTS:
                raise Busy("Too many phones are asked for at once.", "Try again in a few minutes.", 60)
            key, post = secrets.token_hex(8), Post(owner, secrets.token_urlsafe(24), paper, flip, now + GOOD_SECONDS)
            self._posts[key] = post
            return key, post

    def get(self, key: str) -> Post:
        """Raises NotThere for a post that has run out."""
        with self._lock:
            post = self._posts.get(key)
            if post is None or post.until <= self._clock():
                raise NotThere("phone: this code has run out.", "Show a new one on the desk's True-up page.")
            return post

    def by_secret(self, secret: str) -> tuple[str, Post]:
        """Raises NotThere likewise."""
        with self._lock:
            for key, post in self._posts.items():
                if secrets.compare_digest(post.secret.encode(), secret.encode()) and post.until > self._clock():
                    return key, post
        raise NotThere("phone: this code has run out.", "Show a new one on the desk's True-up page.")
