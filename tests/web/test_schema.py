"""Whatever fits the OpenAPI schema, and much that doesn't, gets an answer that the schema knows, and never a 5xx."""

from __future__ import annotations

import json
import re
from typing import Any
from urllib.parse import quote

import httpx
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from tests.web.live import LiveServer, small_deck

_CHECKED = 6  # for each operation
HALF = "\ud800"
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


def json_bodies(schema: dict[str, Any]) -> list[tuple[str, str, dict[str, Any]]]:
    return [(method, path, operation["requestBody"]["content"]["application/json"]["schema"])
            for path, methods in schema["paths"].items() for method, operation in methods.items()
            if "application/json" in operation.get("requestBody", {}).get("content", {})]


def places(schema: dict[str, Any], form: dict[str, Any], depth: int = 3) -> list[Any]:
    """Bodies that hold ``HALF`` as one of the values or keys that the schema speaks of."""
    if "$ref" in form:
        return places(schema, schema["components"]["schemas"][form["$ref"].rpartition("/")[2]], depth)
    found = [HALF, {HALF: 1}]
    for one in form.get("anyOf", []) if depth else []:
        found += places(schema, one, depth - 1)
    if "items" in form and depth:
        found += [[one] for one in places(schema, form["items"], depth - 1)]
    for name, one in form.get("properties", {}).items() if depth else []:
        found += [{name: inner} for inner in places(schema, one, depth - 1)]
    if form.get("additionalProperties") and depth:
        found += [{"x": one} for one in places(schema, form["additionalProperties"], depth - 1)]
    return found


def test_half_a_character_in_json_is_a_422_at_every_address(client: httpx.Client, schema: dict[str, Any],
                                                            deck_id: str) -> None:
    """RFC 8259, 8.2: JSON can write a lone surrogate, which no text can hold."""
    bodies = json_bodies(schema)
    assert len(bodies) >= 10
    for method, path, form in bodies:
        at = path.replace("{deck_id}", deck_id).replace("{printer_id}", "0123456789abcdef")
        for body in places(schema, form):
            answer = client.request(method, at, content=json.dumps(body), headers={"Content-Type": "application/json"})
            assert answer.status_code == 422, f"{method} {path} {json.dumps(body)}: {answer.status_code} {answer.text}"
            assert answer.json()["message"]


@pytest.mark.parametrize(("body", "message"), [
    ('{"settings": {"bleed_mm": NaN}}', "bleed_mm: nan is no length."),
    ('{"settings": {"bleed_mm": -Infinity}}', "bleed_mm: -inf is no length."),
    ('{"settings": {"bleed_mm": true}}', "bleed_mm: true is no length."),
    ('{"settings": {"bleed_mm": [3]}}', "bleed_mm: [3] is no length."),
    ('{"settings": {"bleed_mm": 1' + "0" * 400 + "}}", "is no length."),
    ('{"settings": {"bleed_mm": 1' + "0" * 5000 + "}}", ""),
    ('{"settings": {"card": true}}', "card: true is not known."),
    ('{"settings": {"fold_on_cut": 2}}', "fold_on_cut: 2 is neither yes nor no."),
    ('{"sheet": true}', "sheet: Input should be a valid integer."),
])
def test_what_is_no_length_is_told_as_such(client: httpx.Client, deck_id: str, body: str, message: str) -> None:
    answer = client.post(f"/api/decks/{deck_id}/plan", content=body, headers={"Content-Type": "application/json"})
    assert answer.status_code in (400, 422) and message in answer.json()["message"], answer.text


def _parts(schema: dict[str, Any], name: str, seen: set[str]) -> set[str]:
    """The models that a model is made of, itself among them."""
    if name not in seen:
        seen.add(name)
        for inner in re.findall(r'"#/components/schemas/([^"]+)"', json.dumps(schema["components"]["schemas"][name])):
            _parts(schema, inner, seen)
    return seen


def test_every_answer_with_lengths_says_their_unit(schema: dict[str, Any]) -> None:
    """And its format and version, as plans and printers' files do."""
    models = schema["components"]["schemas"]
    answers = {match for operations in schema["paths"].values() for operation in operations.values()
               for status, answer in operation["responses"].items() if status.startswith("2")
               for match in re.findall(r'"#/components/schemas/([^"]+)"', json.dumps(answer))}
    long = {name for name in answers for part in _parts(schema, name, set())
            if any(field.endswith("_mm") for field in models[part].get("properties", {}))}
    assert len(long) > 5
    assert not {name for name in long if not {"format", "version", "unit"} <= set(models[name]["properties"])}
    formats = [models[name]["properties"]["format"].get("default") for name in long]
    assert len(set(formats)) == len(formats)
