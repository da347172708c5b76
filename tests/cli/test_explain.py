"""`stager explain`: terms, limits and keys in plain words."""

from __future__ import annotations

import json

import pytest

from stager.constraints import LIMITS
from stager.report import explain
from stager.report.explain import configuration_keys
from tests.cli.run import stager

KEYS = configuration_keys()


def test_every_limit_has_a_text() -> None:
    assert {limit.name for limit in LIMITS} == set(explain.LIMITS)


def test_every_key_of_the_configuration_has_a_text_and_a_unit_or_an_example() -> None:
    assert len(KEYS) > 100
    assert [name for name, key in KEYS.items() if not key.text] == []


def test_related_terms_exist() -> None:
    known = set(explain.TERMS) | {name.replace("_", " ") for name in explain.LIMITS}
    for name, term in {**explain.TERMS, **explain.LIMITS}.items():
        assert set(term.see) <= known, name


@pytest.mark.parametrize("name", [*explain.TERMS, *explain.LIMITS, *KEYS])
def test_every_name_is_explained_on_one_page(name: str) -> None:
    done = stager("explain", name)
    assert done.status == 0
    lines = done.out.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80
    assert len(done.out.split()) > 3


def test_limits_and_keys_of_one_name_are_told_together() -> None:
    document = json.loads(stager("explain", "crush", "--json").out)
    assert [part["name"] for part in document["explanations"]] == ["crush", "limit: crush", "key: stage.crush"]


@pytest.mark.parametrize(
    ("typed", "meant"), [("gripp limit", "grip limit"), ("stage.crsh", "stage.crush"), ("lader", "ladder")]
)
def test_a_mistyped_name_is_bad_input_with_the_nearest(typed: str, meant: str) -> None:
    done = stager("explain", typed)
    assert done.status == 2
    assert meant in done.err


def test_without_a_name_all_are_listed() -> None:
    done = stager("explain")
    assert done.status == 0
    assert "grip limit" in done.out
    assert "winding temperature" in done.out
