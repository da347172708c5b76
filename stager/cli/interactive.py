"""The session of `stager bench`: one thread reads and saves what is typed, the main thread fits and shows."""

from __future__ import annotations

import math
import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from textwrap import wrap
from typing import TYPE_CHECKING, TextIO

from stager.errors import InputError, printable
from stager.fit.table.writer import LASTING, TableWriter, cells, entry_of, measure, parse, row_of
from stager.report import bench as words
from stager.report.terminal import render_screen

if TYPE_CHECKING:
    from stager.fit.experiment_design import Next
    from stager.fit.table import Throws

QUIET = 0.2
"""Time without a further line before a fit is started [s]."""
PATIENCE = 8.0
"""A fit that takes longer runs after several throws only [s]."""
WIDTH = 79
"""Width of a line of text [characters]."""

Watch = Callable[["Throws", Callable[[float], None]], tuple["Next", bool]]


class Superseded(Exception):
    """A further line was entered during a fit, which is given up."""


@dataclass(kw_only=True)
class BenchSession:
    """Throws being entered into a table.

    watch: fits the throws and returns the next setting (None: only save them); out: stream for messages; plots: draw
    the curve; new: throws entered; watched: last result of `watch`; lasting: cells for all throws from now on; wake:
    a line was read; over: input has ended; wanted: a fit was asked for; waiting: throws since the last fit; every:
    throws from one fit to the next; took: time of the last fit [s]; failed: error of the reading thread.
    """

    writer: TableWriter
    watch: Watch | None
    out: TextIO
    plots: bool = True
    new: int = 0
    watched: tuple[Next, bool] | None = None
    lasting: dict[str, str] = field(default_factory=dict)
    wake: threading.Event = field(default_factory=threading.Event)
    over: bool = False
    wanted: bool = False
    waiting: int = 0
    every: int = 1
    took: float = 0.0
    failed: Exception | None = None

    def talk(self) -> None:
        """Read lines from a terminal until it is closed; fit whenever none has come for a moment."""
        reader = threading.Thread(target=self._listen, daemon=True)
        self._prompt()
        reader.start()
        while True:
            self.wake.wait()
            while not self.over and self.wake.is_set():
                self.wake.clear()
                time.sleep(QUIET if self.watch else 0)
            if self.failed is not None:
                raise self.failed
            if self.over:
                return
            self._compute()
            if not self.wake.is_set():
                self._prompt()

    def take_all(self, lines: TextIO) -> None:
        """Read all lines of a file or pipe, up to quit; then fit once."""
        for line in lines:
            if not self.over:
                self.take(line)
        self.wanted = self.wanted or self.waiting > 0
        self.over = True
        self._compute()

    def take(self, line: str) -> None:
        """Carry out a line: a command, or a throw that is saved at once."""
        text = line.strip()
        if printable(text.replace("\t", " ")) != text.replace("\t", " "):
            self._say("not kept: it holds a control character", "hint: type it anew")
            return
        name, _, rest = text.partition(" ")
        match name.lower():
            case "":
                return
            case "quit" | "exit" | "q":
                self.over = True
            case "help" | "?":
                self._say(*words.help_lines(self.writer))
            case "undo" | "show":
                self._look_back(name.lower(), rest.strip())
            case "fit":
                self.wanted = True
            case lasting if lasting in LASTING:
                self._set(lasting, rest.strip())
            case _:
                self._keep(text)

    def _keep(self, text: str) -> None:
        try:
            throws = self.writer.throws()
            throw = 1 + int(max(throws.order, default=0))
            row = row_of(text, self.writer)
            if row is None:
                row = cells(parse(text, self.writer, entry_of(throws, self.writer)), self.writer, throw, self.lasting)
            self.writer.append(row)
        except (InputError, ValueError) as error:
            self._say(f"not kept: {getattr(error, 'message', error)}", *_hint(error))
            return
        self.new += 1
        self.waiting += 1
        try:
            throws = self.writer.throws()
        except InputError as error:
            self._say(f"kept {throw}, but now {getattr(error, 'message', error)}", *_hint(error))
            return
        entry = entry_of(throws, self.writer)
        if entry is not None:
            doubts = (line for sentence in words.implausible(throws, self.writer) for line in wrap(sentence, WIDTH))
            self._say(words.saved(entry, self.writer, throw), *doubts)

    def _look_back(self, name: str, which: str) -> None:
        try:
            if name == "undo":
                self._undo(which)
            else:
                self._say(*words.last_throws(self.writer.throws(), self.writer))
        except InputError as error:
            self._say(str(error))

    def _undo(self, which: str) -> None:
        try:
            throw = float(which) if which else None
        except ValueError:
            self._say(f'"{which}" is not the number of a throw', "hint: undo, or undo 12; show lists the numbers")
            return
        line = self.writer.undo(throw)
        none = "nothing to undo" if throw is None else f"there is no throw {which}"
        self._say(none if line is None else f"removed: {line}")
        self.new -= line is not None
        self.waiting += line is not None

    def _set(self, name: str, text: str) -> None:
        head = next((head for head in self.writer.heads if head.name == name), None)
        try:
            if head is None:
                raise ValueError(f"the table has no column {name}")
            if head.unit is not None and text:
                text = measure(text, head, self.writer)
        except ValueError as error:
            self._say(f"not set: {error}")
            return
        self.lasting[name] = text
        self._say(f"{head.text} is {text or 'left empty'} from now on")

    def _listen(self) -> None:
        """Read lines until the terminal closes; an error here is raised in the main thread."""
        try:
            for line in _lines_of(sys.stdin.fileno()):
                self.take(line)
                if self.over:
                    break
                self.wake.set()
        except Exception as error:
            self.failed = error
        finally:
            self.over = True
            self.wake.set()

    def _compute(self) -> None:
        """Fit and show curve, grip limit and next setting, where enough throws are waiting."""
        if self.watch is None or not (self.wanted or self.waiting >= self.every):
            return
        began, before = time.monotonic(), self.waiting
        if self.took > 1:
            self._say(f"fitting, about {self.took:.0f} s ...")
        try:
            throws = self.writer.throws()
            found = self.watch(throws, self._check)
            self._check(1.0)
        except Superseded:
            return
        except InputError as error:
            self._say(str(error))
            return
        self.watched, self.wanted, self.waiting = found, False, self.waiting - before
        self._show(*found, throws)
        if not self.over:
            self._pace(time.monotonic() - began)

    def _check(self, share: float) -> None:
        if self.wake.is_set():
            raise Superseded

    def _show(self, found: Next, fitted: bool, throws: Throws) -> None:
        from stager.cli.session import console

        screen = words.screen(found, fitted, throws, self.writer)
        if self.plots:
            console(self.out).print(render_screen(screen))
        else:
            self._say(screen.headline, *screen.notes)

    def _pace(self, took: float) -> None:
        self.took = took
        every = max(1, math.ceil(took / PATIENCE))
        if every > self.every:
            self._say(f"That took {took:.0f} s: from now on it fits after every {every} throws, or when you enter fit.")
        self.every = max(self.every, every)

    def _prompt(self) -> None:
        self.out.write("> ")
        self.out.flush()

    def _say(self, *lines: str) -> None:
        self.out.write("".join(f"{printable(line)}\n" for line in lines))
        self.out.flush()


def _hint(error: Exception) -> list[str]:
    hint = getattr(error, "hint", "")
    return [f"hint: {hint}"] if hint else []


def _lines_of(handle: int) -> Iterator[str]:
    """Yield lines as soon as each is complete, without Python's buffer, which a daemon thread may not hold at exit."""
    rest = b""
    while chunk := _read(handle):
        *done, rest = (rest + chunk).split(b"\n")
        for line in done:
            yield line.decode("utf-8", "replace")
    if rest:
        yield rest.decode("utf-8", "replace")


def _read(handle: int) -> bytes:
    """Return the bytes that have come; nothing once the terminal is gone."""
    try:
        return os.read(handle, 65536)
    except OSError:
        return b""
