"""Which records a source holds, as a digest: the same files are the same fleet, wherever they lie."""

from __future__ import annotations

from hashlib import blake2b
from pathlib import Path

FLEET_FILES = {".csv", ".toml"}


def size_of(source: str) -> int:
    """Bytes of the files that ``content_of`` reads."""
    return sum(file.stat().st_size for file in _files(Path(source)) if file.is_file())


def content_of(source: str) -> str:
    """A digest of the name and bytes of a fleet folder's files, or of a workbook; of the name where there is nothing.

    Not of the place: the same files uploaded again, or by another viewer, are the same fleet and need no new fit.
    """
    place = Path(source)
    digest = blake2b(place.name.encode(), digest_size=16)
    for file in _files(place):
        if file.is_file():
            content = file.read_bytes()
            digest.update(f"\0{file.name}\0{len(content)}\0".encode())
            digest.update(content)
    return digest.hexdigest()


def _files(place: Path) -> list[Path]:
    return sorted(f for f in place.iterdir() if f.suffix.lower() in FLEET_FILES) if place.is_dir() else [place]
