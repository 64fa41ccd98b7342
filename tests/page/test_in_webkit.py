"""The page in WebKit, the engine of every browser on an iPhone: through a computer, and what it says without one.

WebKitGTK by its WebDriver. It is not Safari: no Bluetooth as there, but another network stack, and no telephone.
"""

import contextlib
import json
import os
import shutil
import socket
import subprocess
import time
import urllib.request
from collections.abc import Iterator
from typing import Any

import pytest
from browser import site_of

from .conftest import Computer

DRIVER = shutil.which("WebKitWebDriver")
SCREEN = shutil.which("Xvfb")
PATIENCE_S = 90.0

pytestmark = [
    pytest.mark.xdist_group("browser"),
    pytest.mark.skipif(
        DRIVER is None or SCREEN is None,
        reason="no WebKitWebDriver or Xvfb (Debian: webkit2gtk-driver, xvfb)",
    ),
]


class WebKit:
    """A browser by the W3C's WebDriver protocol, of which four commands are enough."""

    def __init__(self, address: str) -> None:
        self._address = address
        browser = {
            "webkitgtk:browserOptions": {
                "binary": _mini_browser(),
                "args": ["--automation"],
            }
        }
        self._session = self._call("POST", "/session", {"capabilities": {"alwaysMatch": browser}})[
            "sessionId"
        ]

    def _call(self, method: str, path: str, body: dict[str, Any] | None = None) -> Any:
        data = None if body is None else json.dumps(body).encode()
        request = urllib.request.Request(self._address + path, data=data, method=method)
        with urllib.request.urlopen(request, timeout=PATIENCE_S) as answer:
            return json.load(answer)["value"]

    def go(self, address: str) -> None:
        self._call("POST", f"/session/{self._session}/url", {"url": address})

    def run(self, script: str) -> Any:
        body = {"script": script, "args": []}
        return self._call("POST", f"/session/{self._session}/execute/sync", body)

    def until(self, condition: str) -> None:
        """Wait until a piece of JavaScript is true."""
        deadline = time.monotonic() + PATIENCE_S
        while not self.run(f"return Boolean({condition});"):
            assert time.monotonic() < deadline, f"{condition}: {self.run('return document.body.innerText')}"

    def end(self) -> None:
        self._call("DELETE", f"/session/{self._session}")


def _mini_browser() -> str:
    for folder in ("/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu", "/usr/libexec"):
        for version in ("webkit2gtk-4.1", "webkit2gtk-4.0", "webkitgtk-6.0"):
            path = f"{folder}/{version}/MiniBrowser"
            if os.path.exists(path):
                return path
    pytest.skip("no MiniBrowser of WebKitGTK")


@pytest.fixture(scope="module")
def webkit() -> Iterator[WebKit]:
    """A browser on a screen that nobody sees."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    read, write = os.pipe()
    assert SCREEN is not None
    assert DRIVER is not None
    screen = subprocess.Popen(
        [SCREEN, "-displayfd", str(write), "-screen", "0", "900x1400x24"],
        pass_fds=[write],
        stderr=subprocess.DEVNULL,
    )
    os.close(write)
    with os.fdopen(read) as told:
        display = told.readline().strip()
    environment = {**os.environ, "DISPLAY": f":{display}", "WEBKIT_DISABLE_SANDBOX_THIS_IS_DANGEROUS": "1"}
    driver = subprocess.Popen([DRIVER, f"--port={port}"], env=environment, stderr=subprocess.DEVNULL)
    try:
        address = f"http://127.0.0.1:{port}"
        _until_it_listens(port)
        browser = WebKit(address)
        yield browser
        with contextlib.suppress(OSError):
            browser.end()
    finally:
        for process in (driver, screen):
            process.terminate()
            process.wait(30)


def _until_it_listens(port: int) -> None:
    deadline = time.monotonic() + PATIENCE_S
    while True:
        try:
            socket.create_connection(("127.0.0.1", port), 1).close()
            return
        except OSError:
            assert time.monotonic() < deadline, "the driver does not listen"


def test_an_iphones_way_through_the_computer(webkit: WebKit, computer: Computer) -> None:
    """Pairs by the address, waits for a pull, sees it break, and gets the reading with its interval."""
    webkit.go(computer.paired)
    webkit.until("document.querySelector('#link-line').textContent.includes('connected')")
    webkit.until("document.querySelectorAll('#runs > li').length >= 9")
    webkit.until("!document.querySelector('#arm').disabled")
    webkit.run("document.querySelector('#arm').click()")
    webkit.until("document.querySelector('#lamp').textContent.includes('waiting')")
    webkit.run("document.querySelector('#simulate').click()")
    webkit.until("document.querySelector('#runs > li').textContent.includes('run-')")
    card = webkit.run("return document.querySelector('#runs > li').textContent")

    assert "interval" in card or "at least" in card
    assert webkit.run("return document.documentElement.scrollWidth <= innerWidth")


def test_alone_it_says_that_this_browser_has_no_bluetooth(webkit: WebKit) -> None:
    """With the way out, in a sentence for each way; nothing was taken from this browser: it has none of them."""
    with site_of() as address:
        webkit.go(address)
        webkit.until("document.documentElement.dataset.ready === 'yes'")
        webkit.until("document.querySelector('#kept-words').textContent")
        said = webkit.run("return document.querySelector('#ways').innerText")
        lacks = webkit.run("return ['bluetooth', 'serial'].filter((name) => name in navigator)")
        buttons = webkit.run("return document.querySelectorAll('#ways button').length")

    assert lacks == []
    assert buttons == 0
    assert "breakyard field" in said
    assert "Cable: " in said
