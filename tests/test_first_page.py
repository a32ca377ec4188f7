"""What a page is given before the server has anything to say, and that everything else passes as it is."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import streamlit

from forecaster.first_page import FirstPage, picture_file

PAGE = b"<html><head><title>A fleet</title></head><body></body></html>"
STYLE = "h1 { line-height: 1.3; }"


def answered(
    path: str = "/", body: bytes = PAGE, kind: bytes = b"text/html; charset=utf-8", file: str | None = "Plot.js",
    **headers: bytes,
) -> tuple[dict[bytes, bytes], bytes]:  # fmt: skip
    """Headers and body of an answer that passed through."""
    start, whole = passed(path, body, kind, file, **headers)[1]
    return dict(start["headers"]), whole["body"]


def passed(
    path: str, body: bytes, kind: bytes, file: str | None, **headers: bytes
) -> tuple[list[tuple[bytes, bytes]], list[Any]]:
    """The headers that the server was asked with, and the messages that it answered with once they have passed."""
    asked: list[tuple[bytes, bytes]] = []
    sent: list[Any] = []
    own = [(b"content-type", kind), (b"content-length", str(len(body)).encode())]
    own += [(name.replace("_", "-").encode(), value) for name, value in headers.items()]

    async def page(scope: Any, receive: Any, send: Any) -> None:
        asked.extend(scope["headers"])
        await send({"type": "http.response.start", "status": 200, "headers": own})
        await send({"type": "http.response.body", "body": body})

    async def send(message: Any) -> None:
        sent.append(message)

    scope = {"type": "http", "path": path, "headers": [(b"accept", b"text/html"), (b"accept-encoding", b"gzip")]}
    asyncio.run(FirstPage(page, STYLE, file)(scope, None, send))  # type: ignore[arg-type]
    return asked, sent


def test_the_landing_page_starts_what_draws_pictures() -> None:
    headers, body = answered("/")
    assert body.index(b'import("./static/js/Plot.js")') < body.index(b"</head>")
    assert headers[b"content-length"] == str(len(body)).encode()


def test_any_other_page_only_has_it_fetched() -> None:
    _, body = answered("/after_water")
    assert b'<link rel="modulepreload" href="./static/js/Plot.js"></head>' in body
    assert b"import(" not in body


def test_the_style_is_the_pages_last_word() -> None:
    _, body = answered("/after_water")
    assert body.endswith(b"<style>\nh1 { line-height: 1.3; }</style></body></html>")


def test_a_page_opened_by_its_own_address_knows_where_its_server_is() -> None:
    _, body = answered("/after_water")
    assert b'BACKEND_BASE_URL: new URL(".", location.href).href' in body[: body.index(b"</head>")]


def test_a_page_is_asked_for_unpacked_so_that_it_can_be_added_to() -> None:
    asked, _ = passed("/", PAGE, b"text/html", None)
    assert asked == [(b"accept", b"text/html")]


def test_what_is_no_page_is_left_alone() -> None:
    headers, body = answered(body=b"</head>", kind=b"text/javascript")
    assert (body, headers[b"content-length"]) == (b"</head>", b"7")


def test_a_page_packed_all_the_same_is_left_alone() -> None:
    _, body = answered(content_encoding=b"gzip")
    assert body == PAGE


def test_a_page_without_a_head_is_left_alone() -> None:
    headers, body = answered(body=b"")
    assert (body, headers[b"content-length"]) == (b"", b"0")


def test_a_server_without_that_file_is_asked_for_none() -> None:
    _, body = answered(file=None)
    assert b"./static/js" not in body


def test_the_installed_server_has_the_file(tmp_path: Path) -> None:
    assert picture_file(Path(streamlit.__file__).parent)
    assert picture_file(tmp_path) is None
