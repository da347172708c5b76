"""Reading and writing of files; the only module that writes them.

Files are written whole or not at all, and never over a file that a person wrote: `write_all` writes next to the target,
syncs and renames; links are followed, owner and mode stay. Every file has a mark with a checksum, which shows that this
program wrote it and that it was not changed since. `append` adds a line that counts only once it is on disk.
`read_bytes` reads up to a given size, with a time limit.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import select
import socket
import stat
import struct
import sys
import time
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path, PurePosixPath, PureWindowsPath
from typing import Any

from stager.errors import InputError

fcntl: Any
try:
    import fcntl
except ImportError:  # pragma: no cover - Windows has no such locks
    fcntl = None

STDOUT = ("-", "/dev/stdout")
"""Paths that stand for standard output."""
MEGABYTE = 1_000_000
"""Bytes read at a time."""
MAX_WAIT = 10.0
"""Longest wait for a pipe or device to send something [s]."""
_DAY = 86400.0
"""Age at which temporary files of other hosts count as left behind [s]."""
_WORDS = "Written by stager, which replaces this file only while it is unchanged"
_MARK = re.compile(
    rb"# Written by stager, which [a-z ]+ \((?P<line>[0-9a-f]{16})\)\n"
    rb"|<!-- Written by stager, which [a-z ]+ \((?P<markup>[0-9a-f]{16})\) -->\n"
    rb"|999\nWritten by stager, which [a-z ]+ \((?P<dxf>[0-9a-f]{16})\)\n"
    rb"|% Written by stager, which [a-z ]+ \((?P<pdf>[0-9a-f]{16})\)\n"
    rb"|....tEXtComment\0Written by stager, which [a-z ]+ \((?P<png>[0-9a-f]{16})\)....",
    re.DOTALL,
)
_NEAR = 2000
"""Bytes at either end of a file within which its mark is searched."""
_PNG, _AFTER_IHDR = b"\x89PNG\r\n\x1a\n", 33
_HARMLESS = {errno.EINVAL, errno.ENOTSUP, errno.EACCES, errno.EPERM, errno.EISDIR, errno.EBADF}
"""Errors of systems that cannot sync a folder."""


_WRITTEN: list[Path] = []
"""Files written since `forget_written`."""


def written() -> list[Path]:
    """Return the files that were written since `forget_written`."""
    return list(dict.fromkeys(_WRITTEN))


def forget_written() -> None:
    """Clear the list of files that were written."""
    _WRITTEN.clear()


@dataclass(slots=True)
class _Staged:
    """A file being written: its target, the temporary file, and a second name of the old file, if any."""

    target: Path
    temporary: Path
    existed: bool
    backup: Path | None = None
    placed: bool = False


# ---------------------------------------------------------------------------------------------------------------------
# writing


def write_whole(path: Path, text: str, *, force: bool = False) -> None:
    """Write a text file, whole or not at all.

    force: replace a file that this program did not write.

    Raises
    ------
    InputError
        Where it cannot be written, or would replace a file that a person wrote.
    """
    write_all({path: text.encode()}, force=force)


def write_all(contents: Mapping[Path, bytes], *, force: bool = False) -> None:
    """Write several files, all of them or none; raises as `write_whole`.

    All are on disk before the first is renamed. A kill between two renames leaves complete files, but not all of them.
    """
    marked = {path: marked_content(content) for path, content in contents.items()}
    for path in marked:
        check_place(path, force=force)
    replace_all(marked)


def replace_all(contents: Mapping[Path, bytes]) -> None:
    """Replace files, whole, and all or none, whoever wrote them and without a mark.

    Raises
    ------
    InputError
        Where that is not possible; then nothing is changed.
    """
    staged: list[_Staged] = []
    path = Path()
    try:
        targets = {path: _target(path) for path in contents if not is_stream(path)}
        for path, target in targets.items():
            target.parent.mkdir(parents=True, exist_ok=True)
            clear_stale(target.parent)
            if target.exists():
                _check_replaceable(path, target)
        for path, target in targets.items():
            staged.append(_stage(target, contents[path]))
        for path in contents.keys() - targets.keys():
            _write_stream(path, contents[path])
        for one in staged:
            path = one.target
            _place(one)
        for folder in dict.fromkeys(one.target.parent for one in staged):
            path = folder
            _sync_folder(folder)
        _WRITTEN.extend(contents)
    except BaseException as error:
        for one in reversed(staged):
            _take_back(one)
        if isinstance(error, OSError):
            raise _unwritable(path, error) from error
        raise
    finally:
        for one in staged:
            for leftover in (one.temporary, one.backup):
                with suppress(OSError):
                    if leftover is not None:
                        leftover.unlink(missing_ok=True)


def check_place(path: Path, *, inputs: Sequence[Path] = (), force: bool = False) -> None:
    """Check that a file can be written, before long work.

    inputs: files that the same command reads, which are never replaced; force: as in `write_whole`.

    Raises
    ------
    InputError
        Where it cannot be written, is an input, or was written by a person.
    """
    if is_stream(path):
        return
    for other in inputs:
        if _same(path, other):
            message = "is read by the same command, and would be replaced by its output"
            raise InputError(message, where=str(path), hint="name another file for the output")
    try:
        target = _target(path)
        there = next(folder for folder in target.parents if folder.exists())
        # A killed run may have left a second name of the target, which would look like a hard link.
        clear_stale(there)
        if target.exists():
            _check_replaceable(path, target)
            if not force:
                _check_ours(path, target)
        handle, temporary = _temporary(there)
        try:
            os.close(handle)
        finally:
            temporary.unlink()
    except OSError as error:
        raise _unwritable(path, error) from error


def _check_replaceable(path: Path, target: Path) -> None:
    """Raise InputError where `target` is read-only or has several names."""
    found = target.stat()
    if not os.access(target, os.W_OK):
        raise InputError("is read-only, and is left as it is", where=str(path), hint="choose another name")
    if found.st_nlink > 1:
        message = f"has {found.st_nlink} names (hard links), which replacing it would separate"
        raise InputError(message, where=str(path), hint="choose another name")


def _check_ours(path: Path, target: Path) -> None:
    if target.stat().st_size and not is_ours(target):
        message = "exists already, and stager did not write it, or it was changed since; it is left as it is"
        raise InputError(message, where=str(path), hint="choose another name, or give --force to replace it")


def is_stream(path: Path) -> bool:
    """Return whether a path is standard output, a pipe or a character device.

    Raises InputError for a folder, block device or socket.
    """
    if str(path) in STDOUT:
        return True
    try:
        mode = path.stat().st_mode
    except (OSError, ValueError) as error:
        if isinstance(error, FileNotFoundError):
            return False
        raise _unwritable(path, error) from error
    if stat.S_ISDIR(mode):
        raise InputError("is a folder", where=str(path), hint="name a file in it")
    if stat.S_ISBLK(mode) or stat.S_ISSOCK(mode):
        kind = "block device" if stat.S_ISBLK(mode) else "socket"
        raise InputError(f"is a {kind}, not a place for a file", where=str(path), hint="name a file")
    return not stat.S_ISREG(mode)


def _write_stream(path: Path, content: bytes) -> None:
    if str(path) in STDOUT:
        sys.stdout.flush()
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return
    handle = os.open(path, os.O_WRONLY)
    try:
        _write_fully(handle, content)
    finally:
        os.close(handle)


def _target(path: Path) -> Path:
    """Return the file that `path` is or links to."""
    return Path(os.path.realpath(path))


def _stage(target: Path, content: bytes) -> _Staged:
    """Write the content to a temporary file next to its target, with the target's owner and mode, and sync it."""
    handle, temporary = _temporary(target.parent)
    existed = target.exists()
    try:
        try:
            _write_fully(handle, content)
            if existed:
                _copy_owner(handle, target)
            os.fsync(handle)
        finally:
            os.close(handle)
    except BaseException:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)
        raise
    return _Staged(target, temporary, existed)


def _copy_owner(handle: int, target: Path) -> None:
    old, new = target.stat(), os.fstat(handle)
    if (old.st_uid, old.st_gid) != (new.st_uid, new.st_gid):
        os.chown(handle, old.st_uid, old.st_gid)
    os.chmod(handle, stat.S_IMODE(old.st_mode))


def _place(one: _Staged) -> None:
    if one.existed:
        backup = one.target.parent / _temporary_name()
        # Without hard links a replaced file cannot be restored.
        with suppress(OSError):
            os.link(one.target, backup)
            one.backup = backup
    os.replace(one.temporary, one.target)  # noqa: PTH105 - tests make os.replace fail
    one.placed = True


def _take_back(one: _Staged) -> None:
    with suppress(OSError):
        if one.placed and one.backup is not None:
            os.replace(one.backup, one.target)  # noqa: PTH105
            one.backup = None
        elif one.placed and not one.existed:
            one.target.unlink(missing_ok=True)


def _write_fully(handle: int, content: bytes) -> None:
    """Write all bytes: os.write may write only a part of them."""
    left = memoryview(content)
    while left:
        count = os.write(handle, left)
        if count == 0:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        left = left[count:]


def make_folder(path: Path) -> None:
    """Make the folder of a file. Raises InputError where that is not possible."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise _unwritable(path, error) from error


def _sync_folder(folder: Path) -> None:
    """Sync a folder, where the system can."""
    try:
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as error:
        if error.errno not in _HARMLESS:
            raise


def _unwritable(path: Path, error: Exception) -> InputError:
    reason = getattr(error, "strerror", None) or str(error)
    return InputError(f"cannot be written: {reason.lower()}", where=str(path))


def _same(path: Path, other: Path) -> bool:
    try:
        return path.samefile(other)
    except (OSError, ValueError):
        return _target(path) == _target(other)


# ---------------------------------------------------------------------------------------------------------------------
# the mark


def marked_content(content: bytes) -> bytes:
    """Return a file's content with the mark for `is_ours`, in place of an old one.

    The mark is a comment in text, a text chunk in PNG; JSON, which has no comments, stays unmarked.
    """
    plain = _without_mark(content)
    words = f"{_WORDS} ({_digest(plain)})".encode()
    if plain.startswith(_PNG):
        body = b"tEXtComment\0" + words
        chunk = struct.pack(">I", len(body) - 4) + body + struct.pack(">I", zlib.crc32(body))
        return plain[:_AFTER_IHDR] + chunk + plain[_AFTER_IHDR:]
    if plain.startswith(b"%PDF"):
        return plain + b"% " + words + b"\n"
    if plain.startswith(b"{"):
        return plain
    if plain.startswith(b"<"):
        first = plain.find(b">\n") + 2
        at = first if plain[:2] in (b"<!", b"<?") else 0
        return plain[:at] + b"<!-- " + words + b" -->\n" + plain[at:]
    if plain.lstrip().startswith((b"0\nSECTION", b"999\n")):
        return b"999\n" + words + b"\n" + plain
    # Editors look for the schema of a TOML file in its first line.
    at = plain.find(b"\n") + 1 if plain.startswith(b"#:schema") else 0
    return plain[:at] + b"# " + words + b"\n" + plain[at:]


def is_ours(path: Path) -> bool:
    """Return whether this program wrote a file that was not changed since."""
    content = path.read_bytes()
    found = _find_mark(content)
    return found is not None and _digest(_without_mark(content)).encode() in found.groups()


def _find_mark(content: bytes) -> re.Match[bytes] | None:
    return _MARK.search(content, 0, _NEAR) or _MARK.search(content, max(0, len(content) - _NEAR))


def _without_mark(content: bytes) -> bytes:
    found = _find_mark(content)
    return content if found is None else content[: found.start()] + content[found.end() :]


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()[:16]


# ---------------------------------------------------------------------------------------------------------------------
# temporary files and locks


def _host() -> str:
    return hashlib.sha256(socket.gethostname().encode()).hexdigest()[:8]


def _temporary_name() -> str:
    return f".stager-{_host()}-{os.getpid()}-{os.urandom(4).hex()}.tmp"


_TEMPORARY = re.compile(r"\.stager-([0-9a-f]{8})-(\d+)-[0-9a-f]{8}\.tmp")
_LOCK = re.compile(r"\.stager-[0-9a-f]{16}\.lock")


def _temporary(folder: Path) -> tuple[int, Path]:
    """Return handle and path of a new temporary file in a folder, with default permissions."""
    path = folder / _temporary_name()
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0), 0o666), path


def clear_stale(folder: Path) -> None:
    """Remove temporary files and locks that killed runs left in a folder."""
    with suppress(OSError), os.scandir(folder) as entries:
        for entry in entries:
            if (found := _TEMPORARY.fullmatch(entry.name)) is not None:
                with suppress(OSError):
                    if _is_stale(found[1], int(found[2]), entry.stat(follow_symlinks=False).st_mtime):
                        Path(entry.path).unlink()
            elif _LOCK.fullmatch(entry.name):
                with suppress(OSError), _held(Path(entry.path)) as holder:
                    if holder is None:
                        Path(entry.path).unlink()


def _is_stale(host: str, pid: int, changed: float) -> bool:
    if host == _host() and os.name == "posix":
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        except OSError:
            pass
        return False
    return time.time() - changed > _DAY


@contextmanager
def locked(path: Path) -> Iterator[None]:
    """Lock a file for this process, whatever link names it; without locks of the system do nothing.

    Raises
    ------
    InputError
        Where another process holds the lock; the message names it.
    """
    target = _target(path)
    name = target.parent / f".stager-{hashlib.sha256(os.fsencode(target.name)).hexdigest()[:16]}.lock"
    with _held(name) as holder:
        if holder is not None:
            message = f"is being written by another stager ({holder}), and is left to it"
            raise InputError(message, where=str(path), hint="end that one first, or use another table")
        try:
            yield
        finally:
            with suppress(OSError):
                name.unlink(missing_ok=True)


@contextmanager
def _held(name: Path) -> Iterator[str | None]:
    """Hold a lock file; yield its other holder, or None where this process has it or the system has no locks."""
    if fcntl is None:  # pragma: no cover
        yield None
        return
    handle = -1
    try:
        while True:
            try:
                handle = os.open(name, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC | os.O_NOFOLLOW, 0o666)
                fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except BlockingIOError:
                yield os.read(handle, 200).decode("utf-8", "replace").strip() or "just beginning"
                return
            except OSError:
                yield None
                return
            # The previous holder may have removed the file meanwhile.
            if _still_named(handle, name):
                break
            _close(handle)
            handle = -1
        with suppress(OSError):
            os.ftruncate(handle, 0)
            os.write(handle, f"process {os.getpid()} on {socket.gethostname()} since {time.strftime('%H:%M')}".encode())
        yield None
    finally:
        if handle >= 0:
            _close(handle)


def _still_named(handle: int, name: Path) -> bool:
    try:
        named, opened = name.stat(), os.fstat(handle)
    except OSError:
        return False
    return (named.st_dev, named.st_ino) == (opened.st_dev, opened.st_ino)


# ---------------------------------------------------------------------------------------------------------------------
# adding a line


def append(path: Path, line: str, check: Callable[[str], object] | None = None) -> None:
    """Add a line to a text file, complete and synced to disk, or not at all.

    Its first byte is `#` until the rest is on disk and read back, so that an incomplete line is a comment.

    Parameters
    ----------
    path : Path
    line : str
        Without its line end.
    check : callable, optional
        Called with the new text of the file; where it raises, nothing is written.

    Raises
    ------
    InputError
        Where it cannot be written; then the file is unchanged.
    """
    try:
        handle = os.open(path, os.O_RDWR | os.O_APPEND | getattr(os, "O_CLOEXEC", 0))
    except OSError as error:
        raise _unwritable(path, error) from error
    try:
        size = os.fstat(handle).st_size
        between = "" if not size or os.pread(handle, 1, size - 1) == b"\n" else "\n"
        if check is not None:
            before = _read_from(handle, 0)
            size = len(before)
            check(f"{before.decode('utf-8-sig')}{between}{line}\n")
        added = f"{between}{line}\n".encode()
        try:
            _append(handle, path, added, size, len(between))
        except BaseException:
            _cut(handle, size, len(added))
            raise
    except OSError as error:
        raise _unwritable(path, error) from error
    finally:
        _close(handle)


def _append(handle: int, path: Path, added: bytes, size: int, first: int) -> None:
    """Write the line as a comment, sync, read back, then write its first byte, at `first`, and sync again."""
    pending = added[:first] + b"#" + added[first + 1 :]
    _write_fully(handle, pending)
    os.fsync(handle)
    if _read_from(handle, size) != pending or not _still_named(handle, path):
        raise OSError(errno.EIO, "what was written does not read back")
    # A handle in append mode cannot write at an offset.
    exact = os.open(path, os.O_WRONLY)
    try:
        if os.pwrite(exact, added[first : first + 1], size + first) != 1:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        os.fsync(exact)
    finally:
        _close(exact)
    if _read_from(handle, size) != added or not _still_named(handle, path):
        raise OSError(errno.EIO, "what was written does not read back")


def _cut(handle: int, size: int, added: int) -> None:
    """Remove the added bytes, unless another process has added more."""
    with suppress(OSError):
        if os.fstat(handle).st_size <= size + added:
            os.ftruncate(handle, size)
            os.fsync(handle)


def _close(handle: int) -> None:
    """Close a file whose content was synced or only read, ignoring errors."""
    with suppress(OSError):
        os.close(handle)


def _read_from(handle: int, offset: int) -> bytes:
    parts = []
    while part := os.pread(handle, MEGABYTE, offset):
        parts.append(part)
        offset += len(part)
    return b"".join(parts)


# ---------------------------------------------------------------------------------------------------------------------
# reading


def read_bytes(path: Path, most: int) -> bytes:
    """Return the content of a file, pipe or device; most: greatest size [bytes].

    Raises
    ------
    InputError
        Where it is longer, or a pipe or device sends nothing for `MAX_WAIT`.
    OSError, ValueError
        Where it cannot be read.
    """
    handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    try:
        kind = os.fstat(handle).st_mode
        if stat.S_ISDIR(kind):
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        parts: list[bytes] = []
        size = 0
        while size <= most:
            if not stat.S_ISREG(kind) and not select.select([handle], [], [], MAX_WAIT)[0]:
                raise InputError(f"sends nothing for {MAX_WAIT:.0f} s", where=str(path), hint="name a file")
            part = os.read(handle, min(MEGABYTE, most + 1 - size))
            if not part:
                return b"".join(parts)
            parts.append(part)
            size += len(part)
    finally:
        _close(handle)
    raise InputError(f"is longer than {most / 1000:g} kB", where=str(path), hint="no such file needs to be longer")


def read_beside(path: Path, name: str, most: int) -> bytes:
    """Return the content of the file `name` in the folder of `path`; most: greatest size [bytes].

    Raises ValueError for other places, as names come from files that may be of a stranger, and what `read_bytes` does.
    """
    plain = {PurePosixPath(name).name, PureWindowsPath(name).name} == {name} and name not in (".", "..")
    found = path.parent / name
    if not plain or found.resolve().parent != path.parent.resolve():
        raise ValueError("it must be the name of a file next to this one")
    if found.exists() and not found.is_file():
        raise ValueError("it is not a file")
    return read_bytes(found, most)
