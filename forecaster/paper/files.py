"""The paper's files: their names, and how they are written: whole or not at all, and never over a file in silence."""

from __future__ import annotations

import os
import re
import unicodedata
from collections.abc import Iterable, Mapping
from datetime import date
from pathlib import Path
from tempfile import NamedTemporaryFile

from forecaster.errors import SourceError, WrongUsage

KINDS = ("pdf", "xlsx", "ics", "csv")
MOST_NAME = 90  # bytes of the fleet's and of the owner's name in a file's name: systems allow 255 in all
# What Windows does not allow in a name, and the names that it keeps for devices.
_NOT_IN_NAMES = re.compile(r'[<>:"/\\|?*\x00-\x1f\x7f]+')
_DEVICES = re.compile(r"(?i)^(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])(?=\.|$)")
FILES_TOLD = 6


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


def refuse_to_overwrite(paths: Iterable[Path], instead: str = "another folder with --out") -> None:
    """Raises WrongUsage where any of these files is there already, naming them; `instead`: where else they may go."""
    there = [path for path in paths if path.exists()]
    if there:
        more = f" and {len(there) - FILES_TOLD} more" if len(there) > FILES_TOLD else ""
        told = ", ".join(map(str, there[:FILES_TOLD])) + more
        verb = "is" if len(there) == 1 else "are"
        raise WrongUsage(f"{told} {verb} there already. Name {instead}, or write over with --force.")


def write_files(contents: Mapping[Path, bytes], instead: str = "another place with --out") -> list[Path]:
    """Write each file whole: beside its place first, then moved there in one step. The files written, in order.

    Raises SourceError where one cannot be written; what was there before is then still there. `instead`: where else
    they may go.
    """
    return [_write(path, content, instead) for path, content in contents.items()]


def _write(path: Path, content: bytes, instead: str) -> Path:
    beside: Path | None = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        with NamedTemporaryFile(dir=path.parent, prefix=f".{path.stem[:20]}", suffix=".part", delete=False) as part:
            beside = Path(part.name)
            part.write(content)
        os.chmod(beside, 0o666 & ~_umask())
        os.replace(beside, path)
    except OSError as error:
        if beside is not None:
            beside.unlink(missing_ok=True)
        raise SourceError(
            f"{path} cannot be written ({error.strerror}). Close it in other programs, or name {instead}."
        ) from error
    return path


def _umask() -> int:
    """What this process withholds from new files; it can only be read by setting it."""
    mask = os.umask(0o022)
    os.umask(mask)
    return mask
