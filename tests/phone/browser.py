"""Debian's headless Chromium, driven over its own protocol: a page at a true width."""

import asyncio
import base64
import json
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import aiohttp
import pytest

PROGRAM = "chromium-headless-shell"
HOW = f"{PROGRAM} is not installed; as root: apt-get install -y {PROGRAM}"
START_S = 30.0


class Tab:
    """One page; every call is a round trip to the browser."""

    def __init__(self, port: int) -> None:
        self._loop = asyncio.new_event_loop()
        self._number = 0
        self.errors: list[str] = []
        """What the page threw or logged as an error."""
        self._do(self._open(port))
        for domain in ("Page", "Runtime", "Log", "Network"):
            self.call(f"{domain}.enable")

    async def _open(self, port: int) -> None:
        self._session = aiohttp.ClientSession()
        url = f"http://127.0.0.1:{port}/json/new?about:blank"
        async with self._session.put(url) as answer:
            told = await answer.json()
        self._socket = await self._session.ws_connect(
            told["webSocketDebuggerUrl"], max_msg_size=0
        )

    def _do(self, work: Any) -> Any:
        return self._loop.run_until_complete(work)

    def close(self) -> None:
        self._do(self._socket.close())
        self._do(self._session.close())
        self._loop.close()

    def call(self, method: str, **params: Any) -> Mapping[str, Any]:
        """Call a method of the protocol."""
        return self._do(self._call(method, params))  # type: ignore[no-any-return]

    async def _call(self, method: str, params: Mapping[str, Any]) -> Any:
        self._number += 1
        number = self._number
        await self._socket.send_str(
            json.dumps({"id": number, "method": method, "params": params})
        )
        while True:
            said = json.loads((await self._socket.receive(timeout=30.0)).data)
            self._note(said)
            if said.get("id") == number:
                assert "error" not in said, said
                return said["result"]

    def _note(self, said: Mapping[str, Any]) -> None:
        match said.get("method"):
            case "Runtime.exceptionThrown":
                self.errors.append(json.dumps(said["params"]["exceptionDetails"])[:400])
            case "Log.entryAdded" if said["params"]["entry"]["level"] == "error":
                self.errors.append(said["params"]["entry"]["text"])

    def size(self, width: int, height: int, *, scale: float = 1.0) -> None:
        """Set the size of the screen, in CSS pixels."""
        self.call(
            "Emulation.setDeviceMetricsOverride",
            width=width, height=height, deviceScaleFactor=scale, mobile=width < 600,
        )  # fmt: skip

    def media(self, **features: str) -> None:
        """Set media features: `prefers_color_scheme="dark"`."""
        given = [
            {"name": name.replace("_", "-"), "value": value}
            for name, value in features.items()
        ]
        self.call("Emulation.setEmulatedMedia", features=given)

    def open(self, url: str) -> None:
        self.call("Page.navigate", url=url)
        self.wait(lambda: self.run("document.readyState") == "complete", 20.0)

    def run(self, script: str) -> Any:
        """Run a script in the page, and return what it gives."""
        said = self.call(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in said, said
        return said["result"].get("value")

    def text(self, ident: str) -> str:
        return str(self.run(f"document.getElementById('{ident}').innerText"))

    def wait(self, what: Callable[[], Any], deadline_s: float = 15.0) -> Any:
        until_s = time.perf_counter() + deadline_s
        while not (got := what()):
            assert time.perf_counter() < until_s, self.run("document.body.innerText")
            time.sleep(0.05)
        return got

    def picture(self, path: Path, *, whole: bool = False) -> None:
        told = self.call(
            "Page.captureScreenshot", format="png", captureBeyondViewport=whole
        )
        path.write_bytes(base64.b64decode(told["data"]))


@contextmanager
def browser() -> Iterator[Tab]:
    """Run a browser with one page, in a folder of its own."""
    program = shutil.which(PROGRAM)
    if program is None:
        pytest.fail(HOW)
    with tempfile.TemporaryDirectory() as folder:
        process = subprocess.Popen(
            [program, "--no-sandbox", "--remote-debugging-port=0", "--disable-gpu",
             "--autoplay-policy=no-user-gesture-required", "--mute-audio",
             f"--user-data-dir={folder}", "about:blank"],
            stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        try:
            tab = Tab(_port(Path(folder)))
            try:
                yield tab
            finally:
                tab.close()
        finally:
            process.kill()
            process.wait(10)


def _port(folder: Path) -> int:
    until_s = time.perf_counter() + START_S
    file = folder / "DevToolsActivePort"
    while True:
        if file.exists() and (lines := file.read_text().split()):
            return int(lines[0])
        assert time.perf_counter() < until_s, "the browser does not start"
        time.sleep(0.05)
