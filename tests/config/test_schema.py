"""The JSON Schema takes what loads, and says what a key is."""

from __future__ import annotations

import copy
import os
import tomllib
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from stager.config import schema_json
from stager.config.schema import EXAMPLES, WORDS
from stager.config.tables import File
from stager.report import answer
from tests.broken.corpus import RIGHT
from tests.cli.run import ROOT, TEMPLATE
from tests.config.test_load import CONFIGS

SCHEMA = schema_json()


def _problems(tree: Any) -> list[str]:
    return [error.message for error in Draft202012Validator(SCHEMA).iter_errors(tree)]


def test_it_is_a_schema() -> None:
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.stem)
def test_our_scenarios_fit(path: Any) -> None:
    assert _problems(tomllib.loads(path.read_text(encoding="utf-8"))) == []


def test_entries_of_stages_need_only_what_differs() -> None:
    end = '[[stages]]\n[[stages]]\ncrush = "3 mm"\n[stages.wheel.tyre]\ndepth = "2 mm"\n[stages.drive]\ngear = 2.0\n'
    assert _problems(tomllib.loads(RIGHT + end)) == []


@pytest.mark.parametrize(
    "edit", [("projectile", "mass", 18), ("projectile", "colour", "red"), ("stage", "layout", "triple")]
)
def test_editors_see_mistakes(edit: tuple[str, str, Any]) -> None:
    table, key, value = edit
    tree = copy.deepcopy(tomllib.loads(RIGHT))
    tree[table][key] = value
    assert _problems(tree)


def test_every_quantity_has_its_unit_and_an_example_that_fits() -> None:
    described = 0
    for table in SCHEMA["$defs"].values():
        for entry in table["properties"].values():
            if "examples" in entry:
                described += 1
                assert entry["title"]
                validator = Draft202012Validator({**entry, "$defs": SCHEMA["$defs"]})
                assert all(validator.is_valid(example) for example in entry["examples"])
    assert described > 100
    mass = SCHEMA["$defs"]["Projectile"]["properties"]["diameter"]
    assert mass["description"] == "across the grip [m]"
    assert SCHEMA["$defs"]["Stage"]["properties"]["clearance"]["default"] == "5 mm"


def test_every_key_says_what_it_is() -> None:
    tables = {"File": SCHEMA, **SCHEMA["$defs"]}
    for name, table in tables.items():
        for key, entry in table["properties"].items():
            said = entry.get("description", "")
            assert said, f"{name}.{key}"
            assert not said.startswith("["), f"{name}.{key}"
    known = {f"{name}.{key}" for name, table in tables.items() for key in table["properties"]}
    assert set(WORDS) | set(EXAMPLES) <= known


def test_scenarios_name_the_schema_beside_them() -> None:
    for path in (*sorted((ROOT / "configs").glob("*.toml")), TEMPLATE):
        assert path.read_text(encoding="utf-8").startswith("#:schema stager.schema.json\n")
    kept = ROOT / "configs" / "stager.schema.json"
    text = answer.json_text(SCHEMA) + "\n"
    if os.environ.get("UPDATE_GOLDEN"):
        kept.write_text(text, encoding="utf-8")
    assert kept.read_text(encoding="utf-8") == text


def test_every_table_of_the_file_is_there() -> None:
    assert set(SCHEMA["properties"]) == set(File.model_fields)
