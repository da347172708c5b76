"""Inputs that the fuzzer once found to fail are accepted or refused as promised."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.fuzz import commands

CORPUS = sorted((Path(__file__).parent / "corpus").iterdir())


@pytest.mark.filterwarnings("error")
@pytest.mark.parametrize("path", CORPUS, ids=lambda path: path.stem)
def test_command_on_a_stored_input_has_a_promised_outcome(path: Path) -> None:
    assert commands.judge(path) in ("accepted", "refused")
