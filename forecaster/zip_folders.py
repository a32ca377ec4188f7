"""A ZIP of a fleet folder as the files in it: checked before anything is unpacked, and never unpacked to a disk."""

from __future__ import annotations

import io
import stat
import zipfile
import zlib
from dataclasses import dataclass, field
from pathlib import PurePosixPath

from forecaster.errors import SourceError
from forecaster.packed_sizes import refuse_bomb
from forecaster.raw_tables import UnreadableFile
from forecaster.reading import MAX_CSV_BYTES

MAX_MEMBERS = 2_000  # a fleet folder has seven files; what else lies in it is named, not read
MAX_UNPACKED_BYTES = MAX_CSV_BYTES
PACK_AGAIN = "Pack the fleet folder into a ZIP again and upload that, or upload its files as they are."
_READ_COMPRESSION = (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED)
_ENCRYPTED = 0x1  # bit 0 of a member's general purpose flags: ZIP application note 4.4.4
# What desktops put into folders on their own; no user knows that it is there.
_JUNK_FOLDERS = frozenset({"__macosx"})
_JUNK_FILES = frozenset({"thumbs.db", "desktop.ini"})


@dataclass(frozen=True, slots=True)
class ReceivedFile:
    """A file that was handed over: its name, folders before it parted by "/", and its bytes."""

    name: str
    content: bytes = field(repr=False)

    @property
    def base(self) -> str:
        """The name without its folders."""
        return PurePosixPath(self.name).name

    @property
    def folder(self) -> str:
        """The folders before the name; empty where there are none."""
        parent = str(PurePosixPath(self.name).parent)
        return "" if parent == "." else parent

    @property
    def ending(self) -> str:
        """The ending in small letters, with its dot: ".csv"."""
        return PurePosixPath(self.name).suffix.casefold()


def is_junk(name: str) -> bool:
    """Whether a desktop made this file on its own: hidden files, thumbnails, locks of open workbooks."""
    parts = PurePosixPath(name).parts
    if any(part.casefold() in _JUNK_FOLDERS for part in parts[:-1]):
        return True
    base = parts[-1] if parts else ""
    return base.startswith((".", "~$")) or base.casefold() in _JUNK_FILES


def is_zip(content: bytes) -> bool:
    """Whether the bytes begin as a ZIP does; a workbook (.xlsx) does too."""
    return content.startswith((b"PK\x03\x04", b"PK\x05\x06"))


def unpack_zip(zipped: ReceivedFile, endings: frozenset[str]) -> tuple[list[ReceivedFile], list[str]]:
    """The files of a ZIP with one of `endings`, and the names of all others but what desktops leave behind.

    Raises SourceError for a ZIP that is broken or locked, holds too much, or a member whose name or kind reaches out
    of the folder: an absolute name, one with "..", a link.
    """
    try:
        packed = zipfile.ZipFile(io.BytesIO(zipped.content))
    except (zipfile.BadZipFile, OSError, ValueError, NotImplementedError) as error:
        raise SourceError(f"{zipped.base} is no ZIP, or it is damaged. {PACK_AGAIN}") from error
    with packed:
        members = packed.infolist()
        _refuse_too_much(zipped, members)
        kept, others = [], []
        for member in members:
            name = _safe_name(zipped.base, member)
            if member.is_dir() or name.endswith("/") or is_junk(name):
                continue
            if PurePosixPath(name).suffix.casefold() in endings:
                kept.append(ReceivedFile(name, _unpacked(zipped.base, packed, member)))
            else:
                others.append(name)
    return kept, others


def _refuse_too_much(zipped: ReceivedFile, members: list[zipfile.ZipInfo]) -> None:
    if len(members) > MAX_MEMBERS:
        raise SourceError(
            f"{zipped.base} holds {len(members):,} files; at most {MAX_MEMBERS:,} are looked at. "
            "Pack the fleet folder alone."
        )
    unpacked = sum(member.file_size for member in members)
    if unpacked > MAX_UNPACKED_BYTES:
        raise SourceError(
            f"{zipped.base} unpacks to {unpacked / 1e6:,.0f} MB; at most {MAX_UNPACKED_BYTES / 1e6:,.0f} MB are read. "
            "Pack only the fleet's files."
        )
    try:
        packed = sum(member.compress_size for member in members)
        refuse_bomb(zipped.base, unpacked, min(packed, len(zipped.content)), PACK_AGAIN)
    except UnreadableFile as error:
        raise SourceError(str(error)) from error


def _safe_name(zipped: str, member: zipfile.ZipInfo) -> str:
    """A member's name with "/" between folders. Raises SourceError where it points out of the folder."""
    name = member.filename.replace("\\", "/")  # as some programs for Windows write it
    path = PurePosixPath(name)
    drive = len(name) > 1 and name[1] == ":"
    if path.is_absolute() or drive or ".." in path.parts:
        raise SourceError(f"{zipped} holds {member.filename!r}, which points out of its own folder. {PACK_AGAIN}")
    if stat.S_ISLNK(member.external_attr >> 16):
        raise SourceError(f"{zipped} holds {name!r}, which is a link and no file. {PACK_AGAIN}")
    return name


def _unpacked(zipped: str, packed: zipfile.ZipFile, member: zipfile.ZipInfo) -> bytes:
    """A member's bytes; reading stops at the size that the directory states, however much is packed."""
    if member.flag_bits & _ENCRYPTED:
        raise SourceError(f"{zipped} is locked with a password. Pack the fleet folder without one.")
    if member.compress_type not in _READ_COMPRESSION:
        raise SourceError(f"{zipped} is packed in a way that is not read here. {PACK_AGAIN}")
    try:
        return packed.read(member)
    except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
        raise SourceError(f"{zipped} is damaged at {member.filename}. {PACK_AGAIN}") from error
