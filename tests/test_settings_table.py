"""A setting is one row: put into the table, it is an option, in the API, in the form and in the plan."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from tests.web.live import small_deck

ROOT = Path(__file__).resolve().parent.parent
ROW = '''    lamp_glow_mm: float = length(
        "Lamp glow", "how far the lamp shines", 2.0, 1, 9, step_mm=0.25, group="paper", hint="As seen at sea.")
    lamp: Literal["", "oil", "gas"] = row(
        "choice", "Lamp", "what burns in it", "", group="cuts", screen_only=True, own_printing=True, unset="none",
        listed=(Choice("", "No lamp"), Choice("oil", "Whale oil"), Choice("gas", "Town gas")))
'''
SCRIPT = '''
import contextlib, io, json, sys
from pathlib import Path

import server
from server.cli import main
from tests.web.live import running, small_deck

here, deck = Path(sys.argv[1]), Path(sys.argv[2])
assert Path(server.__file__).is_relative_to(here), server.__file__
said = io.StringIO()
with contextlib.redirect_stdout(said), contextlib.suppress(SystemExit):
    main(["build", "-h"])
with contextlib.redirect_stdout(io.StringIO()):
    assert main(["build", str(deck), "--lamp-glow", "1/8in", "--plan", str(here / "plan.json"),
                 "--out", str(here / "x.pdf")]) == 0
wrong = io.StringIO()
with contextlib.redirect_stderr(wrong):
    main(["build", str(deck), "--lamp-glow", "10"])
with running(here / "data") as live:
    client = live.client()
    deck_id = live.deck(small_deck(1), client=client)
    plan = f"/api/decks/{deck_id}/plan"
    print(json.dumps({
        "help": said.getvalue(), "wrong": wrong.getvalue(), "plan": json.loads((here / "plan.json").read_text()),
        "tables": client.get("/api/tables").json(), "schema": client.get("/api/openapi.json").json(),
        "page": client.get(f"/decks/{deck_id}/sheet").text,
        "asked": client.post(plan, json={"settings": {"lamp_glow_mm": 3, "lamp": "gas"}}).json(),
        "refused": client.post(plan, json={"settings": {"lamp_glow_mm": 0}}).json(),
    }))
'''


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    """What a copy of the house with two more rows says; nothing but the table was touched."""
    here = tmp_path_factory.mktemp("house")
    for part in ("server", "templates", "static"):
        shutil.copytree(ROOT / part, here / part, ignore=shutil.ignore_patterns("__pycache__"))
    table = here / "server" / "core" / "settings.py"
    text = table.read_text(encoding="utf-8")
    mark = "    arrangement: "
    assert text.count(mark) == 1
    table.write_text(text.replace(mark, ROW + mark), encoding="utf-8")
    deck = here / "deck"
    for name, content in small_deck(1).items():
        (deck / name).parent.mkdir(parents=True, exist_ok=True)
        (deck / name).write_bytes(content)
    surroundings = {**os.environ, "PYTHONPATH": os.pathsep.join((str(here), str(ROOT))), "COLUMNS": "200"}
    done = subprocess.run([sys.executable, "-c", SCRIPT, str(here), str(deck)], capture_output=True, text=True,
                          cwd=here, env=surroundings)
    assert done.returncode == 0, done.stderr
    answer: dict[str, Any] = json.loads(done.stdout)
    return answer


def test_it_is_an_option_with_its_help_and_its_limits(found: dict[str, Any]) -> None:
    assert "--lamp-glow MM" in found["help"] and "how far the lamp shines (default: 2 mm)" in found["help"]
    assert "--lamp TEXT" in found["help"] and "what burns in it: oil or gas (default: none)" in found["help"]
    assert found["wrong"].strip().endswith("--lamp-glow: 10 mm is too much. Use 1 to 9 mm.")


def test_it_is_in_the_schema_and_the_tables(found: dict[str, Any]) -> None:
    schemas = found["schema"]["components"]["schemas"]
    for model in ("PlanAsk", "BuildAsk"):
        properties = schemas[model]["properties"]["settings"]["properties"]
        assert properties["lamp_glow_mm"]["anyOf"][0] == {"type": "number", "minimum": 1, "maximum": 9}
        assert properties["lamp"]["enum"] == ["", "oil", "gas"]
    assert "lamp_glow_mm" in json.dumps(schemas["DeckChange"])
    rows = {row["name"]: row for row in found["tables"]["settings"]}
    glow, lamp = rows["lamp_glow_mm"], rows["lamp"]
    assert (glow["minimum"], glow["maximum"], glow["step"], glow["unit"], glow["default"]) == (1, 9, 0.25, "mm", 2)
    assert [choice["label"] for choice in lamp["choices"]] == ["No lamp", "Whale oil", "Town gas"]
    assert (glow["playtester"], lamp["playtester"]) == (False, True)


def test_it_is_in_the_form_that_is_served(found: dict[str, Any]) -> None:
    page = found["page"]
    assert 'name="lamp_glow_mm"' in page and "As seen at sea." in page
    assert page.index('id="g-paper"') < page.index('name="lamp_glow_mm"') < page.index('id="g-cuts"')
    assert page.index('id="g-cuts"') < page.index('name="lamp"') < page.index("Whale oil")


def test_it_is_in_the_plan_where_it_prints(found: dict[str, Any]) -> None:
    assert found["plan"]["settings"]["lamp_glow_mm"] == pytest.approx(3.175)  # 1/8 in; an inch is 25.4 mm exactly
    assert "lamp" not in found["plan"]["settings"]
    assert (found["asked"]["settings"]["lamp_glow_mm"], found["asked"]["settings"]["lamp"]) == (3, "gas")
    assert (found["refused"]["field"], found["refused"]["fix"]) == ("lamp_glow_mm", "Use 1 to 9 mm.")
