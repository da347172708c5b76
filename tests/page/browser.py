"""A headless browser controlled by the DevTools protocol."""

from __future__ import annotations

import base64
import itertools
import json
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from websockets.sync.client import ClientConnection, connect

WAIT = 60.0
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--hide-scrollbars"),
    *("--disable-background-networking", "--disable-component-update", "--disable-extensions", "--disable-sync"),
)


@dataclass
class Tab:
    """A browser tab; `events` holds the events it reported."""

    socket: ClientConnection
    numbers: Iterator[int] = field(default_factory=lambda: itertools.count(1))
    events: list[dict[str, Any]] = field(default_factory=list)

    def ask(self, method: str, **given: Any) -> dict[str, Any]:
        """Send a command and wait for its answer."""
        number = next(self.numbers)
        self.socket.send(json.dumps({"id": number, "method": method, "params": given}))
        while True:
            message = json.loads(self.socket.recv(timeout=WAIT))
            if message.get("id") == number:
                assert "error" not in message, message
                answer: dict[str, Any] = message["result"]
                return answer
            self.events.append(message)

    def wait(self, method: str) -> None:
        """Wait for an event of this name."""
        while not any(event.get("method") == method for event in self.events):
            self.events.append(json.loads(self.socket.recv(timeout=WAIT)))

    def open(self, path: Path, width: int, height: int = 900, scheme: str = "light") -> None:
        """Load a file in a window of this size [px] and colour scheme."""
        self.ask("Page.enable")
        self.ask("Runtime.enable")
        self.ask("Log.enable")
        self.ask("Network.enable")
        self.ask(
            "Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 600
        )
        self.ask("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": scheme}])
        self.events.clear()
        self.ask("Page.navigate", url=path.as_uri())
        self.wait("Page.loadEventFired")

    def run(self, code: str) -> Any:
        """Evaluate an expression in the page; await it if it is a promise."""
        found = self.ask("Runtime.evaluate", expression=code, returnByValue=True, awaitPromise=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def press(self, key: str) -> None:
        """Press and release a key."""
        code = {"ArrowLeft": 37, "ArrowRight": 39, "Tab": 9, "Home": 36, "End": 35}[key]
        for kind in ("keyDown", "keyUp"):
            self.ask("Input.dispatchKeyEvent", type=kind, key=key, code=key, windowsVirtualKeyCode=code)

    def console_messages(self) -> list[str]:
        """Return the messages of the console."""
        self.run("1")
        names = ("Log.entryAdded", "Runtime.exceptionThrown", "Runtime.consoleAPICalled")
        return [json.dumps(event["params"]) for event in self.events if event.get("method") in names]

    def requests(self) -> list[str]:
        """Return the requested addresses."""
        self.run("1")
        sent = (event for event in self.events if event.get("method") == "Network.requestWillBeSent")
        return [event["params"]["request"]["url"] for event in sent]

    def pdf(self) -> bytes:
        """Print the page on A4."""
        return base64.b64decode(self.ask("Page.printToPDF", preferCSSPageSize=True, paperWidth=8.27,
                                         paperHeight=11.69)["data"])  # fmt: skip

    def screenshot(self, *, whole: bool = False) -> bytes:
        """Return a PNG of the window, or of the whole page."""
        return base64.b64decode(self.ask("Page.captureScreenshot", captureBeyondViewport=whole)["data"])


@contextmanager
def browser(profile: Path) -> Iterator[Tab]:
    """Start a browser with an empty profile; yield its tab."""
    program = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
    assert program, "these tests need chromium: apt-get install -y chromium"
    flags = [*FLAGS, "--remote-debugging-port=0", f"--user-data-dir={profile}", "about:blank"]
    running = subprocess.Popen([program, *flags], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        port = _port(profile / "DevToolsActivePort")
        with connect(_target(port), max_size=None) as socket:
            yield Tab(socket)
    finally:
        running.terminate()
        running.wait(timeout=WAIT)


def _port(path: Path) -> str:
    start = time.monotonic()
    while time.monotonic() - start < WAIT:
        lines = path.read_text().splitlines() if path.exists() else []
        if len(lines) > 1:
            return lines[0]
        time.sleep(0.05)
    raise TimeoutError("the browser did not start")


def _target(port: str) -> str:
    from urllib.request import urlopen

    with urlopen(f"http://127.0.0.1:{port}/json/list", timeout=WAIT) as answer:
        pages = [one for one in json.loads(answer.read()) if one["type"] == "page"]
    return str(pages[0]["webSocketDebuggerUrl"])
