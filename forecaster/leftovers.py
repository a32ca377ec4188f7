"""What a killed run left while it wrote files: known by names of our own, undone and deleted by the next write.

Files lie beside their places as ``.forecaster-RUN-NUMBER.part`` until they are moved there, and those in whose place
they come as ``.forecaster-RUN-NUMBER.before`` until all are in. While several files of one answer are moved, a notice
lists them; only a run that is over leaves it behind. Without a notice, what was set aside is no longer needed.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import shutil
import stat
import sys
import time
from collections.abc import Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from hashlib import blake2b
from pathlib import Path
from socket import gethostname

STALE_SECONDS = 3600.0  # a leftover so old is one, whoever wrote it: no answer takes minutes to be put into place
MAX_NOTICE_BYTES = 10_000_000  # some 50,000 files of one answer
_NOT_READ = (OSError, ValueError, TypeError, RecursionError)  # what reading a notice that is none of ours may end in
_RUN = r"(?P<run>(?P<host>[0-9a-f]{6})-(?P<process>\d{1,9})-[0-9a-f]{8})"
_LEFTOVER = re.compile(rf"\.forecaster-{_RUN}(-\d{{1,6}})?\.(part|before)")
_NOTICE = re.compile(rf"unfinished-forecaster-{_RUN}\.txt")
_NOTICE_WORDS = """These files belong together, and forecaster was stopped while it put them here:

{names}

Not all of them are here, or some are of an earlier run. Run the same command again: it first puts back what was here.
The line below is for the program.

"""


@dataclass(frozen=True)
class Move:
    """A file that comes or (size None) goes: its name, and size and time, by which what was written is known again."""

    name: str
    size: int | None = None
    written_ns: int | None = None


def new_run() -> str:
    """A name for one writing of files, in which its machine and process are known again."""
    return f"{_host()}-{os.getpid()}-{secrets.token_hex(4)}"


def part(folder: Path, run: str, number: int) -> Path:
    """Where the set's file of this number lies until it is moved to its place."""
    return folder / f".forecaster-{run}-{number}.part"


def folder_part(above: Path, run: str) -> Path:
    """Where a folder that was not there lies until it is moved to its place in the folder `above`."""
    return above / f".forecaster-{run}.part"


def before(folder: Path, run: str, number: int) -> Path:
    """Where what was there before is kept until the set is whole."""
    return folder / f".forecaster-{run}-{number}.before"


def notice(folder: Path, run: str) -> Path:
    """The file that says, to people and to the program, that the set is not whole."""
    return folder / f"unfinished-forecaster-{run}.txt"


def notice_of(moves: Sequence[Move]) -> bytes:
    """What a notice says."""
    told = "\n".join(f"    {move.name}" for move in moves)
    rows = [[move.name, move.size, move.written_ns] for move in moves]
    return (_NOTICE_WORDS.format(names=told) + json.dumps(rows) + "\n").encode()


def unfinished(folder: Path, names: Iterable[str]) -> dict[str, list[str]]:
    """Those of a folder's names that are notices of a set that is not whole, with the files that each lists.

    None where a notice cannot be read.
    """
    found: dict[str, list[str]] = {name: [] for name in names if _NOTICE.fullmatch(name)}
    for name in found:
        with suppress(*_NOT_READ):
            found[name] = [move.name for move in _moves_in(folder / name)]
    return found


def as_written(place: Path) -> tuple[int, int]:
    """Size and time of writing of a file: what is moved keeps them."""
    found = os.lstat(place)
    return found.st_size, found.st_mtime_ns


def sweep(folder: Path) -> None:
    """Undo what runs that are over had begun to move into a folder, and delete what they left there.

    Nothing is touched of a run that may still go on, nor what anybody changed since.
    """
    try:
        names = os.listdir(folder)
    except OSError:
        return
    for name in names:
        found = _NOTICE.fullmatch(name)
        if found and _is_over(folder / name, found):
            with suppress(*_NOT_READ):
                take_back(folder, found["run"], _moves_in(folder / name))
    for name in names:
        found = _LEFTOVER.fullmatch(name)
        if found and not notice(folder, found["run"]).exists() and _is_over(folder / name, found):
            delete(folder / name)


def take_back(folder: Path, run: str, moves: Sequence[Move]) -> None:
    """Put back what was there before a run; where anybody changed what it wrote since, all is left as it is.

    It may be killed in turn and begun again: what was put back already is known by not being what the run wrote.
    """
    for number, move in enumerate(moves):
        place = folder / move.name
        if before(folder, run, number).exists() and os.path.lexists(place) and not _is_of_the_run(place, move):
            return
    for number, move in enumerate(moves):
        place, old, new = folder / move.name, before(folder, run, number), part(folder, run, number)
        if old.exists():
            os.replace(old, place)
        elif not new.exists() and os.path.lexists(place) and _is_of_the_run(place, move):
            place.unlink()
        new.unlink(missing_ok=True)
    notice(folder, run).unlink(missing_ok=True)


def delete(place: Path) -> None:
    """Delete a file or folder of our own, where that can be done."""
    with suppress(OSError):
        if place.is_dir() and not place.is_symlink():
            shutil.rmtree(place, ignore_errors=True)
        else:
            place.unlink()


def _is_of_the_run(place: Path, move: Move) -> bool:
    return as_written(place) == (move.size, move.written_ns)


def _moves_in(place: Path) -> list[Move]:
    """What a notice lists. Raises one of _NOT_READ where it lists anything but names of files in its own folder."""
    found = os.lstat(place)
    if not stat.S_ISREG(found.st_mode) or found.st_size > MAX_NOTICE_BYTES:
        raise ValueError("no notice of ours")
    moves = [Move(*row) for row in json.loads(place.read_text("utf-8").rstrip().rpartition("\n")[2])]
    if any(move.name in ("", ".", "..") or re.search(r"[/\\:\0]", move.name) for move in moves):
        raise ValueError("a name that is none of a file in its folder")
    return moves


def _host() -> str:
    return blake2b(gethostname().encode(), digest_size=3).hexdigest()


def _is_over(place: Path, found: re.Match[str]) -> bool:
    """Whether the run that left a file is over: its process is gone, or the file is old."""
    if found["host"] == _host() and not _is_running(int(found["process"])):
        return True
    try:
        return time.time() - os.lstat(place).st_mtime > STALE_SECONDS
    except OSError:
        return False


def _is_running(process: int) -> bool:
    if sys.platform == "win32":  # no harmless signal there: age alone tells
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True  # somebody else's
    return True
