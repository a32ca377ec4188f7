"""The page's own programs, fonts and pictures, each handed to the browser in one piece.

A first page fetches a hundred such files, from a server that is working out its answer at the same time. Left to
Streamlit each takes several turns of several threads, 4.7 MB some seventy, and waits for its turn each time: seven
tenths of a second for what is read here in a few thousandths. Only files that lay there when the server started are
known here; whatever else is asked is passed on.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from starlette.types import ASGIApp, Receive, Scope, Send

# Told here, since some machines' own tables have them wrong and browsers are told to believe them.
KINDS = {
    ".js": b"text/javascript; charset=utf-8",
    ".css": b"text/css; charset=utf-8",
    ".woff2": b"font/woff2",
    ".svg": b"image/svg+xml",
    ".png": b"image/png",
}
KEPT_FOR = b"public, immutable, max-age=31536000"  # their names change with what is in them; a year, as Streamlit says
FOLDER = "static"  # in Streamlit's folder of pages: files whose names tell their content


class PageFiles:
    """Middleware around Streamlit's server: answers for the files of its pages."""

    def __init__(self, app: ASGIApp, folder: Path) -> None:
        """`folder`: Streamlit's, of what its pages are made of."""
        self.app = app
        files = (file for file in (folder / FOLDER).rglob("*") if file.suffix in KINDS and file.is_file())
        self.files = {f"/{file.relative_to(folder).as_posix()}": file for file in files}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer for a file that is known; pass on what else is asked, as for a part of a file."""
        known = scope["type"] == "http" and scope["method"] == "GET" and self.files.get(scope["path"])
        if not known or any(name == b"range" for name, _ in scope["headers"]):
            await self.app(scope, receive, send)
            return
        try:
            body = known.read_bytes()
        except OSError:  # it is gone: Streamlit says so
            await self.app(scope, receive, send)
            return
        headers = [
            (b"content-type", KINDS[known.suffix]),
            (b"content-length", str(len(body)).encode()),
            (b"cache-control", KEPT_FOR),
        ]
        await send({"type": "http.response.start", "status": 200, "headers": headers})
        await send({"type": "http.response.body", "body": body})
