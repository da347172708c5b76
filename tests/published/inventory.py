"""Compare results with printed numbers and collect them: `python -m tests.published.inventory` prints the table."""

from __future__ import annotations

from dataclasses import dataclass

import pytest


@dataclass(frozen=True, slots=True)
class Row:
    """A printed number and ours; `read` if it was read in the source, otherwise it is from memory."""

    topic: str
    source: str
    theirs: float
    ours: float
    read: bool


ROWS: list[Row] = []


def printed(topic: str, source: str, theirs: float, ours: object, *, rel: float, read: bool = True) -> None:
    """Check that `ours` is within `rel` of the number in `source`; store both."""
    value = float(ours)  # type: ignore[arg-type]
    ROWS.append(Row(topic, source, theirs, value, read))
    assert value == pytest.approx(theirs, rel=rel)


def table() -> str:
    """Return the comparisons as a Markdown table, how many were read in the source and how many are exit speeds."""
    head = ["| topic | source | theirs | ours | difference (%) | |", "|---|---|---|---|---|---|"]
    lines = [
        f"| {row.topic} | {row.source} | {row.theirs:.5g} | {row.ours:.5g} | {100 * (row.ours / row.theirs - 1):+.2f} "
        f"| {'read' if row.read else 'from memory'} |"
        for row in sorted(set(ROWS), key=lambda row: (row.topic, row.source, row.theirs))
    ]
    read, sources = sum(row.read for row in set(ROWS)), len({row.source for row in ROWS})
    launched = sum(row.topic.startswith("exit speed") for row in set(ROWS))
    total = (
        f"{len(lines)} numbers from {sources} sources, {read} of them read there; {launched} are measured exit speeds."
    )
    return "\n".join([*head, *lines, "", total])


if __name__ == "__main__":
    import contextlib
    import io
    import sys
    from pathlib import Path

    from tests.published import inventory

    output = io.StringIO()
    with contextlib.redirect_stdout(output):
        status = pytest.main(["-q", "-p", "no:cacheprovider", str(Path(__file__).parent)])
    print(inventory.table() if status == 0 else output.getvalue())  # noqa: T201
    sys.exit(int(status))
