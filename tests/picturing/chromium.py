"""A headless Chromium driven over its debugging pipe, with nothing but the standard library.

The protocol (JSON messages, each ended by a NUL, on file descriptors 3 and 4) is the Chrome
DevTools Protocol, https://chromedevtools.github.io/devtools-protocol/. The browser is Debian's
package ``chromium``; a machine without it fails these tests on purpose.
"""

from __future__ import annotations

import base64
import fcntl
import json
import os
import selectors
import shutil
import subprocess
import time
from typing import TYPE_CHECKING, Any, Self

if TYPE_CHECKING:
    from pathlib import Path
    from types import TracebackType

FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--remote-debugging-pipe",
)
READ_FD, WRITE_FD = 3, 4
FIRST_FREE_FD = 10
WAIT_S = 60.0


class Chromium:
    """A running browser; leaving the ``with`` block ends it.

    Parameters
    ----------
    profile : Path
        Folder for the browser's own files.
    """

    def __init__(self, profile: Path) -> None:
        program = shutil.which("chromium")
        assert program is not None, "Install Debian's package 'chromium' to run this test."
        to_browser, self._write = map(_high, os.pipe())
        self._read, from_browser = map(_high, os.pipe())

        # The shell puts the two pipes where the browser looks for them.
        place = f'exec "$@" {READ_FD}<&{to_browser} {WRITE_FD}>&{from_browser}'
        self._process = subprocess.Popen(
            ["bash", "-c", place, "bash", program, *FLAGS, f"--user-data-dir={profile}"],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            pass_fds=(to_browser, from_browser),
        )
        os.close(to_browser)
        os.close(from_browser)
        self._n_sent = 0
        self._rest = b""
        self.events: list[dict[str, Any]] = []

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        _kind: type[BaseException] | None,
        _error: BaseException | None,
        _trace: TracebackType | None,
    ) -> None:
        try:
            self.send("Browser.close")
            self._process.wait(WAIT_S)
        finally:
            if self._process.poll() is None:
                self._process.kill()
                self._process.wait()
            os.close(self._write)
            os.close(self._read)

    def send(self, method: str, session: str | None = None, **params: Any) -> dict[str, Any]:
        """Send a command and return its answer; events on the way are kept in `events`."""
        self._n_sent += 1
        message: dict[str, Any] = {"id": self._n_sent, "method": method, "params": params}
        if session is not None:
            message["sessionId"] = session
        os.write(self._write, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._receive()
            if answer.get("id") == self._n_sent:
                assert "error" not in answer, answer["error"]
                result: dict[str, Any] = answer["result"]
                return result
            self.events.append(answer)

    def wait_for(self, method: str) -> dict[str, Any]:
        """Return the next event of that name, the kept ones first."""
        for place, event in enumerate(self.events):
            if event.get("method") == method:
                return self.events.pop(place)
        while True:
            event = self._receive()
            if event.get("method") == method:
                return event
            self.events.append(event)

    def _receive(self) -> dict[str, Any]:
        deadline = time.monotonic() + WAIT_S
        with selectors.DefaultSelector() as selector:
            selector.register(self._read, selectors.EVENT_READ)
            while b"\0" not in self._rest:
                assert selector.select(deadline - time.monotonic()), "Chromium does not answer."
                piece = os.read(self._read, 1 << 16)
                assert piece, "Chromium has gone."
                self._rest += piece
        message, _, self._rest = self._rest.partition(b"\0")
        event: dict[str, Any] = json.loads(message)
        return event

    def open(self, path: Path, *, width_px: int = 1280, height_px: int = 900) -> Tab:
        """Open a file in a tab of that size and wait until it is loaded."""
        target = self.send("Target.createTarget", url="about:blank")["targetId"]
        session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        tab = Tab(self, session)
        for domain in ("Page", "Runtime", "Log", "Network"):
            tab.send(f"{domain}.enable")
        tab.resize(width_px, height_px)
        self.events.clear()
        tab.send("Page.navigate", url=path.as_uri())
        self.wait_for("Page.loadEventFired")
        return tab


class Tab:
    """One page in the browser."""

    def __init__(self, browser: Chromium, session: str) -> None:
        self._browser = browser
        self._session = session

    def send(self, method: str, **params: Any) -> dict[str, Any]:
        """Send a command to this tab."""
        return self._browser.send(method, self._session, **params)

    def resize(self, width_px: int, height_px: int) -> None:
        """Give the page a window of that size; below 600 px that of a phone."""
        self.send(
            "Emulation.setDeviceMetricsOverride",
            width=width_px,
            height=height_px,
            deviceScaleFactor=1,
            mobile=width_px < 600,
        )

    def value_of(self, script: str) -> Any:
        """Return what an expression evaluates to."""
        answer = self.send("Runtime.evaluate", expression=script, returnByValue=True)
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def click(self, selector: str) -> None:
        """Press and release the mouse in the middle of an element."""
        self.value_of(f"document.querySelector({selector!r}).scrollIntoView({{block: 'center'}})")
        place = self.value_of(
            f"(() => {{ const b = document.querySelector({selector!r}).getBoundingClientRect();"
            " return [b.left + b.width / 2, b.top + b.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.send(
                "Input.dispatchMouseEvent",
                type=kind,
                x=place[0],
                y=place[1],
                button="left",
                clickCount=1,
            )

    def press(self, key: str) -> None:
        """Press and release a key by its name."""
        code = {"Tab": 9, "Enter": 13}[key]
        text = {"text": "\r"} if key == "Enter" else {}
        for kind in ("keyDown", "keyUp"):
            self.send(
                "Input.dispatchKeyEvent",
                type=kind,
                key=key,
                code=key,
                windowsVirtualKeyCode=code,
                **(text if kind == "keyDown" else {}),
            )

    def screenshot(self, *, is_whole: bool = True) -> bytes:
        """Return the page as PNG."""
        answer = self.send("Page.captureScreenshot", captureBeyondViewport=is_whole)
        return base64.b64decode(answer["data"])

    def printed(self, width_in: float, height_in: float) -> bytes:
        """Return the page as PDF on paper of that size [inch]."""
        answer = self.send(
            "Page.printToPDF", paperWidth=width_in, paperHeight=height_in, preferCSSPageSize=True
        )
        return base64.b64decode(answer["data"])


def _high(descriptor: int) -> int:
    """Move a descriptor out of the way of the two that the browser expects."""
    high = fcntl.fcntl(descriptor, fcntl.F_DUPFD_CLOEXEC, FIRST_FREE_FD)
    os.close(descriptor)
    return high
