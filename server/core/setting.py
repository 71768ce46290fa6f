"""One row of the table of settings: what it is called everywhere, what it takes, and who may change it.

The rows themselves stand in ``server.core.settings``, each as a field of ``DeckSettings``.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Literal, Protocol

from server.core.units import LENGTHS_ARE_WRITTEN, mm_text, parse_length
from server.core.wording import in_words, shown
from server.errors import BadValue

Kind = Literal["length", "choice", "name", "colour", "yes-no", "text", "printer"]
Group = Literal["card", "method", "paper", "cuts", "box", ""]
Value = str | float | bool
# The parts of the form, in its order, each with its title.
GROUPS: dict[Group, str] = {"card": "Card", "method": "How the cards are built", "paper": "Paper", "cuts": "Cut lines",
                            "box": "Box"}

_COLOUR = re.compile(r"#[0-9a-f]{6}")
LONGEST_TEXT = 200


class Named(Protocol):
    """An entry of a table that a setting may point to."""

    @property
    def name(self) -> str: ...
    @property
    def label(self) -> str: ...


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing to choose: the word for it, what the form calls it, and a sentence about it."""

    name: str
    label: str
    hint: str = ""


@dataclass(frozen=True, slots=True)
class Setting:
    """A row. ``help`` is the phrase of ``-h`` and README, ``hint`` the form's sentence. Lengths in mm.

    ``unset`` says what an empty value comes to. ``group`` is the form's part it stands in, "" where a page has another
    control for it. ``art``: it says how art lies on a card, so commands that only look at art take it too.
    ``by_method``: a build method says whether it honours it. ``screen_only``: it changes nothing that is printed.
    ``under`` names a setting without whose value this one says nothing.
    ``size_example``: something of one's own may be written too, and this is one; ``own`` is the word for it.
    ``own_printing``: belongs to the printer and the paper at hand, so a playtester may change it for their own prints.
    """

    kind: Kind
    label: str
    help: str
    default: Value
    name: str = ""
    option: str = ""
    placeholder: str = ""
    hint: str = ""
    unset: str = ""
    group: Group = ""
    low_mm: float = 0.0
    high_mm: float = 0.0
    step_mm: float = 0.5
    listed: tuple[Choice, ...] = ()
    table: Mapping[str, Named] | None = None
    look_up: Callable[[str], object] | None = None
    size_example: str = ""
    own: str = "a size"
    longest: int = LONGEST_TEXT
    under: str = ""
    art: bool = False
    by_method: bool = False
    screen_only: bool = False
    own_printing: bool = False

    @property
    def choices(self) -> tuple[Choice, ...]:
        """What can be chosen by name: the row's own list, or its table as it stands."""
        if self.table is not None:
            return tuple(Choice(one.name, one.label) for one in self.table.values())
        return self.listed

    def says(self, quote: str = "") -> str:
        """``help`` with the choices by name, each between ``quote``; of an option that switches off, without what."""
        if self.option.startswith("--no-"):
            return f"without {self.help}"
        names = [f"{quote}{choice.name}{quote}" for choice in self.choices if choice.name]
        if not names:
            return self.help
        if self.size_example:
            return f"{self.help}: {', '.join(names)}, or {self.own} such as {quote}{self.size_example}{quote}"
        return f"{self.help}: {in_words(names)}"

    def default_says(self, *, unit: bool = False) -> str:
        """What holds where nothing is said."""
        if self.kind == "yes-no":
            return "on" if self.default else "off"
        if self.kind == "length":
            return f"{self.default:g} mm" if unit else f"{self.default:g}"
        return self.unset or str(self.default)

    def parse(self, value: object) -> Any:
        """The value from text, number or switch. Raises BadValue, naming the setting, the value and what would do."""
        if self.kind == "yes-no":
            return self._yes_or_no(value)
        if self.kind == "length":
            return self._length(value)
        if not isinstance(value, str):
            raise BadValue(f"{self.name}: {shown(value)} is not known.", self._way_out())
        if len(value) > self.longest:
            raise BadValue(f"{self.name}: {shown(value)} is too long.", f"Use up to {self.longest} letters.")
        text = value.strip()
        if self.look_up is not None:
            self.look_up(text)  # raises, naming the setting itself
        elif self.kind == "choice" or self.table is not None:
            text = text.lower()
            if text not in {choice.name for choice in self.choices}:
                raise BadValue(f"{self.name}: {shown(value)} is not known.", self._way_out())
        elif self.kind == "colour":
            text = text.lower()
            if text and not _COLOUR.fullmatch(text):
                raise BadValue(f"{self.name}: {shown(value)} is no colour.", self._way_out())
        return text

    def _way_out(self) -> str:
        names = [choice.name for choice in self.choices if choice.name]
        if self.kind == "colour":
            return "Write it as #1f5f6b, or leave it empty."
        if not names:
            return "Choose another, or none." if self.kind == "printer" else f"Write up to {self.longest} letters."
        return f"Use {in_words(names)}{', or leave it out' if self.default == '' else ''}."

    def _length(self, value: object) -> float:
        try:
            if isinstance(value, bool) or not isinstance(value, str | int | float):
                raise ValueError
            length = parse_length(value, self.name) if isinstance(value, str) else float(value)
            if not math.isfinite(length):
                raise ValueError
        except (ValueError, OverflowError) as error:
            if isinstance(error, BadValue):
                raise
            raise BadValue(f"{self.name}: {shown(value)} is no length.", LENGTHS_ARE_WRITTEN) from None
        if not self.low_mm <= length <= self.high_mm:
            too = "too little" if length < self.low_mm else "too much"
            raise BadValue(f"{self.name}: {mm_text(length, 3)} mm is {too}.",
                           f"Use {self.low_mm:g} to {self.high_mm:g} mm.")
        return length

    def _yes_or_no(self, value: object) -> bool:
        if isinstance(value, bool):
            return value
        text = value.strip().lower() if isinstance(value, str) else str(value)
        if text in ("1", "true", "yes", "on"):
            return True
        if text in ("0", "false", "no", "off", ""):
            return False
        raise BadValue(f"{self.name}: {shown(value)} is neither yes nor no.", "Use yes or no.")


def row(kind: Kind, label: str, help: str, default: Value, **more: Any) -> Any:
    """A field of ``DeckSettings`` with its row. ``more``: see ``Setting``."""
    setting = Setting(kind, label, help, default, **more)
    return field(default=default, metadata={"setting": setting, "title": label, "description": setting.says()})


def length(label: str, help: str, default_mm: float, low_mm: float, high_mm: float, **more: Any) -> Any:
    """A field that is a length in mm, ``low_mm`` to ``high_mm``."""
    return row("length", label, help, default_mm, **{"placeholder": "MM", "low_mm": low_mm, "high_mm": high_mm, **more})


def named(setting: Setting, name: str) -> Setting:
    """The row under its field's name, with the command line's word for it: ``bleed_mm`` is ``--bleed`` where the row
    says nothing else, and ``--no-...`` for what is on unless it is switched off. A saved printer has none: there the
    command line takes a printer's file."""
    off = "no-" if setting.kind == "yes-no" and setting.default else ""
    option = setting.option or f"--{off}{name.removesuffix('_mm').replace('_', '-')}"
    return replace(setting, name=name, option="" if setting.kind == "printer" else option)
