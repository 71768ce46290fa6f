"""An SVG's elements, read so that nothing in it can reach out, grow or run.

No outside file is ever opened. A document type of its own, a script, an animation or a reference to another file is
refused, wherever in the file it stands.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from xml.parsers import expat

from server.errors import LampfoldError

_NAMESPACE = "http://www.w3.org/2000/svg"
_XLINK, _XML = "http://www.w3.org/1999/xlink", "http://www.w3.org/XML/1998/namespace"
_PARTED = " "  # no namespace has a space

FRAMES = frozenset({"svg", "symbol"})  # elements that may have a view of their own
MOST_ELEMENTS = 60_000  # a map of a whole city has some 30,000
MOST_DEPTH = 100  # drawing programs nest a dozen deep
_MOVES = frozenset({"animate", "animatecolor", "animatemotion", "animatetransform", "set", "discard"})
_WAY_OUT = "Save it as PDF from your drawing program."


class CantDraw(LampfoldError):
    """What an SVG has that isn't drawn as it is meant, a code of ``refusal`` and the way out. Whoever knows the file's
    label makes a refusal of it."""

    def __init__(self, what: str, code: str = "svg-feature", fix: str = _WAY_OUT) -> None:
        super().__init__(what, fix)
        self.what = what
        self.code = code


@dataclass(slots=True, eq=False)
class Node:
    """One element of SVG's own: its attributes (``xlink:href`` as ``href``), and its elements and text in order."""

    tag: str
    attributes: dict[str, str]
    parent: Node | None = None
    inside: list[Node | str] = field(default_factory=list)

    @property
    def children(self) -> list[Node]:
        return [child for child in self.inside if isinstance(child, Node)]

    @property
    def text(self) -> str:
        return "".join(child for child in self.inside if isinstance(child, str))

    def get(self, name: str, otherwise: str = "") -> str:
        return self.attributes.get(name, otherwise).strip()


@dataclass(frozen=True, slots=True)
class Tree:
    root: Node
    by_id: dict[str, Node]
    styles: tuple[Node, ...]

    def mentions(self, name: str) -> bool:
        """Whether a property may be set anywhere."""
        return any(name in node.text.lower() for node in self.styles) or _mentioned(self.root, name)


def _mentioned(node: Node, name: str) -> bool:
    return name in node.attributes.get("style", "").lower() or any(_mentioned(child, name) for child in node.children)


def parse(data: bytes) -> Tree:
    """The elements of a whole file. Raises CantDraw for what no art needs, and for what is no well-formed XML."""
    reader = _Reader()
    try:
        reader.parser.Parse(data, True)
    except LookupError:
        raise CantDraw("an encoding that isn't known", "damaged", "Save it in UTF-8.") from None
    except expat.ExpatError as error:
        raise CantDraw(f"line {error.lineno} can't be read as XML ({expat.ErrorString(error.code)})", "damaged",
                       "Export it again from the program that made it, or copy it anew.") from None
    if reader.root is None or reader.root.tag != "svg":
        raise CantDraw("its first element isn't an <svg> in SVG's namespace", "damaged",
                       f'Begin it with <svg xmlns="{_NAMESPACE}">, or save it as PDF.')
    return Tree(reader.root, reader.by_id, tuple(reader.styles))


class _Reader:
    """Takes what the parser meets. Elements of other namespaces draw nothing and are left out with all in them."""

    def __init__(self) -> None:
        self.root: Node | None = None
        self.by_id: dict[str, Node] = {}
        self.styles: list[Node] = []
        self._open: list[Node] = []
        self._foreign = 0
        self._count = 0
        self.parser = expat.ParserCreate(namespace_separator=_PARTED)
        self.parser.buffer_text = True
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._characters
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.EntityDeclHandler = self._entity
        self.parser.ProcessingInstructionHandler = self._instruction

    def _doctype(self, name: str, system: str | None, public: str | None, declares: bool | int) -> None:
        if declares:
            raise CantDraw("a document type with declarations of its own", "svg-entities")

    def _entity(self, *_: object) -> None:
        raise CantDraw("entities of its own", "svg-entities")

    def _instruction(self, target: str, data: str) -> None:
        if target.lower() == "xml-stylesheet":
            raise CantDraw("a style sheet in another file", "svg-outside")

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        self._count += 1
        if self._count > MOST_ELEMENTS:
            raise CantDraw(f"more than {MOST_ELEMENTS} elements", "too-much-inside", "Simplify it, or save it as PNG.")
        namespace, _, tag = name.rpartition(_PARTED)
        if tag.lower() == "script":
            raise CantDraw("a script", "svg-script", "Save it without scripts, or as PDF.")
        if self._foreign or namespace != _NAMESPACE:
            self._foreign += 1
            if len(self._open) + self._foreign > MOST_DEPTH * 2:
                raise _too_deep()
            return
        if len(self._open) >= MOST_DEPTH:
            raise _too_deep()
        node = Node(tag, _known(tag, attributes), self._open[-1] if self._open else None)
        if node.parent:
            node.parent.inside.append(node)
        else:
            self.root = node
        if "id" in node.attributes:
            self.by_id.setdefault(node.attributes["id"], node)
        if tag == "style":
            self.styles.append(node)
        self._open.append(node)

    def _end(self, name: str) -> None:
        if self._foreign:
            self._foreign -= 1
        else:
            self._open.pop()

    def _characters(self, text: str) -> None:
        if self._open and not self._foreign:
            self._open[-1].inside.append(text)


def _too_deep() -> CantDraw:
    return CantDraw(f"elements more than {MOST_DEPTH} deep in one another", "too-much-inside",
                    "Ungroup it, or save it as PDF.")


def _known(tag: str, attributes: dict[str, str]) -> dict[str, str]:
    """The attributes that may matter, those of other namespaces left out."""
    if tag.lower() in _MOVES:
        raise CantDraw(f"an animation (<{tag}>)")
    kept: dict[str, str] = {}
    for name, value in attributes.items():
        namespace, _, own = name.rpartition(_PARTED)
        if own.lower().startswith("on") and not namespace:
            raise CantDraw(f"a script ({own})", "svg-script", "Save it without scripts, or as PDF.")
        if own == "href" and namespace in ("", _XLINK) and tag != "a":
            if not value.strip().startswith(("#", "data:")) and value.strip():
                raise CantDraw(f"<{tag}> from outside the file", "svg-outside",
                               "Embed its pictures and parts in the file, or save it as PDF.")
            if not namespace or "href" not in kept:
                kept["href"] = value.strip()
        elif namespace == _XML:
            kept[f"xml:{own}"] = value
        elif not namespace:
            kept[own] = value
    return kept
