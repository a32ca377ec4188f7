"""The dashboard's server: where it listens, what it is told, how it ends."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from pathlib import Path

import pytest

from forecaster import serving
from forecaster.errors import SourceError, WrongUsage
from forecaster.serving import ADDRESS, FIRST_PORT, LAST_PORT, SAFE_START, free_port
from tests.conftest import ROOT


@pytest.fixture
def taken() -> Iterator[int]:
    """A port on which somebody listens."""
    with socket.socket() as listener:
        listener.bind((ADDRESS, 0))
        listener.listen()
        yield listener.getsockname()[1]


def test_every_safe_option_is_known_to_the_installed_server() -> None:
    from streamlit import config

    assert set(SAFE_START) <= set(config.get_config_options())


def test_the_server_is_told_to_be_safe(monkeypatch: pytest.MonkeyPatch) -> None:
    told: dict[str, object] = {}
    monkeypatch.setattr("streamlit.App.run", lambda _, config: told.update(config))
    monkeypatch.setattr(sys, "argv", [])  # both are the process's own, and given back
    monkeypatch.setattr(sys, "setswitchinterval", lambda _: None)
    monkeypatch.setattr(serving, "_announce", lambda *_: None)
    port = free_port()
    serving.serve_dashboard(None, port, open_browser=False)
    assert (
        told.items()
        >= {
            "server.address": "127.0.0.1",
            "server.port": port,
            "server.allowedHosts": ["localhost", "127.0.0.1"],
            "server.enableXsrfProtection": True,
            "server.enableCORS": True,
            "server.maxUploadSize": 50,
            "server.fileWatcherType": "none",
            "server.headless": True,
            "browser.gatherUsageStats": False,
            "client.showErrorDetails": "none",
        }.items()
    )


def test_a_taken_port_is_passed_over(taken: int) -> None:
    assert free_port([taken, taken + 1, taken + 2]) != taken


def test_no_free_port_is_told(taken: int) -> None:
    with pytest.raises(WrongUsage, match=f"Every port from {taken} to {taken} is in use"):
        free_port([taken])


def test_a_demanded_port_that_is_taken_is_told(taken: int) -> None:
    with pytest.raises(WrongUsage, match=f"Port {taken} cannot be used"):
        serving.serve_dashboard(None, taken)


def test_a_source_that_is_not_there_is_told_before_anything_starts() -> None:
    with pytest.raises(SourceError, match="no such place"):
        serving.serve_dashboard("no such place")


def test_the_port_is_looked_for_from_8501_up() -> None:
    assert FIRST_PORT == 8501
    assert FIRST_PORT <= free_port() <= LAST_PORT


@pytest.mark.skipif(sys.platform == "win32", reason="signals to a child differ there")
def test_it_serves_the_named_fleet_and_ends_cleanly(tmp_path: Path) -> None:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(tmp_path), "PYTHONUNBUFFERED": "1"}
    child = subprocess.Popen(
        [sys.executable, "-m", "forecaster", "dashboard", str(ROOT / "sample_fleet"), "--no-browser"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, stdin=subprocess.DEVNULL, text=True, cwd=tmp_path,
        env=environment,
    )  # fmt: skip
    try:
        assert child.stdout is not None
        line = child.stdout.readline()
        address = re.fullmatch(r"The dashboard is at (http://127\.0\.0\.1:\d+) \(Ctrl-C ends it\)\.\n", line)
        assert address, line
        with urllib.request.urlopen(address[1], timeout=20) as page:
            assert page.status == 200
            assert "Access-Control-Allow-Origin" not in page.headers
            (picture,) = re.findall(r"import\(\"\./(static/js/PlotlyChart[^\"]+)\"\)", page.read().decode())
        with urllib.request.urlopen(f"{address[1]}/{picture}", timeout=20) as script:
            assert script.status == 200
    finally:
        child.send_signal(signal.SIGINT)
        _, err = child.communicate(timeout=60)
    assert child.returncode == 0
    assert "Traceback" not in err
    assert not any(tmp_path.iterdir())
