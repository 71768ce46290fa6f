"""What the JSON API takes: whole text, known fields, bounded numbers of things, and the first fault of many."""

from __future__ import annotations

from typing import Annotated, Any, TypeVar

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    FailFast,
    Field,
    GetJsonSchemaHandler,
    model_validator,
)

from server.core.setting import Setting
from server.core.settings import SETTINGS
from server.core.wording import check_text, shown
from server.errors import BadValue


class _SettingsSchema:
    """The schema of settings that are changed, from their table. What they take is checked by the table itself, whose
    words are better than a schema's."""

    @classmethod
    def __get_pydantic_json_schema__(cls, schema: Any, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        return {"type": "object", "additionalProperties": False,
                "properties": {name: _schema_of(setting) for name, setting in SETTINGS.items()}}


def _schema_of(setting: Setting) -> dict[str, Any]:
    about = {"title": setting.label, "description": setting.says(), "default": setting.default}
    text = {"type": "string", "maxLength": setting.longest}
    if setting.kind == "yes-no":
        return {**about, "anyOf": [{"type": "boolean"}, {"type": "string", "enum": ["yes", "no"]}]}
    if setting.kind == "length":
        return {**about, "description": f"{setting.says()}; a number is mm, a text may have a unit", "anyOf": [
            {"type": "number", "minimum": setting.low_mm, "maximum": setting.high_mm}, text]}
    if setting.choices and not setting.size_example:
        return {**about, "type": "string", "enum": [choice.name for choice in setting.choices]}
    return {**about, **text}


Settings = Annotated[dict[str, Any], _SettingsSchema()]
Name = Annotated[str, Field(max_length=200)]
# A JavaScript number holds whole milliseconds since 1970 exactly up to 2**53 - 1 (ECMA-262, MAX_SAFE_INTEGER).
Milliseconds = Annotated[int, Field(ge=0, le=2**53 - 1)]
# What the schema says of a body that is a file's bytes.
RAW_BODY = {"requestBody": {"required": True, "content": {"application/octet-stream": {
    "schema": {"type": "string", "format": "binary"}}}}}


class _FirstFault(FailFast):
    __hash__ = object.__hash__  # so that what it is put on can be optional


Item = TypeVar("Item")
# What a folder of a deck may hold, and what is said of each.
MOST_ITEMS = 10_000
# The first thing that is wrong is told, and the rest isn't looked at: of 2 MB of JSON that may be half a million.
FIRST_FAULT = _FirstFault()
Items = Annotated[list[Item], FIRST_FAULT, Field(max_length=MOST_ITEMS)]


def _few(value: Any) -> Any:
    if isinstance(value, dict) and len(value) > MOST_ITEMS:
        raise BadValue(f"body: names {len(value)} things at once.", f"Send {MOST_ITEMS} or fewer.")
    return value


ByName = Annotated[dict[str, Item], BeforeValidator(_few)]


class Part(BaseModel):
    """A part of a request body: unknown fields are refused, so that a slip is seen, and ``true`` is no number."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, strict=True)

    @model_validator(mode="before")
    @classmethod
    def _known(cls, value: Any) -> Any:
        unknown = next((name for name in value if name not in cls.model_fields), None) if isinstance(
            value, dict) else None
        if unknown is not None:
            raise BadValue(f"{shown(unknown)}: isn't known here.", "See /api/openapi.json for what is taken.")
        return value


class Sent(Part):
    """A request body, whose text is whole."""

    @model_validator(mode="before")
    @classmethod
    def _whole_text(cls, value: Any) -> Any:
        check_text(value, "body")
        return value
