"""Figures as files: repeatable, well formed, without dates; matplotlib comes only with the first of them."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as Xml
from pathlib import Path

import matplotlib

from tests.page import making


def test_svg_is_repeatable_and_well_formed() -> None:
    for picture in making.plain().pictures():
        first = picture.svg()
        with matplotlib.rc_context({"font.size": 20, "axes.facecolor": "red", "svg.fonttype": "path"}):
            assert picture.svg() == first
        assert Xml.fromstring(first).get("role") == "img"
        assert not re.search(r"20\d\d-\d\d|Matplotlib|<style|var\(", first)


def test_directory_of_figures(tmp_path: Path) -> None:
    written = making.plain().save_figures(tmp_path / "new" / "figures")
    names = [picture.name for picture in making.plain().pictures()]
    assert sorted(path.name for path in written) == sorted(
        f"{name}.{kind}" for name in names for kind in ("svg", "png")
    )
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in written if path.suffix == ".png")
    assert all(Xml.parse(path) for path in written if path.suffix == ".svg")


def test_pictures_show_themselves_in_notebooks() -> None:
    assert making.plain().pictures()[0]._repr_svg_().startswith("<svg")
    shown = making.plain()._repr_html_()
    assert shown.startswith("<iframe srcdoc=")
    assert "<script" not in shown


def test_planning_needs_no_matplotlib() -> None:
    code = "import sys, stager.report.page, stager.api.page; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
