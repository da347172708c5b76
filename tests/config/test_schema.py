"""The JSON Schema: accepts valid files, rejects invalid ones, documents every key."""

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
from tests.broken.corpus import VALID
from tests.cli.run import ROOT, TEMPLATE
from tests.config.test_load import CONFIGS

SCHEMA = schema_json()


def _problems(tree: Any) -> list[str]:
    return [error.message for error in Draft202012Validator(SCHEMA).iter_errors(tree)]


def test_schema_is_valid_draft_2020_12() -> None:
    Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", CONFIGS, ids=lambda path: path.stem)
def test_shipped_scenarios_satisfy_the_schema(path: Any) -> None:
    assert _problems(tomllib.loads(path.read_text(encoding="utf-8"))) == []


def test_stage_entries_may_be_partial() -> None:
    end = '[[stages]]\n[[stages]]\ncrush = "3 mm"\n[stages.wheel.tyre]\ndepth = "2 mm"\n[stages.drive]\ngear = 2.0\n'
    assert _problems(tomllib.loads(VALID + end)) == []


@pytest.mark.parametrize(
    "edit", [("projectile", "mass", 18), ("projectile", "colour", "red"), ("stage", "layout", "triple")]
)
def test_schema_rejects_invalid_values_and_unknown_keys(edit: tuple[str, str, Any]) -> None:
    table, key, value = edit
    tree = copy.deepcopy(tomllib.loads(VALID))
    tree[table][key] = value
    assert _problems(tree)


def test_every_quantity_has_a_title_and_valid_examples() -> None:
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


def test_every_key_has_a_description() -> None:
    tables = {"File": SCHEMA, **SCHEMA["$defs"]}
    for name, table in tables.items():
        for key, entry in table["properties"].items():
            said = entry.get("description", "")
            assert said, f"{name}.{key}"
            assert not said.startswith("["), f"{name}.{key}"
    known = {f"{name}.{key}" for name, table in tables.items() for key in table["properties"]}
    assert set(WORDS) | set(EXAMPLES) <= known


def test_scenarios_name_the_current_schema_file() -> None:
    for path in (*sorted((ROOT / "configs").glob("*.toml")), TEMPLATE):
        assert path.read_text(encoding="utf-8").startswith("#:schema stager.schema.json\n")
    stored = ROOT / "configs" / "stager.schema.json"
    text = answer.json_text(SCHEMA) + "\n"
    if os.environ.get("UPDATE_GOLDEN"):
        stored.write_text(text, encoding="utf-8")
    assert stored.read_text(encoding="utf-8") == text


def test_schema_has_every_table_of_the_file() -> None:
    assert set(SCHEMA["properties"]) == set(File.model_fields)
