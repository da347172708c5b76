"""Files that commands write, checked before the work."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

from stager.cli.session import Session
from stager.errors import InputError
from stager.files import STDOUT, check_place, replace_all


def to_stdout(output: Path | None) -> bool:
    """Whether an output is standard output."""
    return output is not None and str(output) in STDOUT


def check_outputs(
    session: Session, outputs: Sequence[Path | None], inputs: Sequence[Path], resume: Path | None = None,
    *, force: bool = False,
) -> None:  # fmt: skip
    """Check that outputs can be written and replace neither an input, nor each other, nor what a person wrote.

    inputs : files that the command reads
    resume : file that the command both reads and adds to

    Raises
    ------
    InputError
        For the first that is not right.
    """
    if resume is not None:
        _apart(resume, inputs)
    seen = [*inputs, *([] if resume is None else [resume])]
    for output in outputs:
        if output is None:
            continue
        if to_stdout(output) and session.json:
            message = "standard output would hold both the file and the JSON document"
            raise InputError(message, where="-o", hint="leave out --json, or name a file")
        check_place(output, inputs=seen, force=force)
        seen.append(output)


def _apart(resume: Path, inputs: Sequence[Path]) -> None:
    for other in inputs:
        if resume.resolve() == other.resolve():
            message = "is read by the same command, and is no place for finished parts"
            raise InputError(message, where=str(resume), hint="name another file for --resume")


def check_new(paths: Sequence[Path]) -> None:
    """Raises InputError where one of the files exists."""
    for path in paths:
        if path.exists() or path.is_symlink():
            raise InputError("exists already and is left as it is", where=str(path), hint="choose another directory")


def write_new(texts: Mapping[Path, str]) -> None:
    """Write files that must not exist yet. Raises InputError before anything is written."""
    check_new(list(texts))
    replace_all({path: text.encode() for path, text in texts.items()})
