"""Writing and reading of files: atomic, no overwrite of a user's file, links, pipes and devices."""

from __future__ import annotations

import os
import re
import stat
import threading
from pathlib import Path

import pytest

from stager import files
from stager.cli.command import write_new
from stager.errors import InputError
from stager.files import check_place, is_ours, marked_content, read_bytes, write_all, write_whole
from tests.cli.run import ROOT, TEMPLATE, stager

pytestmark = pytest.mark.usefixtures("few_draws")
BALL, THROWS = str(ROOT / "configs" / "seed_ball.toml"), str(ROOT / "configs" / "seed_ball_throws.csv")
CONTENTS = {
    "a.toml": b"x = 1\n", "b.toml": b"#:schema s.json\nx = 1\n", "c.html": b"<!doctype html>\n<p>\n",
    "d.html": b"<p>\n",
    "e.svg": b'<?xml version="1.0"?>\n<svg/>\n', "f.csv": b"a,b\n1,2\n", "g.pdf": b"%PDF-1.4\n%%EOF\n",
    "h.dxf": b"  0\nSECTION\n  2\nHEADER\n",
}  # fmt: skip


def test_existing_file_stops_the_whole_group(tmp_path: Path) -> None:
    (tmp_path / "b").write_text("mine", encoding="utf-8")
    with pytest.raises(InputError, match="exists already"):
        write_new({tmp_path / "a": "new", tmp_path / "b": "new"})
    assert [path.name for path in tmp_path.iterdir()] == ["b"]
    assert (tmp_path / "b").read_text(encoding="utf-8") == "mine"


def test_failed_write_keeps_the_old_file_and_leaves_no_temporary(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_text("old", encoding="utf-8")
    with pytest.raises(UnicodeEncodeError):
        write_whole(path, "\ud800", force=True)
    assert path.read_text(encoding="utf-8") == "old"
    assert list(tmp_path.iterdir()) == [path]


def test_unwritable_path_is_an_input_error(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    with pytest.raises(InputError, match="cannot be written"):
        write_whole(tmp_path / "file" / "below", "text")


@pytest.mark.parametrize(
    ("place", "what"), [("folder", "is a folder"), ("file/page", "cannot be written: not a directory")]
)
def test_output_path_is_checked_without_creating_anything(tmp_path: Path, place: str, what: str) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "file").write_text("", encoding="utf-8")
    before = sorted(tmp_path.rglob("*"))
    check_place(tmp_path / "new" / "page")
    with pytest.raises(InputError, match=what):
        check_place(tmp_path / place)
    assert sorted(tmp_path.rglob("*")) == before


@pytest.mark.parametrize("name", CONTENTS)
def test_edited_file_is_no_longer_overwritten(name: str, tmp_path: Path) -> None:
    path, content = tmp_path / name, CONTENTS[name]
    write_all({path: content})
    written = path.read_bytes()
    assert is_ours(path)
    # Writing content that carries a mark already does not add a second mark.
    write_all({path: written})
    assert path.read_bytes() == written
    assert marked_content(marked_content(content)) == written
    write_all({path: content + b"\n"})
    path.write_bytes(written.replace(b"\n", b"\r\n") if b"DXF" in written else written + b" ")
    with pytest.raises(InputError, match="stager did not write it"):
        write_all({path: content})
    write_all({path: content}, force=True)
    assert path.read_bytes() == written


def test_marked_png_shows_the_same_image(tmp_path: Path) -> None:
    from matplotlib.figure import Figure
    from matplotlib.image import imread

    Figure(figsize=(1, 1)).savefig(tmp_path / "plain.png")
    content = (tmp_path / "plain.png").read_bytes()
    write_all({tmp_path / "a.png": content})
    assert is_ours(tmp_path / "a.png")
    assert (imread(tmp_path / "a.png") == imread(tmp_path / "plain.png")).all()
    write_all({tmp_path / "a.png": content})
    assert not is_ours(tmp_path / "plain.png")


def test_write_through_a_link_keeps_link_owner_and_mode(tmp_path: Path) -> None:
    (tmp_path / "below").mkdir()
    target, link = tmp_path / "below" / "a.toml", tmp_path / "link.toml"
    write_whole(target, "x = 1\n")
    target.chmod(0o640)
    if os.getuid() == 0:
        os.chown(target, 1234, 2345)
    before = target.stat()
    link.symlink_to(target)
    write_whole(link, "x = 2\n")
    after = target.stat()
    assert link.is_symlink()
    assert "x = 2" in target.read_text(encoding="utf-8")
    assert (after.st_uid, after.st_gid, stat.S_IMODE(after.st_mode)) == (before.st_uid, before.st_gid, 0o640)
    dangling = tmp_path / "dangling.toml"
    dangling.symlink_to(tmp_path / "below" / "new.toml")
    write_whole(dangling, "x = 3\n")
    assert (tmp_path / "below" / "new.toml").exists()
    assert dangling.is_symlink()


def test_file_with_a_second_hard_link_is_refused(tmp_path: Path) -> None:
    write_whole(tmp_path / "a.toml", "x = 1\n")
    os.link(tmp_path / "a.toml", tmp_path / "b.toml")
    with pytest.raises(InputError, match="has 2 names"):
        write_whole(tmp_path / "a.toml", "x = 2\n", force=True)


def test_devices_and_pipes_receive_the_plain_bytes(tmp_path: Path, capfdbinary: pytest.CaptureFixture[bytes]) -> None:
    write_whole(Path(os.devnull), "text")
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    found: list[bytes] = []
    reader = threading.Thread(target=lambda: found.append(pipe.read_bytes()))
    reader.start()
    write_whole(pipe, "text" * 100_000)
    reader.join(10)
    assert len(found[0]) > 400_000 - 1
    assert stat.S_ISFIFO(pipe.stat().st_mode)
    if Path("/dev/full").exists():
        with pytest.raises(InputError, match="no space left"):
            write_whole(Path("/dev/full"), "text")


def test_link_loop_and_socket_are_refused(tmp_path: Path) -> None:
    import socket

    (tmp_path / "a").symlink_to(tmp_path / "b")
    (tmp_path / "b").symlink_to(tmp_path / "a")
    with pytest.raises(InputError, match="cannot be written"):
        write_whole(tmp_path / "a", "text")
    with socket.socket(socket.AF_UNIX) as one:
        one.bind(str(tmp_path / "s"))
        with pytest.raises(InputError, match="is a socket"):
            write_whole(tmp_path / "s", "text")


@pytest.mark.parametrize("force", [[], ["--force"]])
@pytest.mark.parametrize(
    "arguments",
    [
        ["fit", "c.toml", "throws.csv", "-o", "throws.csv"],
        ["fit", "c.toml", "throws.csv", "-o", "c.toml"],
        ["fit", "c.toml", "c.draws.csv", "-o", "c.toml.link"],
        ["report", "c.toml", "-o", "c.toml"],
        ["report", "c.toml", "throws.csv", "-o", "throws.csv"],
        ["report", "c.toml", "-o", "link.toml"],
        ["plan", "c.toml", "-o", "./c.toml"],
        ["plan", "c.toml", "-o", "hard.toml"],
        ["plan", "c.toml", "--resume", "c.toml"],
        ["plan", "c.toml", "--resume", "link.toml"],
        ["plan", "c.toml", "--resume", "throws.csv"],
        ["plan", "c.toml", "-o", "new.toml", "--resume", "new.toml"],
        ["worth", "c.toml", "--resume", "c.toml"],
    ],
)  # fmt: skip
def test_output_that_is_also_an_input_is_refused(
    arguments: list[str], force: list[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "c.toml").write_bytes(Path(BALL).read_bytes())
    (tmp_path / "throws.csv").write_bytes(Path(THROWS).read_bytes())
    (tmp_path / "c.draws.csv").write_bytes(Path(THROWS).read_bytes())
    os.link(tmp_path / "c.toml", tmp_path / "hard.toml")
    for name in ("link.toml", "c.toml.link"):
        (tmp_path / name).symlink_to("c.toml")
    monkeypatch.chdir(tmp_path)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    ran = stager(*arguments, *([] if arguments[0] == "worth" else force))
    assert ran.status == 2
    refused = r"\S+: (is read by the same command|is an input of the same command|holds no finished parts)"
    assert re.match(refused, ran.err), ran.err
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_user_file_is_kept_without_force(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "planned.toml"
    path.write_text("mine", encoding="utf-8")
    plan = ("plan", str(TEMPLATE), "-o", "planned.toml", "--draws", "0", "--quiet")
    assert stager(*plan).status == 2
    assert path.read_text(encoding="utf-8") == "mine"
    assert stager(*plan, "--force").status == 0
    assert stager(*plan).status == 0
    path.write_text(path.read_text(encoding="utf-8") + "# and a word of mine\n", encoding="utf-8")
    ran = stager(*plan)
    assert (ran.status, ran.out) == (2, "")
    assert "--force" in ran.err


def test_output_dash_writes_the_file_to_stdout_and_the_screen_to_stderr(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import tomllib

    monkeypatch.chdir(tmp_path)
    ran = stager("plan", str(TEMPLATE), "-o", "-", "--draws", "0", "--quiet")
    assert ran.status == 0
    assert tomllib.loads(ran.out)["stages"]
    assert "stage" in ran.err
    assert list(tmp_path.iterdir()) == []
    ran = stager("plan", str(TEMPLATE), "-o", "-", "--json")
    assert (ran.status, ran.out) == (2, "")


def test_endless_or_silent_input_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(files, "MAX_WAIT", 0.1)
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    with pytest.raises(InputError, match="sends nothing"):
        read_bytes(pipe, 1000)
    with pytest.raises(InputError, match="is longer than"):
        read_bytes(Path("/dev/zero"), 1000)
    (tmp_path / "a").write_bytes(b"1" * 1000)
    assert len(read_bytes(tmp_path / "a", 1000)) == 1000
