"""Who may ask the dashboard's server, and what every answer tells the browser: this machine's own pages, and no other.

A request by another name than this machine's own (a page elsewhere that had its name rebound to this machine), or from
a page that is not the dashboard's, is refused here, before Streamlit sees it: Streamlit would ask an address outside
for this machine's own, to compare. What an answer allows the browser is what the screens need and nothing else: no
address but this server's can be asked, no other page can frame it, read it or keep hold of its window.

The headers are those of CSP 3, of the Fetch and of the HTML standard. A script within a page runs only if it is one of
those that are known beforehand; style within a page is let through, since Streamlit writes its own so.
"""

from __future__ import annotations

from base64 import b64encode
from collections.abc import Iterable
from hashlib import sha256
from typing import TYPE_CHECKING
from urllib.parse import urlsplit

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

ADDRESS = "127.0.0.1"
OWN_NAMES = ("localhost", ADDRESS)
REFUSED = (
    b"This is the dashboard of one machine: it answers under that machine's own address, and its own pages only.\n"
)
HEADERS = {
    "X-Frame-Options": "DENY",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": (
        "accelerometer=(), camera=(), display-capture=(), geolocation=(), gyroscope=(), magnetometer=(), "
        "microphone=(), midi=(), payment=(), usb=()"
    ),
}
POLICY = {
    "default-src": "'none'",
    "script-src": "'self' {scripts}",
    "style-src": "'self' 'unsafe-inline'",
    "img-src": "'self' data: blob:",
    "font-src": "'self' data:",
    "connect-src": "'self' ws://{host}",  # 'self' means the socket too, but not to every browser
    "worker-src": "'self' blob:",
    "manifest-src": "'self'",
    "base-uri": "'self'",
    "form-action": "'self'",
    "frame-ancestors": "'none'",
}


class ClosedDoor:
    """Middleware around the server: refuses who is not of this machine, and puts the headers on every answer."""

    def __init__(self, app: ASGIApp, scripts: Iterable[bytes] = ()) -> None:
        """`scripts`: those that stand within the pages, to the byte."""
        self.app = app
        self.scripts = " ".join(f"'sha256-{b64encode(sha256(script).digest()).decode()}'" for script in scripts)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request pass, or refuse it: 403, and a socket before it is opened."""
        if scope["type"] not in ("http", "websocket"):
            await self.app(scope, receive, send)
            return
        host = own_host(scope)
        open_to = host is not None and _may_ask(scope, host)
        if scope["type"] == "websocket":
            if open_to:
                await self.app(scope, receive, send)
            else:
                await _refuse_socket(receive, send)
            return
        with_headers = _Headed(send, host=host or ADDRESS, scripts=self.scripts)
        if open_to:
            await self.app(scope, receive, with_headers.send)
        else:
            kind = [(b"content-type", b"text/plain; charset=utf-8"), (b"content-length", str(len(REFUSED)).encode())]
            await with_headers.send({"type": "http.response.start", "status": 403, "headers": kind})
            await with_headers.send({"type": "http.response.body", "body": REFUSED})


def own_host(scope: Scope) -> str | None:
    """The name and port by which this machine was asked; None where the request names another, none or several."""
    named = _values(scope, b"host")
    if len(named) != 1:
        return None
    return named[0].lower() if _is_own(f"//{named[0]}") else None


def _may_ask(scope: Scope, host: str) -> bool:
    """Whether who asks is no page, or the dashboard's own; a socket is opened by its own pages alone.

    A program that is no browser can claim to be any page: this keeps out pages, which cannot.
    """
    origins = _values(scope, b"origin")
    if not origins:
        return str(scope["type"]) == "http"
    return origins == [f"http://{host}"]


def _is_own(address: str) -> bool:
    try:
        parts = urlsplit(address)
        _ = parts.port  # raises where it is no port
    except ValueError:
        return False
    plain = not (parts.path or parts.query or parts.fragment or "@" in parts.netloc)
    return plain and parts.hostname in OWN_NAMES


def _values(scope: Scope, wanted: bytes) -> list[str]:
    return [value.decode("latin-1") for name, value in scope["headers"] if name == wanted]


async def _refuse_socket(receive: Receive, send: Send) -> None:
    await receive()  # its request to be opened
    await send({"type": "websocket.close", "code": 1008})


class _Headed:
    """An answer on its way to the browser, with the headers; those of their names that it had are replaced."""

    def __init__(self, onward: Send, **own: str) -> None:
        policy = "; ".join(f"{name} {allowed.format(**own).strip()}" for name, allowed in POLICY.items())
        self.headers = {**HEADERS, "Content-Security-Policy": policy}
        self.onward = onward

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            ours = [(name.lower().encode(), value.encode()) for name, value in self.headers.items()]
            names = {name for name, _ in ours}
            kept = [(name, value) for name, value in message.get("headers", []) if name.lower() not in names]
            message = {**message, "headers": [*kept, *ours]}
        await self.onward(message)
