"""The page's own files: in one piece, as they lie on the disk, and nothing but them."""

from __future__ import annotations

import asyncio
from pathlib import Path
from typing import Any

import pytest
import streamlit

from forecaster.page_files import KINDS, PageFiles

PASSED_ON = 418


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """What a page is made of, with a secret beside it."""
    (tmp_path / "static" / "js").mkdir(parents=True)
    (tmp_path / "static" / "js" / "page.js").write_bytes(b"go();")
    (tmp_path / "static" / "js" / "notes.txt").write_bytes(b"no part of a page")
    (tmp_path / "index.html").write_bytes(b"<html></html>")
    (tmp_path / "secret.js").write_bytes(b"secret")
    return tmp_path


def answered(
    folder: Path, path: str, method: str = "GET", headers: tuple[tuple[bytes, bytes], ...] = (), gone: str = ""
) -> tuple[int, dict[bytes, bytes], bytes]:
    """Status, headers and body; `gone`: a file that is removed once the server has started."""
    sent: list[Any] = []

    async def onward(scope: Any, receive: Any, send: Any) -> None:
        await send({"type": "http.response.start", "status": PASSED_ON, "headers": []})
        await send({"type": "http.response.body", "body": b""})

    async def send(message: Any) -> None:
        sent.append(message)

    files = PageFiles(onward, folder)
    if gone:
        (folder / gone).unlink()
    scope = {"type": "http", "path": path, "method": method, "headers": list(headers)}
    asyncio.run(files(scope, None, send))  # type: ignore[arg-type]
    start, body = sent
    return start["status"], dict(start["headers"]), body["body"]


def test_a_file_comes_in_one_piece_and_is_kept(folder: Path) -> None:
    status, headers, body = answered(folder, "/static/js/page.js")
    assert (status, body) == (200, b"go();")
    assert headers[b"content-length"] == b"5"
    assert headers[b"content-type"].startswith(b"text/javascript")
    assert b"immutable" in headers[b"cache-control"]


@pytest.mark.parametrize(
    "path",
    [
        "/",
        "/index.html",
        "/secret.js",
        "/static/../secret.js",
        "/static/js/../../secret.js",
        "//static/js/page.js",
        "/static/js/notes.txt",
        "/static/js/other.js",
        "/elsewhere/static/js/page.js",
    ],
)
def test_whatever_else_is_asked_is_passed_on(folder: Path, path: str) -> None:
    assert answered(folder, path)[0] == PASSED_ON


def test_so_is_another_method_a_part_of_a_file_and_a_file_that_is_gone(folder: Path) -> None:
    assert answered(folder, "/static/js/page.js", method="HEAD")[0] == PASSED_ON
    assert answered(folder, "/static/js/page.js", headers=((b"range", b"bytes=0-1"),))[0] == PASSED_ON
    assert answered(folder, "/static/js/page.js", gone="static/js/page.js")[0] == PASSED_ON


def test_every_script_of_the_installed_server_is_known() -> None:
    folder = Path(streamlit.__file__).parent / "static"
    scripts = {f"/{file.relative_to(folder).as_posix()}" for file in (folder / "static").rglob("*.js")}
    known = PageFiles(None, folder).files  # type: ignore[arg-type]
    assert scripts
    assert scripts <= set(known)
    assert {file.suffix for file in known.values()} <= set(KINDS)
