"""Figures as files: reproducible, well formed, without dates; matplotlib is imported only for the first one."""

from __future__ import annotations

import re
import subprocess
import sys
import xml.etree.ElementTree as Xml
from pathlib import Path

import matplotlib

from tests.page import reports


def test_svg_is_reproducible_and_well_formed() -> None:
    for picture in reports.without_throws().pictures():
        first = picture.svg()
        with matplotlib.rc_context({"font.size": 20, "axes.facecolor": "red", "svg.fonttype": "path"}):
            assert picture.svg() == first
        assert Xml.fromstring(first).get("role") == "img"
        assert not re.search(r"20\d\d-\d\d|Matplotlib|<style|var\(", first)


def test_figures_are_written_as_svg_and_png(tmp_path: Path) -> None:
    written = reports.without_throws().save_figures(tmp_path / "new" / "figures")
    names = [picture.name for picture in reports.without_throws().pictures()]
    assert sorted(path.name for path in written) == sorted(
        f"{name}.{kind}" for name in names for kind in ("svg", "png")
    )
    assert all(path.read_bytes().startswith(b"\x89PNG") for path in written if path.suffix == ".png")
    assert all(Xml.parse(path) for path in written if path.suffix == ".svg")


def test_pictures_and_report_have_notebook_html() -> None:
    assert reports.without_throws().pictures()[0]._repr_svg_().startswith("<svg")
    shown = reports.without_throws()._repr_html_()
    assert shown.startswith("<iframe srcdoc=")
    assert "<script" not in shown


def test_planning_does_not_import_matplotlib() -> None:
    code = "import sys, stager.report.page, stager.api.documents; print('matplotlib' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
