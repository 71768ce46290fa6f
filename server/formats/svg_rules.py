"""The rules of an SVG's style sheets: which selectors are read, and which rules are an element's.

Selectors are those that drawing programs and people write: elements, ids, classes, ``:root``, what lies in another
(``g rect``) and what is its child (``g > rect``), in lists. Any other is refused. By CSS Selectors 3; what a <use> has
by SVG 2, 5.6.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass

from server.formats.svg_tree import CantDraw, Node, Tree

# In CSS a length other than 0 needs its unit in these (css-values-4, 6.1); a browser would leave the property out.
_NEEDS_UNIT = ("font-size", "letter-spacing", "word-spacing")
_COMMENT = re.compile(r"/\*.*?\*/", re.S)
_RULE = re.compile(r"\s*([^{}]+)\{([^{}]*)\}", re.S)
_NAME = r"-?[A-Za-z_][\w-]*"
_SELECTOR = re.compile(rf"(\*|{_NAME})?((?:[.#]{_NAME}|:root)*)")
_DECLARATION = re.compile(r"\s*(-{0,2}[A-Za-z][\w-]*)\s*:\s*((?:[^;\"'(]|\"[^\"]*\"|'[^']*'|\([^()]*\))*)(?:;|$)")
_URL = re.compile(r"url\(\s*(['\"]?)([^)'\"]*)\1\s*\)", re.I)
_BARE_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?")

_MOST_RULES = 2_000

Declared = dict[str, tuple[str, bool]]  # property: (value, whether it is !important)


@dataclass(frozen=True, slots=True)
class _Part:
    """What a selector says of one element."""

    tag: str
    ids: frozenset[str]
    classes: frozenset[str]
    is_root: bool

    def fits(self, tag: str, ids: set[str], classes: set[str], is_root: bool) -> bool:
        return (self.tag in ("", "*", tag) and self.ids <= ids and self.classes <= classes
                and (is_root or not self.is_root))


@dataclass(frozen=True, slots=True)
class _Rule:
    """``parts`` from the outermost element inwards; ``close`` says of each whether it lies in the one before as its
    child, where it else lies anywhere in it."""

    parts: tuple[_Part, ...]
    close: tuple[bool, ...]
    declared: Declared

    @property
    def weight(self) -> tuple[int, int, int]:
        """How specific it is (CSS Selectors 3, 9)."""
        return (sum(len(one.ids) for one in self.parts), sum(len(one.classes) + one.is_root for one in self.parts),
                sum(one.tag not in ("", "*") for one in self.parts))


def reference(value: str) -> str | None:
    """The id in ``url(#id)`` or ``#id``; None for anything else. Raises CantDraw for what lies outside the file."""
    found = _URL.match(value)
    target = found[2].strip() if found else value
    if target.startswith("#"):
        return target[1:]
    if found:
        raise CantDraw(f"{value[:60]}, which lies outside the file", "svg-outside",
                       "Embed its pictures and parts in the file, or save it as PDF.")
    return None


def declarations(text: str) -> Declared:
    """What a style attribute or a rule's block says. Raises CantDraw for what can't be read."""
    found: Declared = {}
    text = _COMMENT.sub(" ", text).strip()
    if "\\" in text:
        raise CantDraw("a style with escaped letters")
    at = 0
    while at < len(text):
        match = _DECLARATION.match(text, at)
        if match is None:
            if text[at:].strip(" \t\r\n;") == "":
                break
            if text[at] in "; \t\r\n":
                at += 1
                continue
            raise CantDraw(f"a style that can't be read ({text[at:at + 40].strip()})")
        at = match.end()
        value = match[2].strip()
        plain = re.sub(r"\s*!\s*important$", "", value, flags=re.I)
        for _, target in _URL.findall(plain):
            reference(f"url({target})")
        name = match[1].lower()
        if name in _NEEDS_UNIT and _BARE_NUMBER.fullmatch(plain) and float(plain) != 0:
            raise CantDraw(f"{name}: {plain} without a unit in a style")
        if name not in found or not found[name][1] or plain != value:
            found[name] = (plain, plain != value)
    return found


def _rules(nodes: Iterable[Node]) -> list[_Rule]:
    """The rules of all style sheets, weakest first. Raises CantDraw for a selector or rule of another kind."""
    rules: list[_Rule] = []
    for node in nodes:
        if node.get("media", "all").lower() not in ("", "all") or node.get("type", "text/css").lower() != "text/css":
            raise CantDraw("a style sheet for some media only")
        text = _COMMENT.sub(" ", node.text).replace("<!--", " ").replace("-->", " ")
        if at_rule := re.search(r"@[\w-]+", text):
            raise CantDraw(f"{at_rule[0]} in a style sheet")
        at = 0
        while at < len(text) and text[at:].strip():
            match = _RULE.match(text, at)
            if match is None:
                raise CantDraw("a style sheet that can't be read")
            at = match.end()
            declared = declarations(match[2])
            for one in match[1].split(","):
                # Parts and what stands between them, by turns.
                words = re.split(r"(\s*>\s*|\s+)", one.strip())
                close = (False, *(">" in between for between in words[1::2]))
                rules.append(_Rule(tuple(_part(word, one) for word in words[::2]), close, declared))
    if sum(len(rule.parts) for rule in rules) > _MOST_RULES:
        raise CantDraw(f"more than {_MOST_RULES} style rules", "too-much-inside", "Simplify it, or save it as PDF.")
    return sorted(rules, key=lambda rule: rule.weight)


def _part(word: str, selector: str) -> _Part:
    found = _SELECTOR.fullmatch(word)
    if found is None or not word:
        raise CantDraw(f"the style rule “{' '.join(selector.split())[:40]}”")
    said = re.findall(rf"[.#:]{_NAME}", found[2])
    return _Part(found[1] or "", frozenset(one[1:] for one in said if one[0] == "#"),
                 frozenset(one[1:] for one in said if one[0] == "."), ":root" in said)


class Rules:
    """The rules of a file, and which of them are an element's. Each part of each rule is a bit, the weakest rule's
    first, so that an element's ancestors cost next to nothing however many rules there are."""

    def __init__(self, tree: Tree) -> None:
        self._parts: list[_Part] = []
        self._ends: dict[int, Declared] = {}  # by the bit of a rule's last part
        self._first = self._close = self._loose = 0
        for rule in _rules(tree.styles):
            for number, (part, close) in enumerate(zip(rule.parts, rule.close, strict=True)):
                bit = 1 << len(self._parts)
                self._first |= 0 if number else bit
                self._close |= bit if number and close else 0
                self._loose |= bit if number and not close else 0
                self._parts.append(part)
            self._ends[bit] = rule.declared
        self._last = sum(self._ends)
        self._fitting: dict[tuple[str, str, str, bool], int] = {}
        self._met: dict[tuple[Node, Node | None], tuple[int, int]] = {}
        self._top: Node | None = None

    @property
    def top(self) -> Node | None:
        """What is drawn where a <use> has it, if rules may see that."""
        return self._top if self._close | self._loose else None

    @contextmanager
    def as_used(self, node: Node | None) -> Iterator[None]:
        """While ``node`` is drawn where a <use> has it: rules see nothing of what it lies in (SVG 2, 5.6); None ends
        that for what is only referred to."""
        before, self._top = self._top, node
        yield
        self._top = before

    def of(self, node: Node) -> list[Declared]:
        """What they say of ``node``, the weakest first."""
        found, left = list[Declared](), self._of(node)[0] & self._last
        while left:
            bit = left & -left
            found.append(self._ends[bit])
            left ^= bit
        return found

    def _of(self, node: Node) -> tuple[int, int]:
        """The parts that ``node`` is, what it lies in being what the parts before say; and those of all that it lies
        in, its own counted."""
        key = node, self.top
        if key not in self._met:
            own, every = self._of(node.parent) if node.parent and node is not self.top else (0, 0)
            may = self._first | (own << 1) & self._close | (every << 1) & self._loose
            here = may & self._fits(node)
            self._met[key] = here, every | here
        return self._met[key]

    def _fits(self, node: Node) -> int:
        """The parts that ``node`` is by itself."""
        known_by = node.tag, node.attributes.get("id", ""), node.get("class"), node.parent is None
        if known_by not in self._fitting:
            tag, ids, classes, root = node.tag, {known_by[1]}, set(known_by[2].split()), known_by[3]
            self._fitting[known_by] = sum(1 << at for at, part in enumerate(self._parts)
                                          if part.fits(tag, ids, classes, root))
        return self._fitting[known_by]
