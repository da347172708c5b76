"""`check` of a throw that jams: limits that depend on its exit are not judged."""

from __future__ import annotations

import json
import re
from pathlib import Path

from tests.cli.run import TEMPLATE, stager


def test_limits_of_the_exit_are_not_judged_after_a_jam(tmp_path: Path) -> None:
    text = TEMPLATE.read_text(encoding="utf-8")
    path = tmp_path / "jam.toml"
    path.write_text(re.sub(r"^(static|sliding) = .*", r"\1 = 0.02", text, flags=re.MULTILINE), encoding="utf-8")
    ran = stager("check", str(path), "--speed", "10", "--json")
    assert ran.status == 1
    document = json.loads(ran.out)
    rows = {row["name"]: row for row in document["limits"]}
    assert document["kept"] is False
    assert rows["exit_energy"]["used"] is rows["exit_energy"]["kept"] is rows["exit_energy"]["remedy"] is None
    assert (rows["exit_energy"]["allowed"], rows["length"]["kept"]) == (8.0, True)
    screen = stager("check", str(path), "--speed", "10").out
    assert not re.search(r"^exit energy .* kept", screen, re.MULTILINE)
    assert "Not judged, as the throw jams: exit energy and grip margin." in screen
