"""Files put into place whole, and several of one answer as one set: all of it, or what was there before.

Everything is written beside its place first and reaches the disk there. Then one file is moved in one step, and so is
a folder that was not there before. Several files of a folder that is there cannot be: while they are moved the old ones
are kept, and a notice (``leftovers``) lies beside them, so that nobody takes a half set for a whole one.
"""

from __future__ import annotations

import errno
import os
import stat
from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Protocol

from forecaster.leftovers import (
    Move,
    as_written,
    before,
    delete,
    folder_part,
    new_run,
    notice,
    notice_of,
    part,
    take_back,
)

_NO_SPACE = {errno.ENOSPC: "the disk is full", errno.EFBIG: "the file is larger than may be written there"}
_NO_SPACE |= {errno.EDQUOT: "your share of the disk is full"} if hasattr(errno, "EDQUOT") else {}


class NotWritten(Exception):
    """A file cannot be written: its place, why in plain words, and whether space is what is wanting."""

    def __init__(self, place: Path, error: OSError) -> None:
        """`error`: what the system said."""
        self.place = place
        self.for_want_of_space = error.errno in _NO_SPACE
        self.reason = _NO_SPACE.get(error.errno or 0, error.strerror or str(error))
        super().__init__(f"{place}: {self.reason}")


def put(contents: Mapping[Path, bytes], gone: Iterable[Path] = (), over: bool = False) -> None:
    """Put these files into place and take those away that are `gone`: all of it, or nothing.

    Missing folders are made. A file gets the permissions of the one in whose place it comes, a new one the usual ones;
    nothing comes in the place of another but `over` it. Paths are absolute, and links in them were followed. Raises
    NotWritten where one cannot be written.
    """
    sets = _sets_of(contents, list(gone), over)
    try:
        for one in sets:
            one.lay_beside()
        for one in sets:
            one.move_in()
        for one in sets:
            one.settle()
    except BaseException as error:
        for each in reversed(sets):
            each.undo()
        if isinstance(error, OSError):
            raise NotWritten(one.at, error) from error
        raise
    for one in sets:
        one.clear()


class _Set(Protocol):
    """Files that are put into place together; `at`: the one that is being written."""

    at: Path

    def lay_beside(self) -> None: ...
    def move_in(self) -> None: ...
    def settle(self) -> None: ...
    def undo(self) -> None: ...
    def clear(self) -> None: ...


def _sets_of(contents: Mapping[Path, bytes], gone: Sequence[Path], over: bool) -> Sequence[_Set]:
    """The sets of an answer, one for each folder; links may lead its files into several."""
    if len(contents) == 1 and not gone and (place := next(iter(contents))).parent.is_dir():
        return [_OneFile(place, contents[place], over)]
    sets: list[_Set] = []
    new: dict[Path, dict[Path, bytes]] = {}
    for folder in dict.fromkeys(place.parent for place in (*contents, *gone)):
        inside = {place: content for place, content in contents.items() if place.parent == folder}
        if folder.exists():
            sets.append(_Together(folder, inside, [place for place in gone if place.parent == folder], over))
        else:
            new.setdefault(_topmost_missing(folder), {}).update(inside)
    return [*sets, *(_NewFolder(top, inside) for top, inside in new.items())]


def _topmost_missing(folder: Path) -> Path:
    while not folder.parent.exists():
        folder = folder.parent
    return folder


@dataclass
class _OneFile:
    """One file of a folder that is there: moved in one step."""

    at: Path
    content: bytes
    over: bool
    run: str = field(default_factory=new_run)

    def lay_beside(self) -> None:
        _write(part(self.at.parent, self.run, 0), self.content, self.at)

    def move_in(self) -> None:
        _keep_free(self.at, self.over)
        os.replace(part(self.at.parent, self.run, 0), self.at)

    def settle(self) -> None:
        _sync(self.at.parent)

    def undo(self) -> None:
        delete(part(self.at.parent, self.run, 0))

    def clear(self) -> None:
        """Nothing was set aside."""


@dataclass
class _NewFolder:
    """A folder that is not there, with those in it: made whole beside, and moved in one step."""

    at: Path
    contents: Mapping[Path, bytes]
    run: str = field(default_factory=new_run)
    moved: bool = False

    def __post_init__(self) -> None:
        self.top = self.at
        self.beside = folder_part(self.top.parent, self.run)

    def lay_beside(self) -> None:
        for place, content in self.contents.items():
            self.at = place
            inner = self.beside / place.relative_to(self.top)
            inner.parent.mkdir(parents=True, exist_ok=True)
            _write(inner, content, place)
        for folder in {place.parent for place in self.contents}:
            _sync(self.beside / folder.relative_to(self.top))

    def move_in(self) -> None:
        os.rename(self.beside, self.top)
        self.moved = True

    def settle(self) -> None:
        _sync(self.top.parent)

    def undo(self) -> None:
        delete(self.top if self.moved else self.beside)

    def clear(self) -> None:
        """Nothing was set aside."""


@dataclass
class _Together:
    """Several files of a folder that is there: moved one by one beside a notice, the old ones kept until all are in."""

    at: Path
    contents: Mapping[Path, bytes]
    gone: Sequence[Path]
    over: bool
    run: str = field(default_factory=new_run)
    moves: list[Move] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.folder = self.at

    def lay_beside(self) -> None:
        for number, (place, content) in enumerate(self.contents.items()):
            self.at = place
            _write(part(self.folder, self.run, number), content, place)
            self.moves.append(Move(place.name, *as_written(part(self.folder, self.run, number))))
        self.moves += [Move(place.name) for place in self.gone]
        draft = part(self.folder, self.run, len(self.moves))
        _write(draft, notice_of(self.moves), notice(self.folder, self.run))
        os.replace(draft, notice(self.folder, self.run))
        _sync(self.folder)

    def move_in(self) -> None:
        for number, place in enumerate((*self.contents, *self.gone)):
            self.at = place
            _keep_free(place, self.over)
            with suppress(FileNotFoundError):
                os.replace(place, before(self.folder, self.run, number))
            if place in self.contents:
                os.replace(part(self.folder, self.run, number), place)
        _sync(self.folder)

    def settle(self) -> None:
        """From here on the set is whole: nothing says any more that it is not."""
        notice(self.folder, self.run).unlink()
        _sync(self.folder)

    def undo(self) -> None:
        with suppress(OSError):
            take_back(self.folder, self.run, self.moves)
        for number in range(len(self.contents) + len(self.gone) + 1):
            delete(part(self.folder, self.run, number))

    def clear(self) -> None:
        for number in range(len(self.moves)):
            delete(before(self.folder, self.run, number))


def _keep_free(place: Path, over: bool) -> None:
    """Nothing comes in the place of what appeared there while the answer was written."""
    if not over and os.path.lexists(place):
        raise FileExistsError(errno.EEXIST, "another file came there meanwhile")


def _write(beside: Path, content: bytes, place: Path) -> None:
    """A new file, on the disk to its last byte, with the permissions of the one in whose place it will come."""
    with open(beside, "xb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())
    with suppress(FileNotFoundError):
        os.chmod(beside, stat.S_IMODE(os.stat(place).st_mode))


def _sync(folder: Path) -> None:
    """See a folder's names onto the disk, where the system knows how to."""
    with suppress(OSError):
        opened = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(opened)
        finally:
            os.close(opened)
