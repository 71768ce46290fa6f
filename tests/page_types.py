"""The API's models as JSDoc types for the page scripts: ``python -m tests.page_types`` writes them anew.

``static/js/common/types.js`` is kept as it is made here from the OpenAPI schema, so that TypeScript's checker measures
the pages against what the server really gives and takes; ``tests/test_page_types.py`` holds it to that.
"""

from __future__ import annotations

import re
import textwrap
from pathlib import Path
from typing import Any

from fastapi import FastAPI

from server.web.app import ROUTERS

FILE = Path(__file__).resolve().parent.parent / "static" / "js" / "common" / "types.js"
_HEAD = """/**
 * What the API gives and takes, as its OpenAPI schema says it. Made by `python -m tests.page_types`; don't edit.
 */
"""


def schema() -> dict[str, Any]:
    """The OpenAPI schema of the app's own routes, as /api/openapi.json gives it."""
    app = FastAPI()
    for router in ROUTERS:
        app.include_router(router)
    return app.openapi()


def names(models: dict[str, Any]) -> dict[str, str]:
    """Each model's name in scripts. Two models of one name are told apart by the modules that they stand in."""
    found = {}
    for full in models:
        *path, own = full.split("__")
        found[full] = "".join(part.capitalize() for part in path[2:] for part in part.split("_")) + own
    return {full: re.sub(r"\W", "", name) for full, name in found.items()}


def type_of(form: dict[str, Any], known: dict[str, str]) -> str:
    """A JSON schema as a type of TypeScript."""
    if "$ref" in form:
        return known[form["$ref"].rpartition("/")[2]]
    if "anyOf" in form or "oneOf" in form:
        return "|".join(dict.fromkeys(type_of(one, known) for one in form.get("anyOf") or form["oneOf"]))
    if "const" in form or "enum" in form:
        return "|".join(f'"{value}"' if isinstance(value, str) else str(value).lower()
                        for value in form.get("enum", [form.get("const")]))
    match form.get("type"):
        case "string":
            return "string"
        case "integer" | "number":
            return "number"
        case "boolean":
            return "boolean"
        case "null":
            return "null"
        case "array" if "prefixItems" in form:
            return f"[{', '.join(type_of(one, known) for one in form['prefixItems'])}]"
        case "array":
            inner = type_of(form.get("items", {}), known)
            return f"({inner})[]" if "|" in inner else f"{inner}[]"
        case "object" if "properties" in form:
            needed = form.get("required", ())
            fields = (f"{name}{'' if name in needed else '?'}: {type_of(one, known)}"
                      for name, one in form["properties"].items())
            return f"{{{', '.join(fields)}}}"
        case "object":
            more = form.get("additionalProperties")
            return f"Record<string, {type_of(more, known) if isinstance(more, dict) else 'any'}>"
    return "any"


def text() -> str:
    """The whole file."""
    models = schema()["components"]["schemas"]
    known = names(models)
    lines = []
    for full, name in sorted(known.items(), key=lambda item: item[1]):
        # A string is not broken at its spaces.
        whole = re.sub(r'"[^"]*"', lambda found: found[0].replace(" ", "\0"), type_of(models[full], known))
        lines.append(textwrap.fill(f"/** @typedef {{{whole}}} {name} */", 120, subsequent_indent=" *   ",
                                   break_long_words=False, break_on_hyphens=False).replace("\0", " "))
    return f"{_HEAD}\n" + "\n".join(lines) + "\n\nexport {};\n"


if __name__ == "__main__":
    FILE.write_text(text(), encoding="utf-8", newline="\n")
