"""The one writer of files: nothing is written over unless told to, nothing over what was read, and no answer by half.

Every command and function that writes to the disk does it through here. A link is followed: what it leads to is
written, and the link stays.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterable, Mapping
from pathlib import Path

from forecaster.errors import SourceError, WrongUsage
from forecaster.file_sets import NotWritten, put
from forecaster.leftovers import sweep

FILES_TOLD = 6


def check_places(
    places: Iterable[Path], sources: Iterable[Path] = (), force: bool = False, gone: Iterable[Path] = ()
) -> None:
    """Refuse places that ``write_files`` would refuse: asked before long work, so that it is not told after it.

    What killed runs left is undone first (``undo_killed``). Raises WrongUsage where a place, or one that is to be
    `gone`, is no ordinary file, is write-protected, or is one of `sources`, the files that were read for the answer;
    and without `force` where one is there already.
    """
    wanted, unwanted = list(places), list(gone)
    undo_killed((*wanted, *unwanted))
    read = list(sources)
    for place in (*wanted, *unwanted):
        _refuse_what_is_no_file(place)
        _refuse_source(place, read)
    _refuse_one_place_for_two(wanted)
    there = [place for place in (*wanted, *unwanted) if os.path.lexists(place)]
    if there and not force:
        more = f" and {len(there) - FILES_TOLD} more" if len(there) > FILES_TOLD else ""
        told = ", ".join(map(str, there[:FILES_TOLD])) + more
        verb, them = ("is", "it") if len(there) == 1 else ("are", "them")
        raise WrongUsage(f"{told} {verb} there already. Name another place, or write over {them} with --force.")


def write_files(
    contents: Mapping[Path, bytes], sources: Iterable[Path] = (), force: bool = False, gone: Iterable[Path] = ()
) -> list[Path]:
    """Write the files of one answer, all or none, and take away those that are to be `gone`; the files written.

    Missing folders are made. What was there before stays where anything fails, or the program is killed. Raises
    WrongUsage as ``check_places``, and SourceError where a file cannot be written.
    """
    unwanted = list(gone)
    check_places(contents, sources, force, unwanted)
    given = {_real(place): place for place in contents}
    there = [_real(place.parent) / place.name for place in unwanted if os.path.lexists(place)]
    try:
        put({real: contents[place] for real, place in given.items()}, there, force)
    except NotWritten as error:
        place = given.get(error.place, error.place)
        remedy = "Free some space" if error.for_want_of_space else "Close it in other programs"
        raise SourceError(f"{place} cannot be written ({error.reason}). {remedy}, or name another place.") from error
    return list(contents)


def undo_killed(places: Iterable[Path]) -> None:
    """Put back what was at these places before a run that was killed while it moved its files there, if one was.

    What such runs left in their folders is deleted, and in the folders above, where theirs were made as a whole.
    """
    for folder in dict.fromkeys(_real(place).parent for place in places):
        sweep(folder)
        above = folder.parent
        while not above.is_dir() and above.parent != above:
            above = above.parent
        sweep(above)


def _real(place: Path) -> Path:
    return Path(os.path.realpath(place))


def _refuse_what_is_no_file(place: Path) -> None:
    if place.parts[:1] == ("-",):  # elsewhere it stands for standard output, which holds the answer alone
        raise WrongUsage("'-' is no place for a file. Name a file or a folder.")
    found = _found(place)
    if found is None:
        return
    if stat.S_ISDIR(found.st_mode):
        raise WrongUsage(f"{place} is a folder. Name a file in it.")
    if not stat.S_ISREG(found.st_mode):
        raise WrongUsage(f"{place} is a device or a pipe, to which no files are written. Name a file.")
    if any(_is_stream(found, stream) for stream in (1, 2)):
        raise WrongUsage(f"{place} is where this command's own words go. Name another place.")
    if not found.st_mode & (stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH):
        raise WrongUsage(f"{place} is write-protected. Take the protection away, or name another place.")


def _is_stream(found: os.stat_result, stream: int) -> bool:
    try:
        return os.path.samestat(found, os.fstat(stream))
    except OSError:  # closed
        return False


def _refuse_source(place: Path, sources: Iterable[Path]) -> None:
    for source in sources:
        if not _is_same(place, source):
            continue
        if _found(source) is None:  # a name of the fleet's folder that is free
            raise WrongUsage(f"{place} would be read as the fleet's own {source.name}. Name another place.")
        other = "" if os.path.abspath(place) == os.path.abspath(source) else f" is {source}, which"
        raise WrongUsage(
            f"{place}{other} was read for this answer: it is never written over, not even with --force. "
            "Name another place."
        )


def _is_same(place: Path, source: Path) -> bool:
    """Whether both are one file, by whatever name or link; of files that are not there, whether both are one name."""
    one, other = _found(place), _found(source)
    if one is not None and other is not None and os.path.samestat(one, other):
        return True
    place, source = _real(place), _real(source)
    if place.name.strip().casefold() != source.name.strip().casefold():
        return False
    one, other = _found(place.parent), _found(source.parent)
    return one is not None and other is not None and os.path.samestat(one, other)


def _found(place: Path) -> os.stat_result | None:
    try:
        return os.stat(place)
    except OSError:
        return None


def _refuse_one_place_for_two(places: list[Path]) -> None:
    taken: dict[Path, Path] = {}
    for place in places:
        other = taken.setdefault(_real(place), place)
        if other is not place:
            raise WrongUsage(f"{other} and {place} are the same file. Name another place.")
