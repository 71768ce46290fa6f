"""PDF objects as text, read and written (ISO 32000-1, 7.2 and 7.3): enough to carry them from one file to another.

Numbers, strings, booleans and null stay the bytes that they were; only what has to be looked into gets a shape.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

DEEPEST = 60
_REGULAR = re.compile(rb"[^\0\t\n\f\r ()<>\[\]{}/%]+")
_SKIPPED = re.compile(rb"(?:[\0\t\n\f\r ]+|%[^\r\n]*)*")
_REFERENCE = re.compile(rb"(\d{1,10})[\0\t\n\f\r ]+(\d{1,5})[\0\t\n\f\r ]+R(?![^\0\t\n\f\r ()<>\[\]{}/%])")
_STRING_STEP = re.compile(rb"[^()\\]*(\\.|[()])", re.DOTALL)


class Name(bytes):
    """A name as written, slash included."""


class Atom(bytes):
    """A number, string, boolean or null, as written."""


@dataclass(frozen=True, slots=True)
class Ref:
    """An indirect reference."""

    number: int


Value = Name | Atom | Ref | list["Value"] | dict[bytes, "Value"]

NULL = Atom(b"null")


class _Reader:
    def __init__(self, data: bytes) -> None:
        self.data = data
        self.at = 0

    def skip(self) -> None:
        found = _SKIPPED.match(self.data, self.at)
        if found:
            self.at = found.end()

    def value(self, depth: int) -> Value:
        if depth > DEEPEST:
            raise ValueError(f"arrays and dictionaries lie more than {DEEPEST} deep")
        self.skip()
        data, at = self.data, self.at
        head = data[at:at + 1]
        if head == b"/":
            return self._name()
        if head == b"(":
            return self._string()
        if data.startswith(b"<<", at):
            return self._dictionary(depth)
        if head == b"<":
            end = data.index(b">", at)
            self.at = end + 1
            return Atom(data[at:end + 1])
        if head == b"[":
            return self._array(depth)
        reference = _REFERENCE.match(data, at)
        if reference:
            self.at = reference.end()
            return Ref(int(reference[1]))
        word = _REGULAR.match(data, at)
        if not word:
            raise ValueError(f"an object breaks off at {bytes(data[at:at + 10])!r}")
        self.at = word.end()
        return Atom(word[0])

    def _name(self) -> Name:
        word = _REGULAR.match(self.data, self.at + 1)
        end = word.end() if word else self.at + 1
        name = Name(self.data[self.at:end])
        self.at = end
        return name

    def _string(self) -> Atom:
        start, level = self.at, 0
        while True:
            step = _STRING_STEP.match(self.data, self.at)
            if not step:
                raise ValueError("a string has no end")
            self.at = step.end()
            if step[1] in (b"(", b")"):
                level += 1 if step[1] == b"(" else -1
                if level == 0:
                    return Atom(self.data[start:self.at])

    def _array(self, depth: int) -> list[Value]:
        self.at += 1
        found: list[Value] = []
        while True:
            self.skip()
            if self.data.startswith(b"]", self.at):
                self.at += 1
                return found
            found.append(self.value(depth + 1))

    def _dictionary(self, depth: int) -> dict[bytes, Value]:
        self.at += 2
        found: dict[bytes, Value] = {}
        while True:
            self.skip()
            if self.data.startswith(b">>", self.at):
                self.at += 2
                return found
            key = self.value(depth + 1)
            if not isinstance(key, Name):
                raise ValueError(f"a dictionary has {key!r} for a key")
            found[bytes(key)] = self.value(depth + 1)


def parse(text: bytes) -> Value:
    """One object. Raises ValueError where ``text`` isn't one."""
    return _Reader(text).value(0)


def written(value: Value, renumbered: Callable[[int], int]) -> bytes:
    """``value`` as PDF text, each reference's number given by ``renumbered``."""
    if isinstance(value, Ref):
        return b"%d 0 R" % renumbered(value.number)
    if isinstance(value, list):
        return b"[" + b" ".join(written(item, renumbered) for item in value) + b"]"
    if isinstance(value, dict):
        return b"<<" + entries(value, renumbered) + b">>"
    return bytes(value)


def entries(value: dict[bytes, Value], renumbered: Callable[[int], int]) -> bytes:
    """A dictionary's entries without the brackets around them."""
    return b" ".join(key + b" " + written(item, renumbered) for key, item in value.items())
