"""The style of an SVG's elements: which properties are drawn here, which draw nothing, and what each element has.

This is the list of what is allowed: a property or an attribute that stands in none of its tables is refused by its
name, as is a value that isn't drawn as it is meant. Cascade by CSS Cascading and Inheritance 4, 6.1; properties by
SVG 2, appendix "Property Index", and what browsers and drawing programs write beside them.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field

from server.formats.svg_rules import Rules, declarations
from server.formats.svg_tree import CantDraw, Node, Tree

# What is drawn, and what applies where nothing is said. The first are handed on to what an element holds.
INHERITED: dict[str, str] = {
    "fill": "black", "fill-opacity": "1", "fill-rule": "nonzero", "stroke": "none", "stroke-opacity": "1",
    "stroke-width": "1", "stroke-linecap": "butt", "stroke-linejoin": "miter", "stroke-miterlimit": "4",
    "stroke-dasharray": "none", "stroke-dashoffset": "0", "color": "black", "clip-rule": "nonzero",
    "visibility": "visible", "paint-order": "normal", "font-family": "", "font-size": "16px", "font-weight": "400",
    "font-style": "normal", "text-anchor": "start", "letter-spacing": "normal", "word-spacing": "normal",
    "marker-start": "none", "marker-mid": "none", "marker-end": "none",
}
OWN: dict[str, str] = {
    "opacity": "1", "clip-path": "none", "mask": "none", "mask-type": "luminance", "display": "inline",
    "stop-color": "black", "stop-opacity": "1", "mix-blend-mode": "normal", "isolation": "auto", "overflow": "",
}
# Of these only some values are drawn as they are meant.
_ONLY: dict[str, str] = {
    "filter": "none", "vector-effect": "none", "marker": "none", "transform": "none", "transform-box": "view-box",
    "color-interpolation": "auto sRGB", "image-rendering": "auto optimizeQuality smooth", "clip": "auto",
    "content-visibility": "visible", "backdrop-filter": "none", "mask-mode": "match-source", "zoom": "1 normal",
    "background": "none transparent", "background-color": "transparent",
}
# What matters for text alone, and there only by other values than these; none given: by no value.
TEXT_ONLY: dict[str, str] = {
    "font-variant": "normal", "font-stretch": "normal 100%", "font-variant-caps": "normal",
    "font-variant-ligatures": "normal", "font-variant-numeric": "normal", "font-variant-east-asian": "normal",
    "font-variant-position": "normal", "font-variant-alternates": "normal", "font-feature-settings": "normal",
    "font-variation-settings": "normal", "font-size-adjust": "none", "text-decoration": "none",
    "text-decoration-line": "none", "text-decoration-style": "", "text-decoration-color": "", "line-height": "",
    "text-decoration-thickness": "", "text-rendering": "", "text-transform": "none", "text-indent": "0 0px",
    "text-align": "", "text-align-last": "", "writing-mode": "lr-tb lr horizontal-tb", "direction": "ltr",
    "unicode-bidi": "normal", "dominant-baseline": "auto alphabetic", "alignment-baseline": "auto baseline",
    "baseline-shift": "baseline 0 0%", "glyph-orientation-vertical": "auto", "glyph-orientation-horizontal": "0 0deg",
    "text-orientation": "mixed", "kerning": "auto", "font-kerning": "",
    "white-space": "normal pre preserve break-spaces", "font-synthesis": "",
    "text-shadow": "none", "shape-inside": "", "shape-padding": "", "shape-margin": "", "shape-subtract": "",
    "inline-size": "0 auto", "text-overflow": "clip", "block-progression": "tb", "font-optical-sizing": "auto",
    "text-size-adjust": "", "white-space-collapse": "collapse", "text-wrap": "", "hyphens": "",
}
# What no print shows.
_SILENT = frozenset({
    "shape-rendering", "color-rendering", "color-interpolation-filters", "enable-background", "color-profile", "cursor",
    "pointer-events", "solid-color", "solid-opacity", "flood-color", "flood-opacity", "lighting-color", "user-select",
    "buffered-rendering", "touch-action", "viewport-fill", "viewport-fill-opacity", "text-underline-position",
})
_SILENT_BEGINNING = "-inkscape-"  # one program's notes to itself
PROPERTIES = frozenset({*INHERITED, *OWN, *_ONLY, *TEXT_ONLY, *_SILENT})
_LENGTHS = ("stroke-width", "stroke-dasharray", "stroke-dashoffset", "letter-spacing", "word-spacing")

_EM = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+))(r?em)\b")
@dataclass(frozen=True, slots=True)
class Style:
    """All properties of one element. ``em`` is its font's size in user units."""

    values: Mapping[str, str] = field(default_factory=lambda: {**INHERITED, **OWN})
    em: float = 16.0
    text: Mapping[str, str] = field(default_factory=dict)

    def __getitem__(self, name: str) -> str:
        return self.values[name]


class Cascade:
    """What each element's attributes, the style sheets and its style attribute say, the strongest last."""

    def __init__(self, tree: Tree) -> None:
        self.rules = Rules(tree)
        self._declared: dict[tuple[Node, Node | None], dict[str, str]] = {}
        self._placed: dict[Node, Style] = {}

    def declared(self, node: Node) -> dict[str, str]:
        """What is said of ``node`` itself, by property. Raises CantDraw for a property that isn't known."""
        key = node, self.rules.top
        if key not in self._declared:
            found = {name: value.strip() for name, value in node.attributes.items()
                     if name in PROPERTIES and name not in ("transform", "mask-type", "mix-blend-mode", "isolation")}
            if "mask-type" in node.attributes:
                found["mask-type"] = node.get("mask-type")
            strong: dict[str, str] = {}
            own = declarations(node.attributes.get("style", ""))
            for declared in (*self.rules.of(node), own):
                for name, (value, important) in declared.items():
                    _allow(name, value)
                    names = ("marker-start", "marker-mid", "marker-end") if name == "marker" else (name,)
                    (strong if important else found).update(dict.fromkeys(names, value))
            self._declared[key] = found | strong
        return self._declared[key]

    def style(self, node: Node, parent: Style) -> Style:
        """The properties of ``node`` within ``parent``. Raises CantDraw for a value that isn't drawn as it is meant."""
        declared = self.declared(node)
        values = {name: parent.values[name] for name in INHERITED} | OWN
        text = dict(parent.text)
        em = font_size(declared.get("font-size", "inherit"), parent.em)
        for name, value in declared.items():
            known = name in values
            if value.lower() == "inherit":
                if known:
                    values[name] = parent.values[name]
                continue
            if value.lower() in ("initial", "unset", "revert", "revert-layer") or "var(" in value or "calc(" in value:
                raise CantDraw(f"{name}: {value[:40]}")
            if known:
                values[name] = _without_em(value, em) if name in _LENGTHS else value
            elif name in _ONLY and value not in _ONLY[name].split():
                raise CantDraw("a filter, such as a blur or a shadow" if name == "filter" else f"{name}: {value[:40]}")
            elif name in TEXT_ONLY:
                text[name] = value
        return Style(values, em, text)

    def in_place(self, node: Node) -> Style:
        """The properties of ``node`` where it stands in the file, as for what is only referred to."""
        if node not in self._placed:
            with self.rules.as_used(None):
                self._placed[node] = self.style(node, self.in_place(node.parent) if node.parent else Style())
        return self._placed[node]


def _without_em(value: str, em: float) -> str:
    def times(found: re.Match[str]) -> str:
        if found[2] == "rem":
            raise CantDraw("lengths in rem")
        return str(float(found[1]) * em)
    return _EM.sub(times, value)


def _allow(name: str, value: str) -> None:
    if name not in PROPERTIES and not name.startswith(_SILENT_BEGINNING):
        raise CantDraw(f"{name}: {value[:40]}")


_SIZES = {"xx-small": 9, "x-small": 10, "small": 13, "medium": 16, "large": 18, "x-large": 24, "xx-large": 32}


def font_size(value: str, parent_em: float) -> float:
    """A font's size in user units."""
    from server.formats.svg_values import length

    value = value.lower()
    if value == "inherit":
        return parent_em
    if value in _SIZES:
        return float(_SIZES[value])
    return max(0.0, length(value, parent_em, parent_em))
