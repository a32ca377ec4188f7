"""Has the browser fetch what draws pictures while the server still works out what to draw.

Plotly is the largest part of a page, and a browser takes about a second to start it. Streamlit has it fetched once
there is a picture to draw, which is when the answer stands. Here the page itself asks for it: the landing page, of
which a picture is half, starts it at once; any other only has it fetched, so that its first sentence waits for nothing.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Message, Receive, Scope, Send

STARTED = '<script type="module">import("./static/js/{file}").catch(() => undefined)</script>'
FETCHED = '<link rel="modulepreload" href="./static/js/{file}">'
LANDING = "/"
END_OF_HEAD = b"</head>"


class PicturePartsAhead:
    """Middleware around Streamlit's server: names the file that draws pictures in the head of each page."""

    def __init__(self, app: ASGIApp, file: str | None) -> None:
        """`file`: its name among Streamlit's scripts; None where this Streamlit has none: every page is left alone."""
        self.app, self.file = app, file

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on; a page on its way back is told of the file."""
        if scope["type"] != "http" or self.file is None:
            await self.app(scope, receive, send)
            return
        line = (STARTED if scope["path"] == LANDING else FETCHED).format(file=self.file).encode()
        await self.app(scope, receive, _Head(line, send).send)


class _Head:
    """One answer on its way to the browser: a page's head gets one more line."""

    def __init__(self, line: bytes, send: Send) -> None:
        self.line, self.onward = line, send
        self.start: Message | None = None  # held until its first part tells how long the page is

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start" and _is_plain_page(message):
            self.start = message
            return
        if self.start is not None:
            body = message.get("body", b"").replace(END_OF_HEAD, self.line + END_OF_HEAD, 1)
            longer = len(body) - len(message.get("body", b""))
            start, self.start = self.start, None
            await self.onward({**start, "headers": [_longer(header, longer) for header in start["headers"]]})
            message = {**message, "body": body} if longer else message
        await self.onward(message)


def _is_plain_page(start: Message) -> bool:
    headers = dict(start["headers"])
    return headers.get(b"content-type", b"").startswith(b"text/html") and b"content-encoding" not in headers


def _longer(header: tuple[bytes, bytes], by: int) -> tuple[bytes, bytes]:
    name, value = header
    return (name, str(int(value) + by).encode()) if name == b"content-length" else header


def picture_file(streamlit_folder: Path) -> str | None:
    """The name of the script that draws Plotly's pictures; None where the folder holds none."""
    return next((found.name for found in (streamlit_folder / "static/static/js").glob("PlotlyChart.*.js")), None)
