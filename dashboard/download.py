"""A file to take along: one button, and what the browser is told that it is."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import streamlit as st

MEDIA = {
    ".csv": "text/csv",
    ".ics": "text/calendar",
    ".pdf": "application/pdf",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".zip": "application/zip",
}


def download_button(
    told: str,
    content: bytes | Callable[[], bytes],
    name: str,
    key: str | None = None,
    icon: str = ":material/download:",
) -> None:
    """A button that saves `content` under `name`, whose ending tells its kind; the screen stays as it is.

    `content` may be a function that is called when the button is.
    """
    st.download_button(
        told, content, file_name=name, mime=MEDIA[Path(name).suffix], icon=icon, key=key, on_click="ignore"
    )
