"""A command session: exit status, streams and error messages."""

from __future__ import annotations

import json

import pytest

from stager.cli.session import TRACEBACK_SWITCH, Session
from stager.errors import ExitStatus, InputError, InputErrors, Interrupted
from stager.report.answer import Answer, Column, Screen, Table

UNITS = ("m/s", "[m/s]", "[rad/s]", "[kg]", "[mm]", "[rpm]", "[N]", "[J]", "[W]", "[Pa]", "[-]", "[%]")
TABLE = Table("All [m/s] units", tuple(Column("x", unit) for unit in UNITS), (tuple(UNITS),))
ANSWER = Answer(Screen("It is [m/s] 12.", (TABLE,), ("A note on [kg].",)), {"speed_m_s": 12.0})


def _raises(error: BaseException) -> Answer:
    raise error


def test_answer_is_printed_to_stdout(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "140")
    assert Session().run(lambda: ANSWER) is ExitStatus.DONE
    seen = capsys.readouterr()
    assert seen.out.splitlines()[0] == "It is [m/s] 12."
    assert all(seen.out.count(unit) >= 2 for unit in UNITS)
    assert "A note on [kg]." in seen.out
    assert seen.err == ""


def test_quiet_prints_the_headline_only(capsys: pytest.CaptureFixture[str]) -> None:
    assert Session(quiet=True).run(lambda: ANSWER) is ExitStatus.DONE
    assert capsys.readouterr().out == "It is [m/s] 12.\n"


def test_json_prints_one_document(capsys: pytest.CaptureFixture[str]) -> None:
    assert Session(json=True).run(lambda: ANSWER) is ExitStatus.DONE
    assert json.loads(capsys.readouterr().out) == {"speed_m_s": 12.0}


def test_negative_answer_gives_status_one() -> None:
    assert Session(quiet=True).run(lambda: Answer(ANSWER.screen, {}, yes=False)) is ExitStatus.ANSWER_IS_NO


def test_input_errors_show_place_and_hint(capsys: pytest.CaptureFixture[str]) -> None:
    first = InputError("must be above 0 mm (got -4 mm)", where="a.toml:12: stage.crush", hint='write crush = "4 mm"')
    second = InputError("is needed", where="a.toml:30: limits.exit_energy")
    assert Session().run(lambda: _raises(InputErrors([first, second]))) is ExitStatus.BAD_INPUT
    seen = capsys.readouterr()
    assert seen.out == ""
    assert seen.err == (
        'a.toml:12: stage.crush: must be above 0 mm (got -4 mm)\n\nhint: write crush = "4 mm"\n\n'
        "a.toml:30: limits.exit_energy: is needed\n"
    )


@pytest.mark.parametrize("error", [KeyboardInterrupt(), Interrupted("stopped; 3 of 9 chunks are kept")])
def test_interruption_gives_status_130(error: BaseException, capsys: pytest.CaptureFixture[str]) -> None:
    assert Session().run(lambda: _raises(error)) is ExitStatus.INTERRUPTED
    seen = capsys.readouterr()
    assert seen.out == ""
    assert seen.err


def test_internal_error_names_the_traceback_switch(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(TRACEBACK_SWITCH, raising=False)
    assert Session().run(lambda: _raises(ZeroDivisionError("by zero"))) is ExitStatus.FAULT
    assert "ZeroDivisionError" in (message := capsys.readouterr().err)
    assert TRACEBACK_SWITCH in message
    monkeypatch.setenv(TRACEBACK_SWITCH, "1")
    with pytest.raises(ZeroDivisionError):
        Session().run(lambda: _raises(ZeroDivisionError("by zero")))
