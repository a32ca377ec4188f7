"""A dashboard served as a user starts it, and a real browser that can go nowhere but there."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any
from urllib.error import URLError

import pytest

QUIET = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "is_mobile": True, "has_touch": True}
LAPTOP: dict[str, Any] = {"viewport": {"width": 1366, "height": 768}}
PATIENCE = 60_000  # ms: a busy machine is no fault of the screens

# Text that reaches past an edge of the page, or is cut off by its own box.
CUT_OFF = """() => [...document.querySelectorAll(':is(.stMain p, .stMain h1, .stMain h2, .stMain h3, .stMain label)')]
  .filter(e => e.offsetParent !== null && e.innerText.trim())
  .filter(e => e.getBoundingClientRect().right > innerWidth + 1 || e.getBoundingClientRect().left < -1
            || (getComputedStyle(e).overflowX === 'hidden' && e.scrollWidth > e.clientWidth + 1))
  .map(e => e.innerText)"""
TOO_WIDE = """() => [document.documentElement, document.querySelector('.stMain')]
  .some(e => e.scrollWidth > innerWidth)"""


@contextmanager
def served_dashboard(source: Path | None) -> Iterator[str]:
    """The address of a dashboard that the command serves, on a source or on none; ended by its process."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    named = [] if source is None else [str(source)]
    server = subprocess.Popen(
        [sys.executable, "-m", "forecaster", "dashboard", *named, "--port", str(port), "--no-browser"],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    address = f"http://127.0.0.1:{port}"
    try:
        _wait_until_healthy(address, server)
        yield address
    finally:
        server.terminate()
        server.wait(timeout=30)


def _wait_until_healthy(address: str, server: subprocess.Popen[bytes]) -> None:
    direct = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    for _ in range(600):
        assert server.poll() is None, "the dashboard ended by itself"
        try:
            with direct.open(f"{address}/_stcore/health", timeout=5) as reply:
                if reply.status == 200:
                    return
        except (URLError, ConnectionError, TimeoutError):
            time.sleep(0.1)
    pytest.fail("the dashboard did not answer within a minute")


def drawn(page: Any) -> None:
    """Wait until the screen's sentence stands and nothing is being worked out."""
    page.wait_for_selector("h1")
    page.wait_for_function("() => !document.querySelector('[data-testid=stApp][data-test-script-state=running]')")
