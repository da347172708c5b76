"""The bench: one thread takes what is typed and keeps it at once, the main one works out what it means."""

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
from stager.fit.table.book import Book
from stager.fit.table.entry import LASTING, cells, entry_of, measure, parse, row_of
from stager.report import bench as words
from stager.report.terminal import whole

if TYPE_CHECKING:
    from stager.fit.experiment_design import Next
    from stager.fit.table import Throws

GATHERING, LONG = 0.2, 8.0
"""Seconds without a further line before it is worth computing; seconds that a maker likes to wait for it."""
NARROW = 79
"""Letters of a line."""

Watch = Callable[["Throws", Callable[[float], None]], tuple["Next", bool]]


class Superseded(Exception):
    """A further throw has come while this one was being computed."""


@dataclass(kw_only=True)
class BenchSession:
    """A table that is being filled.

    watch: what throws mean (None: only keep them); out: where to talk; plots: draw the curve.
    """

    book: Book
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
        """Take lines from a terminal until it is closed; compute whenever none has come for a moment."""
        hand = threading.Thread(target=self._listen, daemon=True)
        self._prompt()
        hand.start()
        while True:
            self.wake.wait()
            while not self.over and self.wake.is_set():
                self.wake.clear()
                time.sleep(GATHERING if self.watch else 0)
            if self.failed is not None:
                raise self.failed
            if self.over:
                return
            self._compute()
            if not self.wake.is_set():
                self._prompt()

    def take_all(self, lines: TextIO) -> None:
        """Take all lines of a file or pipe, up to quit; then compute once."""
        for line in lines:
            if not self.over:
                self.take(line)
        self.wanted = self.wanted or self.waiting > 0
        self.over = True
        self._compute()

    def take(self, line: str) -> None:
        """One line: a command, or a throw that is kept at once."""
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
                self._say(*words.help_lines(self.book))
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
            throws = self.book.throws()
            throw = 1 + int(max(throws.order, default=0))
            row = row_of(text, self.book)
            if row is None:
                row = cells(parse(text, self.book, entry_of(throws, self.book)), self.book, throw, self.lasting)
            self.book.append(row)
            throws = self.book.throws()
        except (InputError, ValueError) as error:
            self._say(f"not kept: {getattr(error, 'message', error)}", *_hint(error))
            return
        self.new += 1
        self.waiting += 1
        entry = entry_of(throws, self.book)
        if entry is not None:
            doubts = (line for said in words.doubted(throws, self.book) for line in wrap(said, NARROW))
            self._say(words.kept(entry, self.book, throw), *doubts)

    def _look_back(self, name: str, which: str) -> None:
        try:
            if name == "undo":
                self._undo(which)
            else:
                self._say(*words.listing(self.book.throws(), self.book))
        except InputError as error:
            self._say(str(error))

    def _undo(self, which: str) -> None:
        try:
            throw = float(which) if which else None
        except ValueError:
            self._say(f'"{which}" is no number of a throw', "hint: undo, or undo 12; show tells the numbers")
            return
        line = self.book.undo(throw)
        none = "nothing to undo" if throw is None else f"there is no throw {which}"
        self._say(none if line is None else f"taken out: {line}")
        self.new -= line is not None
        self.waiting += line is not None

    def _set(self, name: str, text: str) -> None:
        head = next((head for head in self.book.heads if head.name == name), None)
        try:
            if head is None:
                raise ValueError(f"the table has no column {name}")
            if head.unit is not None and text:
                text = measure(text, head, self.book)
        except ValueError as error:
            self._say(f"not set: {error}")
            return
        self.lasting[name] = text
        self._say(f"{head.text} is {text or 'left empty'} from now on")

    def _listen(self) -> None:
        """Until the terminal closes; what fails here is raised where errors are caught."""
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
        """Curve, grip limit and next setting, where enough throws are waiting for it."""
        if self.watch is None or not (self.wanted or self.waiting >= self.every):
            return
        began, before = time.monotonic(), self.waiting
        if self.took > 1:
            self._say(f"working it out, about {self.took:.0f} s ...")
        try:
            throws = self.book.throws()
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

        screen = words.screen(found, fitted, throws, self.book)
        if self.plots:
            console(self.out).print(whole(screen))
        else:
            self._say(screen.headline, *screen.notes)

    def _pace(self, took: float) -> None:
        self.took = took
        every = max(1, math.ceil(took / LONG))
        if every > self.every:
            self._say(f"That took {took:.0f} s: from now on after every {every} throws, or when you enter fit.")
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
    """Lines as soon as each is complete, without Python's own buffer, which a daemon thread may not hold at exit."""
    rest = b""
    while chunk := _read(handle):
        *done, rest = (rest + chunk).split(b"\n")
        for line in done:
            yield line.decode("utf-8", "replace")
    if rest:
        yield rest.decode("utf-8", "replace")


def _read(handle: int) -> bytes:
    """What has come; nothing once the terminal is gone."""
    try:
        return os.read(handle, 65536)
    except OSError:
        return b""
