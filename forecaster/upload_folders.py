"""Temporary folders of what was uploaded: deleted when they are let go, and swept where a program could not do so.

Each folder holds a lock, which the system lets go of when the program that made the folder ends, however it ends: also
killed, or by a loss of power. The next dashboard deletes the folders whose locks are free. So a folder of a dashboard
that still runs is never touched, nor is another user's.
"""

from __future__ import annotations

import os
import shutil
import stat
import sys
import tempfile
import time
import weakref
from contextlib import suppress
from pathlib import Path
from typing import IO

from forecaster.errors import SourceError

PREFIX = "forecaster-upload-"
LOCK = ".lock"  # no name of a fleet has a full stop in it
SWEPT_WITHIN_SECONDS = 0.05
TRIES = 10  # another dashboard may sweep a folder in the instant between its making and its lock


_alive: weakref.WeakSet[UploadFolder] = weakref.WeakSet()


class UploadFolder:
    """A new temporary folder that nobody else can read, deleted when it is let go or the program ends."""

    def __init__(self) -> None:
        """Make it and lock it. Raises SourceError where it cannot be made."""
        try:
            self.path, lock = _locked_folder()
        except OSError as error:
            why = error.strerror or str(error)
            raise SourceError(f"Uploads cannot be kept on this computer: {why}. Free some space.") from error
        self._finalizer = weakref.finalize(self, _remove, self.path, lock)
        _alive.add(self)

    def remove(self) -> None:
        """Delete it now; the second time nothing happens."""
        self._finalizer()


def is_uploaded(source: str | Path) -> bool:
    """Whether a source lies in such a folder of this program."""
    return any(folder.path in Path(source).parents for folder in list(_alive))


def remove_uploads() -> None:
    """Delete every such folder of this program, now: for one that is ended by a signal."""
    for folder in list(_alive):
        folder.remove()


def sweep_uploads() -> int:
    """Delete what programs that have ended left behind; how many folders that were."""
    left = [folder for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*") if _is_own_folder(folder)]
    return sum(_swept(folder) for folder in left)


def _locked_folder() -> tuple[Path, IO[bytes]]:
    """A new folder and its lock; where the file system knows no locks it is kept without, and never swept."""
    for _ in range(TRIES):
        folder = Path(tempfile.mkdtemp(prefix=PREFIX))
        try:
            lock = (folder / LOCK).open("xb")
        except FileNotFoundError:
            continue
        if not _take(lock):
            time.sleep(SWEPT_WITHIN_SECONDS)
        if (folder / LOCK).exists():
            return folder, lock
        lock.close()
    raise OSError(f"no folder can be kept in {tempfile.gettempdir()}")


def _remove(folder: Path, lock: IO[bytes]) -> None:
    lock.close()  # else Windows does not delete it
    shutil.rmtree(folder, ignore_errors=True)


def _is_own_folder(folder: Path) -> bool:
    """A folder itself, no link to one, and of this user: in a shared place others' have the same name."""
    try:
        found = folder.lstat()
    except OSError:
        return False
    return stat.S_ISDIR(found.st_mode) and (sys.platform == "win32" or found.st_uid == os.getuid())


def _swept(folder: Path) -> bool:
    """Whether a folder was left behind, and is gone now. One without a lock is just being made, or was just begun."""
    try:
        lock = (folder / LOCK).open("r+b")
    except OSError:
        return False
    with lock:
        free = _take(lock)
        if free and sys.platform != "win32":  # with its lock held: whoever is just making it sees it go
            shutil.rmtree(folder, ignore_errors=True)
    if free and sys.platform == "win32":  # which deletes no file that is open
        shutil.rmtree(folder, ignore_errors=True)
    return free


def _take(lock: IO[bytes]) -> bool:
    """Take a file's lock; False where a program that runs has it, or the file system knows no locks."""
    with suppress(OSError):
        if sys.platform == "win32":
            import msvcrt

            msvcrt.locking(lock.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            import fcntl

            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        return True
    return False
