"""The page scripts' types of what the API gives are those of its schema, and their checker is as strict as it gets."""

from __future__ import annotations

import json
from pathlib import Path

from tests import page_types

ROOT = Path(__file__).resolve().parent.parent


def test_the_page_scripts_know_what_the_api_gives() -> None:
    assert page_types.FILE.read_text(encoding="utf-8") == page_types.text(), "run python -m tests.page_types"


def test_a_changed_model_would_be_noticed() -> None:
    names = {"Lamp": "Lamp"}
    form = {"type": "object", "required": ["a"], "properties": {
        "a": {"anyOf": [{"type": "number"}, {"type": "null"}]}, "b": {"type": "array", "items": {"$ref": "#/x/Lamp"}},
        "c": {"enum": ["on", "off"]}, "d": {"type": "object", "additionalProperties": {"type": "string"}}}}
    assert page_types.type_of(form, names) == (
        '{a: number|null, b?: Lamp[], c?: "on"|"off", d?: Record<string, string>}')


def test_the_checker_is_strict_and_misses_no_script() -> None:
    told = json.loads((ROOT / ".tsconfig.json").read_text(encoding="utf-8"))
    assert told["include"] == ["static/js/**/*.js"]
    assert {"strict", "checkJs", "noEmit"} <= {name for name, value in told["compilerOptions"].items() if value is True}
    skipped = [path.name for path in (ROOT / "static" / "js").rglob("*.js") if "@ts-nocheck" in path.read_text("utf-8")]
    assert not skipped
