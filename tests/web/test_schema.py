"""Whatever fits the OpenAPI schema, and much that doesn't, gets an answer that the schema knows, and never a 5xx."""

from __future__ import annotations

import json
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.web.live import LiveServer, small_deck

_CHECKED = 6  # for each operation
_EVERYWHERE = ("403", "404", "405", "411", "413", "422")


@pytest.fixture(scope="module")
def client(live_server: LiveServer) -> httpx.Client:
    return live_server.client()


@pytest.fixture(scope="module")
def schema(client: httpx.Client) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/api/openapi.json").json()
    return found


@pytest.fixture(scope="module")
def deck_id(live_server: LiveServer, client: httpx.Client) -> str:
    return live_server.deck(small_deck(2), client=client)


def values(schema: dict[str, Any], form: dict[str, Any]) -> st.SearchStrategy[Any]:
    """Values of a JSON schema; the keywords are those that this API uses."""
    if "$ref" in form:
        return values(schema, schema["components"]["schemas"][form["$ref"].rpartition("/")[2]])
    if "anyOf" in form:
        return st.one_of([values(schema, one) for one in form["anyOf"]])
    if "enum" in form or "const" in form:
        return st.sampled_from(form.get("enum", [form.get("const")]))
    match form.get("type"):
        case "string":
            return st.text(max_size=min(form.get("maxLength", 40), 40))
        case "integer":
            return st.integers(form.get("minimum", -(2**70)), form.get("maximum", 2**70))
        case "number":
            return st.floats(allow_nan=False, allow_infinity=False)
        case "boolean":
            return st.booleans()
        case "null":
            return st.none()
        case "array":
            return st.lists(values(schema, form["items"]), max_size=5)
        case "object" if "properties" in form:
            fields = {name: values(schema, one) for name, one in form["properties"].items()}
            needed = set(form.get("required", ()))
            return st.fixed_dictionaries({name: one for name, one in fields.items() if name in needed},
                                         optional={name: one for name, one in fields.items() if name not in needed})
        case "object":
            names = st.text(max_size=20) | st.sampled_from(["paper", "bleed_mm", "method", "fronts/keeper-0.png"])
            return st.dictionaries(names, values(schema, form.get("additionalProperties") or {}), max_size=4)
    return json_values()


def json_values() -> st.SearchStrategy[Any]:
    return st.recursive(st.none() | st.booleans() | st.floats() | st.integers() | st.text(max_size=20),
                        lambda inner: (st.lists(inner, max_size=3)
                                       | st.dictionaries(st.text(max_size=9), inner, max_size=3)), max_leaves=8)


@settings(max_examples=_CHECKED, deadline=None,
          suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow])
@given(data=st.data())
def test_no_request_brings_a_5xx(live_server: LiveServer, client: httpx.Client, schema: dict[str, Any], deck_id: str,
                                 data: st.DataObject) -> None:
    for path, methods in schema["paths"].items():
        for method, operation in methods.items():
            answer = ask(client, schema, deck_id, path, method, operation, data)
            told = f"{method} {path}: {answer.status_code} {answer.text[:300]}"
            assert answer.status_code < 500, told
            # Addresses drawn from anywhere may be another route's, so what the guard and the router say is known too.
            assert str(answer.status_code) in {*operation["responses"], *_EVERYWHERE}, told
            if answer.status_code >= 400 and path.startswith("/api/"):
                assert answer.json()["message"], told


def ask(client: httpx.Client, schema: dict[str, Any], deck_id: str, path: str, method: str, operation: dict[str, Any],
        data: st.DataObject) -> httpx.Response:
    """One request, its parts drawn from the schema or from anywhere."""
    query: dict[str, Any] = {}
    for parameter in operation.get("parameters", []):
        drawn = data.draw(values(schema, parameter["schema"]), parameter["name"])
        if parameter["in"] == "path":
            known = deck_id if parameter["name"] == "deck_id" and method != "delete" else drawn
            path = path.replace("{" + parameter["name"] + "}", quote(str(known or "x"), safe=""))
        elif drawn is not None:
            query[parameter["name"]] = str(drawn)
    content = operation.get("requestBody", {}).get("content", {})
    if "application/json" in content:
        body = data.draw(values(schema, content["application/json"]["schema"]) | json_values(), "body")
        text = json.dumps(body)  # also NaN and Infinity, which are no JSON
        return client.request(method, path, params=query, content=text, headers={"Content-Type": "application/json"})
    raw = data.draw(st.binary(max_size=200), "bytes") if content else None
    return client.request(method, path, params=query, content=raw)
