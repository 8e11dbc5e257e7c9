"""A headless browser to open reports in, spoken to over a pair of pipes."""

from __future__ import annotations

import base64
import json
import os
import shutil
import subprocess
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import pytest

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    *("--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run"),
    *("--disable-background-networking", "--disable-component-update", "--disable-sync"),
    *("--hide-scrollbars", "--remote-debugging-pipe"),
)


class Browser:
    """One page of a headless Chromium, driven by the DevTools protocol."""

    def __init__(self, program: str, folder: Path) -> None:
        import fcntl

        def high(end: int) -> int:
            # The browser reads from 3 and writes to 4: our own ends must not stand there.
            moved = fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 20)
            os.close(end)
            return moved

        theirs_in, ours_out, ours_in, theirs_out = (
            high(end) for pair in (os.pipe(), os.pipe()) for end in pair
        )

        def place() -> None:
            os.dup2(theirs_in, 3)
            os.dup2(theirs_out, 4)

        self.process = subprocess.Popen(
            [program, *FLAGS, f"--user-data-dir={folder}"],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
            preexec_fn=place,
            close_fds=False,
        )
        os.close(theirs_in)
        os.close(theirs_out)
        self.out, self.source, self.rest = ours_out, ours_in, b""
        self.number, self.session = 0, ""
        self.seen: list[dict[str, Any]] = []
        target = self.send("Target.createTarget", url="about:blank")["targetId"]
        found = self.send("Target.attachToTarget", targetId=target, flatten=True)
        self.session = found["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.send(f"{domain}.enable")

    def _next(self) -> dict[str, Any]:
        while b"\0" not in self.rest:
            more = os.read(self.source, 1 << 20)
            if not more:
                raise EOFError("the browser has gone")
            self.rest += more
        message, _, self.rest = self.rest.partition(b"\0")
        found: dict[str, Any] = json.loads(message)
        return found

    def send(self, method: str, **parameters: Any) -> dict[str, Any]:
        """Call a method of the protocol and wait for its answer."""
        self.number += 1
        message: dict[str, Any] = {"id": self.number, "method": method, "params": parameters}
        if self.session and not method.startswith("Browser."):
            message["sessionId"] = self.session
        os.write(self.out, json.dumps(message).encode() + b"\0")
        while True:
            answer = self._next()
            if answer.get("id") == self.number:
                assert "error" not in answer, answer
                result: dict[str, Any] = answer["result"]
                return result
            self.seen.append(answer)

    def open(self, path: Path, width: int, *, height: int = 900, dark: bool = False) -> None:
        """Load a file in a window of this size; ``seen`` then holds what happened."""
        self.seen = []
        self.send(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.send("Emulation.setEmulatedMedia", features=[scheme])
        self.send("Page.navigate", url=path.as_uri())
        while not any(e.get("method") == "Page.loadEventFired" for e in self.seen):
            self.seen.append(self._next())

    def run(self, script: str) -> Any:
        """Value of an expression in the page (of a promise: what it comes to)."""
        answer = self.send(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def point(self, x: float, y: float, *, click: bool = False) -> None:
        """Move the pointer, and press it if asked."""
        self.send("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
        for kind in ("mousePressed", "mouseReleased") if click else ():
            self.send("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def drag(self, xs: Sequence[float], y: float, *, shift: bool = False) -> None:
        """Press at the first place, move over the others and let go at the last."""
        kinds = ["mousePressed", *["mouseMoved"] * (len(xs) - 1), "mouseReleased"]
        for kind, x in zip(kinds, [*xs, xs[-1]], strict=True):
            self.send(
                "Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", buttons=1,
                clickCount=1, modifiers=8 if shift else 0,
            )  # fmt: skip

    def touch(self, *steps: Sequence[float], y: float) -> None:
        """Fingers down at the first xs, moved over the others, and lifted."""
        for kind, xs in zip(("touchStart", *["touchMove"] * (len(steps) - 1)), steps, strict=True):
            points = [{"x": x, "y": y, "id": k} for k, x in enumerate(xs)]
            self.send("Input.dispatchTouchEvent", type=kind, touchPoints=points)
        self.send("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def wheel(self, x: float, y: float, by: float, *, ctrl: bool = False) -> None:
        """Turn the wheel by so many pixels; up is below zero."""
        self.send(
            "Input.dispatchMouseEvent", type="mouseWheel", x=x, y=y, deltaX=0, deltaY=by,
            modifiers=2 if ctrl else 0,
        )  # fmt: skip

    def press(self, key: str, *, shift: bool = False) -> None:
        """Press and let go of a key."""
        for kind in ("keyDown", "keyUp"):
            self.send("Input.dispatchKeyEvent", type=kind, key=key, modifiers=8 if shift else 0)

    def complaints(self) -> list[Any]:
        """Messages and errors of the page, and what it tried to fetch besides itself."""
        bad = ("Runtime.consoleAPICalled", "Runtime.exceptionThrown", "Log.entryAdded")
        found: list[Any] = [e["params"] for e in self.seen if e.get("method") in bad]
        asked = [
            e["params"]["request"]["url"]
            for e in self.seen
            if e.get("method") == "Network.requestWillBeSent"
        ]
        return found + asked[1:]

    def pdf(self) -> bytes:
        """The page as it would be printed."""
        return base64.b64decode(self.send("Page.printToPDF", preferCSSPageSize=True)["data"])

    def close(self) -> None:
        """Ask the browser to end, and wait for it."""
        self.send("Browser.close")
        self.process.wait(20)
        os.close(self.out)
        os.close(self.source)


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """A headless Chromium; skipped where there is none."""
    program = next((found for name in NAMES if (found := shutil.which(name))), None)
    if program is None or os.name != "posix":
        pytest.skip("no Chromium on this machine")
    made = Browser(program, tmp_path_factory.mktemp("browser"))
    yield made
    made.close()
