"""A page in a real browser: headless Chromium, spoken to over its debugging pipe, and axe-core to judge the page by.

The pipe carries messages of the DevTools protocol (JSON, each ended by a zero byte): written to descriptor 3 of the
browser, read from its descriptor 4.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import tarfile
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

CHROMIUM = ("chromium", "chromium-browser")  # as distributions call it
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--disable-dev-shm-usage",
    "--remote-debugging-pipe",
)  # fmt: skip
AXE = "axe-core@4"


def axe_source() -> str:
    """The script of axe-core (Deque Systems), fetched once by npm into a cache folder."""
    folder = Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "kitwright-tests"
    script = folder / "axe.min.js"
    if not script.exists():
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(dir=folder) as beside:
            packed = subprocess.run(
                ["npm", "pack", "--silent", AXE], cwd=beside, capture_output=True, text=True, check=True, timeout=300
            )
            with tarfile.open(Path(beside) / packed.stdout.split()[-1]) as archive:
                inside = archive.extractfile("package/axe.min.js")
                assert inside is not None
                whole = Path(beside) / "axe.min.js"
                whole.write_bytes(inside.read())
            whole.replace(script)
    return script.read_text(encoding="utf-8")


class Tab:
    """One page. `asked` are the addresses that it wanted, `said` what was written to its console or went wrong."""

    def __init__(self, write: Any, read: Any) -> None:
        self._write, self._read = write, read
        self._count = 0
        self._session: str | None = None
        self.asked: list[str] = []
        self.said: list[str] = []
        target = self.call("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    def call(self, method: str, **parameters: Any) -> dict[str, Any]:
        """The result of a command; what happens meanwhile is noted."""
        self._count += 1
        message: dict[str, Any] = {"id": self._count, "method": method, "params": parameters}
        if self._session:
            message["sessionId"] = self._session
        self._write.write(json.dumps(message).encode() + b"\0")
        self._write.flush()
        while True:
            answer = self._next()
            if answer.get("id") == self._count:
                assert "error" not in answer, (method, answer["error"])
                result: dict[str, Any] = answer["result"]
                return result

    def _next(self) -> dict[str, Any]:
        whole = bytearray()
        while (byte := self._read.read(1)) != b"\0":
            assert byte, "the browser has gone"
            whole += byte
        answer: dict[str, Any] = json.loads(whole)
        self._note(answer)
        return answer

    def _note(self, answer: dict[str, Any]) -> None:
        told = answer.get("params", {})
        method = answer.get("method")
        if method == "Network.requestWillBeSent":
            self.asked.append(told["request"]["url"])
        elif method == "Log.entryAdded":
            self.said.append(told["entry"]["text"])
        elif method in ("Runtime.consoleAPICalled", "Runtime.exceptionThrown"):
            self.said.append(json.dumps(told))

    def open(self, page: Path, width: int, height: int = 900, dark: bool = False, phone: bool = False) -> None:
        """The page in a window of this size, with the reader's wish for dark or light."""
        self.asked.clear()
        self.said.clear()
        self.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=phone)
        scheme = {"name": "prefers-color-scheme", "value": "dark" if dark else "light"}
        self.call("Emulation.setEmulatedMedia", features=[scheme])
        self.call("Page.navigate", url=page.resolve().as_uri())
        while self._next().get("method") != "Page.loadEventFired":
            pass

    def run(self, script: str) -> Any:
        """The value of an expression in the page; a promise's once it is kept."""
        found = self.call("Runtime.evaluate", expression=script, awaitPromise=True, returnByValue=True)
        assert "exceptionDetails" not in found, found
        return found["result"].get("value")

    def key(self, name: str, code: int) -> None:
        """One key pressed and let go, by its DOM name and its key code."""
        for kind in ("keyDown", "keyUp"):
            self.call("Input.dispatchKeyEvent", type=kind, key=name, code=name, windowsVirtualKeyCode=code)


@contextmanager
def browser() -> Iterator[Tab]:
    """Chromium with one tab."""
    program = next((found for name in CHROMIUM if (found := shutil.which(name))), None)
    assert program is not None, "chromium is not installed; .ci/run installs it"
    to_browser, to_us = os.pipe(), os.pipe()
    with tempfile.TemporaryDirectory(ignore_cleanup_errors=True) as profile:
        process = subprocess.Popen(
            ["bash", "-c", f'exec "$0" "$@" 3<&{to_browser[0]} 4>&{to_us[1]}', program, *FLAGS,
             f"--user-data-dir={profile}", "about:blank"],
            pass_fds=(to_browser[0], to_us[1]), stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        os.close(to_browser[0])
        os.close(to_us[1])
        with os.fdopen(to_browser[1], "wb") as write, os.fdopen(to_us[0], "rb") as read:
            try:
                yield Tab(write, read)
            finally:
                process.terminate()
                process.wait(timeout=30)
