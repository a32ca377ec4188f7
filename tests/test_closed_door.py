"""The server answers this machine's own pages alone, asks nobody outside, and every answer says what a browser may."""

from __future__ import annotations

import asyncio
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from forecaster.closed_door import HEADERS, POLICY, ClosedDoor
from tests.outside_sink import environment

OWN = b"127.0.0.1:8501"
FOREIGN_HOSTS = [
    b"evil.example", b"evil.example:8501", b"127.0.0.1.evil.example", b"127.0.0.1@evil.example", b"0.0.0.0:8501",
    b"127.0.0.1:port", b"127.0.0.1:99999", b"localhost/x", b"", b"10.0.0.7:8501",
]  # fmt: skip
FOREIGN_ORIGINS = [
    b"http://evil.example", b"null", b"", b"file://", b"http://127.0.0.1:9999", b"https://127.0.0.1:8501",
    b"http://127.0.0.1:8501.evil.example", b"http://localhost:8501", b"//127.0.0.1:8501", b"http://127.0.0.1:8501/x",
    b"chrome-extension://abcdef", b"http://\xff\xfe", b"http://[::1", b"http://8.8.8.8",
]  # fmt: skip

PATHS = [
    "/",
    "/evidence",
    "/_stcore/health",
    "/_stcore/host-config",
    "/_stcore/metrics",
    "/media/no",
    "/static/none.js",
]


def asked(kind: str = "http", **headers: bytes | list[bytes]) -> list[dict[str, Any]]:
    """What somebody is answered who asks a server behind the door that says yes to all."""
    sent: list[dict[str, Any]] = []

    async def server(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.accept"})
            return
        own = [(b"content-type", b"text/html"), (b"X-Frame-Options", b"ALLOWALL")]
        await send({"type": "http.response.start", "status": 200, "headers": own})
        await send({"type": "http.response.body", "body": b"yes"})

    async def receive() -> dict[str, Any]:
        return {"type": "websocket.connect"}

    async def send(message: Any) -> None:
        sent.append(message)

    several = {name: given if isinstance(given, list) else [given] for name, given in headers.items()}
    pairs = [(name.encode(), value) for name, given in several.items() for value in given]
    scope = {"type": kind, "path": "/", "headers": pairs}
    asyncio.run(ClosedDoor(server, [b"let one = 1"])(scope, receive, send))  # type: ignore[arg-type]
    return sent


def status(**headers: bytes | list[bytes]) -> int:
    return int(asked(**headers)[0]["status"])  # type: ignore[arg-type]


def opens(**headers: bytes | list[bytes]) -> bool:
    return asked("websocket", **headers)[0]["type"] == "websocket.accept"  # type: ignore[arg-type]


@pytest.mark.parametrize("host", [OWN, b"localhost:8501", b"LOCALHOST:8501", b"localhost:9000"])
def test_its_own_pages_are_answered(host: bytes) -> None:
    origin = b"http://" + host.lower()
    assert status(host=host) == status(host=host, origin=origin) == 200
    assert opens(host=host, origin=origin)


@pytest.mark.parametrize("host", FOREIGN_HOSTS)
def test_a_name_that_was_rebound_to_this_machine_is_refused(host: bytes) -> None:
    assert status(host=host) == 403
    assert not opens(host=host, origin=b"http://" + host)


def test_no_host_or_two_are_refused() -> None:
    assert status() == status(host=[OWN, b"evil.example"]) == 403
    assert not opens(origin=b"http://" + OWN)


@pytest.mark.parametrize("origin", FOREIGN_ORIGINS)
def test_another_page_is_refused(origin: bytes) -> None:
    assert status(host=OWN, origin=origin) == 403
    assert not opens(host=OWN, origin=origin)


def test_a_socket_is_opened_by_pages_alone_and_those_say_from_where_they_are() -> None:
    assert not opens(host=OWN)
    assert not opens(host=OWN, origin=[b"http://" + OWN, b"http://evil.example"])


@pytest.mark.parametrize("host", [OWN, b"evil.example"])
def test_every_answer_a_refusal_too_has_the_headers_once(host: bytes) -> None:
    headers = asked(host=host)[0]["headers"]
    names = [name.lower() for name, _ in headers]
    for name, value in HEADERS.items():
        assert (name.lower().encode(), value.encode()) in headers
        assert names.count(name.lower().encode()) == 1
    assert names.count(b"content-security-policy") == 1


def test_the_policy_lets_nothing_outside_be_asked_and_only_known_scripts_run() -> None:
    policy = dict(asked(host=OWN)[0]["headers"])[b"content-security-policy"].decode()
    allowed = dict(part.split(" ", 1) for part in policy.split("; "))
    assert set(allowed) == set(POLICY)
    assert allowed["frame-ancestors"] == "'none'"
    assert allowed["connect-src"] == "'self' ws://127.0.0.1:8501"
    assert allowed["script-src"].startswith("'self' 'sha256-")
    assert "unsafe" not in allowed["script-src"]
    outside = {word for words in allowed.values() for word in words.split() if ":" in word}
    assert outside == {"data:", "blob:", "ws://127.0.0.1:8501"}


# --- a real server, in a child that goes nowhere ------------------------------------------------------------------


@pytest.fixture(scope="module")
def sink(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, str], Path]:
    return environment(tmp_path_factory.mktemp("sink"))


@pytest.fixture(scope="module")
def port(sink: tuple[dict[str, str], Path]) -> Iterator[int]:
    """The port of a dashboard that writes down whatever it asks of other machines."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        number = int(probe.getsockname()[1])
    server = subprocess.Popen(
        [sys.executable, "-m", "forecaster", "dashboard", "--port", str(number), "--no-browser"],
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=sink[0],
    )  # fmt: skip
    try:
        for _ in range(600):
            try:
                socket.create_connection(("127.0.0.1", number), timeout=2).close()
                break
            except OSError:
                time.sleep(0.1)
        yield number
    finally:
        server.terminate()
        server.wait(timeout=60)


def answer(port: int, *lines: str) -> tuple[str, str]:
    """The first line of what a server says to a request of these lines, and its headers."""
    with socket.create_connection(("127.0.0.1", port), timeout=30) as own:
        own.sendall(
            ("\r\n".join([*lines, "Connection: close" if "Upgrade" not in str(lines) else "X: y", "", ""])).encode(
                "latin-1"
            )
        )
        said = b""
        while b"\r\n\r\n" not in said and (part := own.recv(65536)):
            said += part
    head = said.decode("latin-1").split("\r\n\r\n")[0]
    return head.split("\r\n")[0], head


def handshake(port: int, host: str, origin: str | None) -> str:
    lines = [
        "GET /_stcore/stream HTTP/1.1", f"Host: {host}", "Upgrade: websocket", "Connection: Upgrade",
        "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==", "Sec-WebSocket-Version: 13",
    ]  # fmt: skip
    return answer(port, *lines, *([] if origin is None else [f"Origin: {origin}"]))[0]


def test_the_sink_hears_whoever_goes_outside(sink: tuple[dict[str, str], Path], tmp_path: Path) -> None:
    own, log = environment(tmp_path)
    program = (
        "import contextlib\nfrom streamlit import net_util\n"
        "with contextlib.suppress(OSError): net_util.get_external_ip()\nnet_util.get_internal_ip()"
    )
    subprocess.run([sys.executable, "-c", program], env=own, check=True, capture_output=True, timeout=120)
    heard = log.read_text(encoding="utf-8")
    assert "getaddrinfo" in heard  # the address that Streamlit asks for this machine's own
    assert "connect" in heard


def test_no_handshake_makes_the_server_ask_anybody_outside(port: int, sink: tuple[dict[str, str], Path]) -> None:
    own = f"127.0.0.1:{port}"
    assert " 101 " in handshake(port, own, f"http://{own}")
    for origin in (None, *(origin.decode("latin-1") for origin in FOREIGN_ORIGINS)):
        assert " 403 " in handshake(port, own, origin), origin
    for host in ("evil.example", f"evil.example:{port}", "127.0.0.1.evil.example"):
        assert " 403 " in handshake(port, host, f"http://{host}"), host
    for path in PATHS:
        for host, origin in ((own, None), (own, "http://evil.example"), ("evil.example", None)):
            told = [] if origin is None else [f"Origin: {origin}"]
            assert (" 403 " in answer(port, f"GET {path} HTTP/1.1", f"Host: {host}", *told)[0]) == (
                origin is not None or host != own
            )
    assert not sink[1].exists(), sink[1].read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "path", ["/", "/evidence", "/_stcore/health", "/nothing/here.js", "/static/none.js", "/media/no"]
)
def test_whatever_is_asked_for_the_answer_cannot_be_framed(port: int, path: str) -> None:
    _, head = answer(port, f"GET {path} HTTP/1.1", f"Host: 127.0.0.1:{port}")
    said = head.lower()
    assert said.count("x-frame-options: deny") == 1
    assert "frame-ancestors 'none'" in said
    assert said.count("x-content-type-options: nosniff") == 1
    assert "access-control-allow-origin" not in said
