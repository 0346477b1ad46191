"""Headless Chromium for the tests of pages, driven through its DevTools protocol over a WebSocket.

Needs Debian's package ``chromium`` and nothing else: no driver, no network. The protocol is public
(Chrome DevTools Protocol: domains Page, Runtime, Network, Log, Input, Emulation). Chromium's own sandbox is
off, for it does not start as root or in a container, and only pages that the tests have made are opened.

    with browser(tmp_path) as chromium:
        page = chromium.page(width=360, height=740)
        page.open(path)
        assert page.run("document.title") == "..."
        assert page.problems == []
        assert page.requests == [path.as_uri()]
"""

from __future__ import annotations

import base64
import contextlib
import json
import shutil
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import websocket

#: Names under which distributions install it; Debian's comes first.
PROGRAMS = ("chromium", "chromium-browser")
START_S = 60.0
ANSWER_S = 30.0
ARGUMENTS = (
    "--headless=new",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--hide-scrollbars",
    "--force-color-profile=srgb",
    "--host-resolver-rules=MAP * ~NOTFOUND",  # a request that got out would fail, besides being seen
    "--remote-debugging-port=0",
)
#: Keys by the name that a page sees -> (code, number, text).
KEYS = {
    " ": ("Space", 32, " "),
    "Enter": ("Enter", 13, "\r"),
    "Tab": ("Tab", 9, ""),
    "End": ("End", 35, ""),
    "Home": ("Home", 36, ""),
    "ArrowLeft": ("ArrowLeft", 37, ""),
    "ArrowUp": ("ArrowUp", 38, ""),
    "ArrowRight": ("ArrowRight", 39, ""),
    "ArrowDown": ("ArrowDown", 40, ""),
}
SHIFT = 8


def program() -> str:
    """Path of Chromium. Fails the test, in one line, where it is missing."""
    for name in PROGRAMS:
        found = shutil.which(name)
        if found is not None:
            return found
    pytest.fail(
        "Chromium is missing: install the Debian package chromium (apt-get install chromium)", pytrace=False
    )


class ProtocolError(RuntimeError):
    """Chromium refuses a command, or does not answer in time."""


class Chromium:
    """A running browser; ``page()`` opens an empty page."""

    def __init__(self, address: str) -> None:
        self._socket = websocket.create_connection(address, timeout=ANSWER_S, suppress_origin=True)
        self._number = 0
        self._pages: dict[str, Page] = {}

    def send(self, method: str, session: str | None = None, **parameters: Any) -> dict[str, Any]:
        """One command and its answer; events that come meanwhile go to their pages."""
        self._number += 1
        wanted = self._number
        message: dict[str, Any] = {"id": wanted, "method": method, "params": parameters}
        if session is not None:
            message["sessionId"] = session
        self._socket.send(json.dumps(message))
        end = time.monotonic() + ANSWER_S
        while time.monotonic() < end:
            answer = self._receive(end - time.monotonic())
            if answer.get("id") == wanted:
                if "error" in answer:
                    raise ProtocolError(f"{method}: {answer['error'].get('message')}")
                found: dict[str, Any] = answer["result"]
                return found
        raise ProtocolError(f"{method}: no answer in {ANSWER_S:.0f} s")

    def _receive(self, within_s: float) -> dict[str, Any]:
        self._socket.settimeout(max(within_s, 0.01))
        try:
            message: dict[str, Any] = json.loads(self._socket.recv())
        except websocket.WebSocketTimeoutException:
            return {}
        page = self._pages.get(message.get("sessionId", ""))
        if page is not None and "method" in message:
            page.heard(message["method"], message["params"])
        return message

    def listen(self, until: Callable[[], bool], within_s: float = ANSWER_S) -> bool:
        """Take events until something holds; whether it came to hold in time."""
        end = time.monotonic() + within_s
        while not until():
            left = end - time.monotonic()
            if left <= 0:
                return False
            self._receive(left)
        return True

    def page(self, width: int = 1280, height: int = 800, mobile: bool = False) -> Page:
        """A new page of this size (CSS pixels)."""
        target = self.send("Target.createTarget", url="about:blank")["targetId"]
        session = self.send("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        page = Page(self, session, target)
        self._pages[session] = page
        for domain in ("Page", "Runtime", "Network", "Log"):
            page.send(f"{domain}.enable")
        page.resize(width, height, mobile)
        return page

    def close(self) -> None:
        with contextlib.suppress(OSError, websocket.WebSocketException, ProtocolError):
            self.send("Browser.close")
        with contextlib.suppress(OSError, websocket.WebSocketException):
            self._socket.close()


class Page:
    """One page. ``problems``: errors and warnings of its console, its policy and its script; ``requests``:
    every address that it asked for."""

    def __init__(self, chromium: Chromium, session: str, target: str) -> None:
        self._chromium = chromium
        self._session = session
        self._target = target
        self._loaded = 0
        self.problems: list[str] = []
        self.requests: list[str] = []

    def send(self, method: str, **parameters: Any) -> dict[str, Any]:
        """One command of the protocol for this page."""
        return self._chromium.send(method, self._session, **parameters)

    def heard(self, method: str, found: dict[str, Any]) -> None:
        """An event of this page."""
        if method == "Page.loadEventFired":
            self._loaded += 1
        elif method == "Network.requestWillBeSent":
            self.requests.append(found["request"]["url"])
        elif method == "Network.webSocketCreated":
            self.requests.append(found["url"])
        elif method == "Runtime.exceptionThrown":
            details = found["exceptionDetails"]
            self.problems.append(str(details.get("exception", {}).get("description") or details["text"]))
        elif method == "Runtime.consoleAPICalled" and found["type"] in ("error", "warning", "assert"):
            self.problems.append(
                " ".join(str(one.get("value", one.get("description"))) for one in found["args"])
            )
        elif method == "Log.entryAdded" and found["entry"]["level"] in ("error", "warning"):
            self.problems.append(found["entry"]["text"])

    def close(self) -> None:
        """Close the page; the browser stays."""
        self._chromium.send("Target.closeTarget", targetId=self._target)

    def open(self, path: Path) -> None:
        """Open a file of this machine and wait until it is loaded."""
        before = self._loaded
        self.send("Page.navigate", url=path.resolve().as_uri())
        assert self._chromium.listen(lambda: self._loaded > before), f"{path} did not load"

    def run(self, script: str) -> Any:
        """Value of an expression in the page, as plain JSON. A promise is waited for."""
        answer = self.send("Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            details = answer["exceptionDetails"]
            raise AssertionError(details.get("exception", {}).get("description") or details["text"])
        return answer["result"].get("value")

    def wait(self, script: str, within_s: float = 10.0) -> bool:
        """Whether an expression becomes true in time."""
        end = time.monotonic() + within_s
        while not self.run(script):
            if time.monotonic() > end:
                return False
            self._chromium.listen(lambda: False, 0.05)
        return True

    def click(self, selector: str) -> None:
        """A click with the mouse in the middle of an element, which must be in sight."""
        x, y = self.run(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            " e.scrollIntoView({block: 'center'});"
            " const r = e.getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; })()"
        )
        for kind in ("mousePressed", "mouseReleased"):
            self.send("Input.dispatchMouseEvent", type=kind, x=x, y=y, button="left", clickCount=1)

    def press(self, key: str, shift: bool = False) -> None:
        """One key of KEYS, pressed and released."""
        code, number, text = KEYS[key]
        about = {
            "key": key,
            "code": code,
            "windowsVirtualKeyCode": number,
            "modifiers": SHIFT if shift else 0,
        }
        self.send("Input.dispatchKeyEvent", type="keyDown" if text else "rawKeyDown", text=text, **about)
        self.send("Input.dispatchKeyEvent", type="keyUp", **about)

    def resize(self, width: int, height: int, mobile: bool = False, scale: float = 1.0) -> None:
        """Another size (CSS pixels)."""
        self.send(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=scale, mobile=mobile,
        )  # fmt: skip

    def media(self, kind: str = "", **features: str) -> None:
        """Another medium (``print``), or features with _ for -: ``prefers_reduced_motion="reduce"``."""
        listed = [{"name": name.replace("_", "-"), "value": value} for name, value in features.items()]
        self.send("Emulation.setEmulatedMedia", media=kind, features=listed)

    def picture(self, whole: bool = False) -> bytes:
        """What is seen as PNG; ``whole``: the whole page, not only what is in sight."""
        found = self.send(
            "Page.captureScreenshot", format="png", captureBeyondViewport=whole, **self._clip(whole)
        )
        return base64.b64decode(found["data"])

    def _clip(self, whole: bool) -> dict[str, Any]:
        if not whole:
            return {}
        size = self.send("Page.getLayoutMetrics")["cssContentSize"]
        return {"clip": {"x": 0, "y": 0, "width": size["width"], "height": size["height"], "scale": 1}}

    def pdf(self, **options: Any) -> bytes:
        """The page as it would be printed (``preferCSSPageSize=True``, ``paperWidth`` in inches ...)."""
        found = self.send(
            "Page.printToPDF", **({"preferCSSPageSize": True, "printBackground": False} | options)
        )
        return base64.b64decode(found["data"])


@contextlib.contextmanager
def browser(folder: Path) -> Iterator[Chromium]:
    """Headless Chromium with a fresh profile in ``folder``; ends with the ``with`` statement."""
    profile = folder / "profile"
    profile.mkdir(parents=True)
    log = folder / "chromium.log"
    with open(log, "wb") as out:
        process = subprocess.Popen(
            [program(), *ARGUMENTS, f"--user-data-dir={profile}", "about:blank"],
            stdin=subprocess.DEVNULL,
            stdout=out,
            stderr=out,
        )
    try:
        chromium = Chromium(_address(process, profile / "DevToolsActivePort", log))
        try:
            yield chromium
        finally:
            chromium.close()
    finally:
        try:
            process.wait(timeout=10)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


def _address(process: subprocess.Popen[bytes], port_file: Path, log: Path) -> str:
    """Where it listens: it writes port and path into a file of its profile."""
    end = time.monotonic() + START_S
    while time.monotonic() < end and process.poll() is None:
        with contextlib.suppress(FileNotFoundError):
            lines = port_file.read_text().split()
            if len(lines) == 2:
                return f"ws://127.0.0.1:{lines[0]}{lines[1]}"
        time.sleep(0.05)
    process.kill()
    raise AssertionError(f"Chromium does not start:\n{log.read_text(errors='replace')[-2000:]}")
