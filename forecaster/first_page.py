"""Gives each page what it needs to look right and to draw, before the server has anything to say.

The style stands in the page itself: as a part of the screen it would be drawn when the browser has time for it, and
until then, two seconds on a slow phone, a phone would show what is meant for a wide screen.

Plotly is the largest part of a page, and a browser takes about a second to start it. Streamlit has it fetched once
there is a picture to draw, which is when the answer stands. Here the page itself has it fetched. The landing page, of
which a picture is half, also starts it: as soon as it has asked the server for its answer, since while it waits for
that it has nothing else to do. Sooner would put the asking off; later, as on any other page, the answer.

And a page opened by its own address is told where the server is. Left to itself it looks beneath that address first,
which costs two questions and leaves two errors on the browser's console. The name for it is Streamlit's own and is
documented nowhere: where a later one no longer reads it, the two errors are back and nothing else is lost.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

# Around the first connection, by which the page asks.
START = """{{
const Connection = window.WebSocket;
window.WebSocket = class extends Connection {{
  constructor(...asked) {{
    super(...asked);
    window.WebSocket = Connection;
    this.addEventListener("open", () => setTimeout(() => import("./static/js/{file}").catch(() => undefined)));
  }}
}};
}}"""
STARTED = "<script>" + START + "</script>"
FETCHED = '<link rel="modulepreload" href="./static/js/{file}">'
WHERE = b'window.__streamlit = {BACKEND_BASE_URL: new URL(".", location.href).href}'
SERVER = b"<script>" + WHERE + b"</script>"
STYLE = "<style>\n{style}</style>"
LANDING = "/"
_WITHIN = re.compile(rb"<script>(.*?)</script>", re.DOTALL)
END_OF_HEAD, END_OF_BODY = b"</head>", b"</body>"


class FirstPage:
    """Middleware around Streamlit's server: adds to each page its style, its server and what draws its pictures."""

    def __init__(self, app: ASGIApp, style: str, file: str | None) -> None:
        """`style`: CSS. `file`: a name among Streamlit's scripts; None where this Streamlit has none."""
        self.app, self.file = app, file
        # Streamlit's scripts write their own style to the end of the head: where both say something, the later wins.
        self.style = STYLE.format(style=style).encode()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; a page on its way back is added to."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        answer = _Answer({END_OF_HEAD: SERVER + self._picture_parts(scope["path"]), END_OF_BODY: self.style}, send)
        await self.app({**scope, "headers": _unpacked(scope["headers"])}, receive, answer.send)

    def _picture_parts(self, path: str) -> bytes:
        if self.file is None:
            return b""
        return (FETCHED + STARTED if path == LANDING else FETCHED).format(file=self.file).encode()


class _Answer:
    """One answer on its way to the browser: a page gets more lines, each before an end that it names."""

    def __init__(self, lines: dict[bytes, bytes], onward: Send) -> None:
        self.lines, self.onward = lines, onward
        self.start: Message | None = None  # held until its first part tells how long the page is

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_page(message):
            self.start = message
            return
        if self.start is not None:
            message = await self._longer_page(self.start, message)
            self.start = None
        await self.onward(message)

    async def _longer_page(self, start: Message, message: Message) -> Message:
        """Send the held start with the page's new length; returns the part that follows it."""
        given = message.get("body", b"")
        body = given
        for end, line in self.lines.items():
            body = body.replace(end, line + end, 1)
        longer = len(body) - len(given)
        await self.onward({**start, "headers": [_longer(header, longer) for header in start["headers"]]})
        return {**message, "body": body}


def _unpacked(headers: list[tuple[bytes, bytes]]) -> list[tuple[bytes, bytes]]:
    """A packed page could not be added to; and within one machine packing costs more than it saves."""
    return [(name, value) for name, value in headers if name != b"accept-encoding"]


def _is_page(start: Message) -> bool:
    headers = dict(start["headers"])
    return headers.get(b"content-type", b"").startswith(b"text/html") and b"content-encoding" not in headers


def _longer(header: tuple[bytes, bytes], by: int) -> tuple[bytes, bytes]:
    name, value = header
    return (name, str(int(value) + by).encode()) if name == b"content-length" else header


def picture_file(streamlit_folder: Path) -> str | None:
    """The name of the script that draws Plotly's pictures; None where the folder holds none."""
    return next((found.name for found in (streamlit_folder / "static/static/js").glob("PlotlyChart.*.js")), None)


def scripts_within(streamlit_folder: Path, file: str | None) -> list[bytes]:
    """Every script that stands within a page itself: Streamlit's own, and those that ``FirstPage`` adds."""
    page = (streamlit_folder / "static/index.html").read_bytes()
    return [*_WITHIN.findall(page), WHERE, *([] if file is None else [START.format(file=file).encode()])]
