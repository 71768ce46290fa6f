"""A deck's settings as they are typed, turned into core records once, for the form and the command line alike."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, replace
from typing import Any, Literal, get_args

from server.core.card_sizes import DEFAULT_CARD, CardSize, card_size_named
from server.core.geometry import Edges
from server.core.paper import Paper, paper_named
from server.core.plan import (
    DEFAULT_BLEED_MM,
    DEFAULT_HINGE_MM,
    DEFAULT_MARGIN_MM,
    DEFAULT_SAFE_MM,
    Arrangement,
    Flip,
    MethodName,
    PlanRequest,
)
from server.core.stock import DEFAULT_STOCK, Stock, stock_named
from server.core.units import parse_length
from server.errors import BadValue

EdgeMode = Literal["auto", "art", "mirror", "stretch", "colour", "none"]
CutLineFaces = Literal["fronts", "both", "none"]
LineStyle = Literal["full", "ticks"]

_CHOICES: dict[str, tuple[str, ...]] = {
    "method": get_args(MethodName),
    "flip": get_args(Flip),
    "edges": get_args(EdgeMode),
    "cut_lines": get_args(CutLineFaces),
    "line_style": get_args(LineStyle),
    "arrangement": ("", *get_args(Arrangement)),
    "card_turned": ("", "no", "yes"),
}
_COLOUR = re.compile(r"#[0-9a-f]{6}")
# name: (lowest, highest) in mm
_LENGTHS: dict[str, tuple[float, float]] = {
    "bleed_mm": (0, 20), "gutter_mm": (0, 100), "safe_mm": (0, 20), "core_mm": (0, 20), "hinge_mm": (10, 60),
    "margin_mm": (0, 60),
}


@dataclass(frozen=True, slots=True)
class DeckSettings:
    """Everything that shapes a deck's sheets. Lengths in mm; names are those of the tables they point to.

    ``arrangement`` and ``card_turned`` pin an alternative plan; "" lets the search choose. ``back_flood`` is a colour
    such as "#1f5f6b", laid under the backs as far as the page can be printed; "" for none. ``printer`` is the id of
    a saved printer, "" for none; it is resolved by the store, never by the core.
    """

    card: str = DEFAULT_CARD
    paper: str = "a4"
    method: MethodName = "duplex"
    flip: Flip = "long-edge"
    bleed_mm: float = DEFAULT_BLEED_MM
    gutter_mm: float = 0.0
    safe_mm: float = DEFAULT_SAFE_MM
    edges: EdgeMode = "auto"
    cut_lines: CutLineFaces = "fronts"
    line_style: LineStyle = "full"
    stock: str = DEFAULT_STOCK
    core_mm: float = 0.0
    hinge_mm: float = DEFAULT_HINGE_MM
    margin_mm: float = DEFAULT_MARGIN_MM
    fold_on_cut: bool = False
    arrangement: Arrangement | Literal[""] = ""
    card_turned: Literal["", "no", "yes"] = ""
    back_flood: str = ""
    printer: str = ""

    @property
    def card_size(self) -> CardSize:
        return card_size_named(self.card)

    @property
    def paper_size(self) -> Paper:
        return paper_named(self.paper)

    @property
    def stock_record(self) -> Stock:
        return stock_named(self.stock)

    @property
    def made_bleed_mm(self) -> float:
        """The bleed that the plan makes room for: none where the edges are to have none."""
        return 0.0 if self.edges == "none" else self.bleed_mm

    def request(self, margins: Edges | None = None, headroom_mm: float = 0.0) -> PlanRequest:
        """What to ask of the search. ``margins`` overrule the single margin, as a printer's own do."""
        return PlanRequest(
            method=self.method, paper=self.paper_size, card=self.card_size, flip=self.flip,
            bleed_mm=self.made_bleed_mm, gutter_mm=self.gutter_mm, margins=margins or Edges.all(self.margin_mm),
            core_mm=self.core_mm, caliper_mm=self.stock_record.caliper_mm, hinge_mm=self.hinge_mm,
            headroom_mm=headroom_mm, fold_on_cut=self.fold_on_cut, arrangement=self.arrangement or None,
            card_turned={"": None, "no": False, "yes": True}[self.card_turned],
        )

    def changed(self, values: Mapping[str, Any]) -> DeckSettings:
        """A copy with ``values`` (text or numbers, as a form sends them) put in.

        Raises BadValue, naming the field, the value and what would do; unknown fields are refused.
        """
        known = {field.name for field in fields(self)}
        parsed: dict[str, Any] = {}
        for name, value in values.items():
            if name not in known:
                raise BadValue(f"{name}: not a setting.", f"Settings are {', '.join(sorted(known))}.")
            parsed[name] = _parse(name, value)
        settings = replace(self, **parsed)
        _ = settings.card_size, settings.paper_size, settings.stock_record  # each raises, naming its own text
        return settings

    def as_mapping(self) -> dict[str, Any]:
        """Plain values for JSON; ``DeckSettings().changed(...)`` reads them back."""
        return asdict(self)


def _parse(name: str, value: Any) -> Any:
    if name in _CHOICES:
        text = str(value).strip().lower()
        if text not in _CHOICES[name]:
            names = ", ".join(choice or "nothing" for choice in _CHOICES[name])
            raise BadValue(f"{name}: {value!r} is not known.", f"Use {names}.")
        return text
    if name in _LENGTHS:
        length = parse_length(value, name) if isinstance(value, str) else float(value)
        low, high = _LENGTHS[name]
        if not (math.isfinite(length) and low <= length <= high):
            raise BadValue(f"{name}: {length:g} mm is outside {low:g} to {high:g} mm.", "Give it in mm.")
        return length
    if name == "back_flood":
        text = str(value).strip().lower()
        if text and not _COLOUR.fullmatch(text):
            raise BadValue(f"back_flood: {text[:20]!r} is no colour.", "Write it as #1f5f6b, or leave it empty.")
        return text
    if name == "fold_on_cut":
        return value if isinstance(value, bool) else str(value).strip().lower() in ("1", "true", "yes", "on")
    return str(value).strip()
