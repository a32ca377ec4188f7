"""The names of the paper's files: such as every system takes, and no two alike."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from datetime import date

KINDS = ("pdf", "xlsx", "ics", "csv")
MOST_NAME = 90  # bytes of the fleet's and of the owner's name in a file's name: systems allow 255 in all
# What Windows does not allow in a name, and the names that it keeps for devices.
_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]+')
_DEVICES = re.compile(r"(?i)^(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?=\.|$)")


def safe_name(text: str) -> str:
    """A text as part of a file's name that every system takes; what cannot stand in one becomes a low line."""
    plain = "".join(c if unicodedata.category(c)[0] != "C" else "_" for c in unicodedata.normalize("NFC", text))
    name = _NOT_IN_NAMES.sub("_", plain).encode()[:MOST_NAME].decode(errors="ignore").strip(" .")
    return _DEVICES.sub(r"\1_", name) or "_"


def paper_name(fleet: str, owner: str | None, as_of: date) -> str:
    """A paper's name without its ending: "harbour-Old Mole-2026-11-25"."""
    told = [safe_name(fleet), *([] if owner is None else [safe_name(owner)]), as_of.isoformat()]
    return "-".join(told)


def names_of(fleet: str, owners: Iterable[str | None], as_of: date) -> dict[str | None, str]:
    """A name for each owner's paper (None: the fleet's), no two alike, capitals apart."""
    taken: set[str] = set()
    names: dict[str | None, str] = {}
    for owner in owners:
        wanted = name = paper_name(fleet, owner, as_of)
        number = 2
        while name.casefold() in taken:
            name, number = f"{wanted}-{number}", number + 1
        taken.add(name.casefold())
        names[owner] = name
    return names
