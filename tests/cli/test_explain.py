"""`stager explain`: terms, limits and configuration keys."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

import stager as package
from stager.constraints import LIMITS
from stager.fit.table.reader import read_text
from stager.fit.table.writer import blank
from stager.report import explain
from stager.report.explain import configuration_keys
from tests.cli.run import TEMPLATE, stager

KEYS = configuration_keys()


def test_every_limit_is_explained() -> None:
    assert {limit.name for limit in LIMITS} == set(explain.LIMITS)


def test_every_configuration_key_is_explained() -> None:
    assert len(KEYS) > 100
    said = [bool(key.text) or (bool(key.values) and all(dict(key.values).values())) for key in KEYS.values()]
    assert all(said)


def test_related_terms_exist() -> None:
    known = set(explain.TERMS) | {name.replace("_", " ") for name in explain.LIMITS}
    for name, term in {**explain.TERMS, **explain.LIMITS}.items():
        assert set(term.see) <= known, name


@pytest.mark.parametrize("name", [*explain.TERMS, *explain.LIMITS, *KEYS])
def test_explanation_fits_one_terminal_page(name: str) -> None:
    done = stager("explain", name)
    assert done.status == 0
    lines = done.out.splitlines()
    assert len(lines) <= 40
    assert max(map(len, lines)) <= 80
    assert len(done.out.split()) > 3


def test_term_limit_and_key_of_one_name_are_explained_together() -> None:
    document = json.loads(stager("explain", "crush", "--json").out)
    assert [part["name"] for part in document["explanations"]] == ["crush", "limit: crush", "key: stage.crush"]


@pytest.mark.parametrize(
    ("typed", "meant"), [("gripp limit", "grip limit"), ("stage.crsh", "stage.crush"), ("lader", "ladder")]
)
def test_misspelt_name_is_an_input_error_with_a_suggestion(typed: str, meant: str) -> None:
    done = stager("explain", typed)
    assert done.status == 2
    assert meant in done.err


def test_all_names_are_listed_without_an_argument() -> None:
    done = stager("explain")
    assert done.status == 0
    assert "grip limit" in done.out
    assert "winding temperature" in done.out


def test_words_that_a_key_may_have_are_named() -> None:
    laws = " ".join(stager("explain", "contact.friction.law").out.split())
    assert all(f"{law} (" in laws for law in ("constant", "falling", "bell", "rising", "tabulated"))
    assert "One of: stretch, clamp, lip, bond." in stager("explain", "stage.wheel.tyre.held_by").out
    with_words = [key for key in configuration_keys().values() if key.values]
    assert len(with_words) > 10
    assert all(word in key.meaning for key in with_words for word, _ in key.values)


def test_words_of_a_term_need_no_quotes() -> None:
    assert stager("explain", "grip", "limit").out == stager("explain", "grip limit").out


def test_the_table_shown_for_throws_can_be_read() -> None:
    example = explain.TERMS["throws"].picture
    throws = read_text(example, Path("throws.csv"), package.load(TEMPLATE).scenario.launcher)
    assert len(throws) == 2
    assert throws.at_outlet
    assert throws.uncertainty is not None
    assert "stager explain throws" in blank(2)
