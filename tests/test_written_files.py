"""The one writer of files: what it refuses, what it leaves where it fails, and what a new file may be read by."""

from __future__ import annotations

import ast
import errno
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from forecaster import leftovers
from forecaster.commands import COMMANDS
from forecaster.errors import SourceError, WrongUsage
from forecaster.leftovers import STALE_SECONDS, sweep
from forecaster.question_options import FORCE
from forecaster.written_files import check_places, write_files
from tests.conftest import ROOT

Lying = dict[str, bytes]


def lying(folder: Path) -> Lying:
    """Every file there, hidden ones too, by name."""
    return {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


# Written, and over what ---------------------------------------------------------------------------------------------


def test_files_are_written_into_a_folder_that_is_made(tmp_path: Path) -> None:
    places = [tmp_path / "new" / "folder" / name for name in ("a.pdf", "b.pdf")]
    assert write_files(dict.fromkeys(places, b"one")) == places
    assert lying(tmp_path) == {"new/folder/a.pdf": b"one", "new/folder/b.pdf": b"one"}


def test_files_are_written_beside_others_which_stay(tmp_path: Path) -> None:
    (tmp_path / "mine").write_bytes(b"mine")
    write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert lying(tmp_path) == {"mine": b"mine", "a": b"1", "b": b"2"}


def test_what_is_there_is_told_by_name_with_the_remedy(tmp_path: Path) -> None:
    there, free = tmp_path / "a.pdf", tmp_path / "b.pdf"
    there.write_bytes(b"mine")
    check_places([free])
    with pytest.raises(
        WrongUsage, match=r"a\.pdf is there already\. Name another place, or write over it with --force"
    ):
        write_files({free: b"new", there: b"new"})
    assert lying(tmp_path) == {"a.pdf": b"mine"}


def test_many_that_are_there_are_counted(tmp_path: Path) -> None:
    places = [tmp_path / f"{n}.pdf" for n in range(8)]
    for place in places:
        place.write_bytes(b"")
    with pytest.raises(WrongUsage, match=r"5\.pdf and 2 more are there already\. .* write over them with --force"):
        check_places(places)


def test_with_force_it_is_written_over_and_what_is_to_go_goes(tmp_path: Path) -> None:
    for name in ("a", "b", "stale", "mine"):
        (tmp_path / name).write_bytes(b"old")
    contents = {tmp_path / "a": b"new", tmp_path / "b": b"new"}
    with pytest.raises(WrongUsage, match="stale are there already"):
        write_files(contents, gone=[tmp_path / "stale"])
    write_files(contents, force=True, gone=[tmp_path / "stale", tmp_path / "never there"])
    assert lying(tmp_path) == {"a": b"new", "b": b"new", "mine": b"old"}


def test_a_file_that_came_meanwhile_is_not_written_over(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place, fsync = tmp_path / "a", os.fsync

    def slow(opened: int) -> None:
        fsync(opened)
        place.write_bytes(b"somebody's")

    monkeypatch.setattr(os, "fsync", slow)
    with pytest.raises(SourceError, match="another file came there meanwhile"):
        write_files({place: b"new"})
    assert lying(tmp_path) == {"a": b"somebody's"}


def test_files_of_several_new_folders_are_one_answer(tmp_path: Path) -> None:
    names = ("new/a/1", "new/b/2", "new/3", "other/4", "5")
    write_files({tmp_path / name: name.encode() for name in names})
    assert lying(tmp_path) == {name: name.encode() for name in names}


def test_nothing_at_all_is_no_error(tmp_path: Path) -> None:
    assert write_files({}) == []
    assert lying(tmp_path) == {}


# What was read ------------------------------------------------------------------------------------------------------


def by_its_name(source: Path) -> Path:
    return source


def by_a_way_round(source: Path) -> Path:
    return source.parent / "sub" / ".." / source.name


def by_a_link(source: Path) -> Path:
    (link := source.parent / "link.csv").symlink_to(source)
    return link


def by_a_second_name(source: Path) -> Path:
    os.link(source, second := source.parent / "second.csv")
    return second


def by_a_link_to_its_folder(source: Path) -> Path:
    (link := source.parent.parent / "elsewhere").symlink_to(source.parent)
    return link / source.name


def by_a_relative_path(source: Path) -> Path:
    return Path(os.path.relpath(source))


def by_capitals(source: Path) -> Path:
    return source.with_name(source.name.upper())


@pytest.mark.parametrize(
    "named",
    [
        by_its_name,
        by_a_way_round,
        by_a_link,
        by_a_second_name,
        by_a_link_to_its_folder,
        by_a_relative_path,
        by_capitals,
    ],
)
def test_what_was_read_is_never_written_over(tmp_path: Path, named: Callable[[Path], Path]) -> None:
    source = tmp_path / "fleet" / "craft.csv"
    (source.parent / "sub").mkdir(parents=True)
    source.write_bytes(b"records")
    place = named(source)
    for force in (False, True):
        with pytest.raises(WrongUsage, match=r"was read for this answer: it is never written over, not even with"):
            write_files({place: b"new"}, [source], force)
        with pytest.raises(WrongUsage, match="was read"):
            write_files({}, [source], force, gone=[place])
    assert source.read_bytes() == b"records"


def test_a_name_that_would_be_read_as_the_fleets_own_is_refused(tmp_path: Path) -> None:
    with pytest.raises(WrongUsage, match=r"would be read as the fleet's own water\.csv\. Name another place"):
        write_files({tmp_path / "Water.csv": b"new"}, [tmp_path / "water.csv"], force=True)


# What is no ordinary file -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["/dev/null", "/dev/full", "/dev/stdout", "/dev/fd/1"])
def test_a_device_is_refused_and_stays_one(place: str) -> None:
    before = os.stat(place).st_mode
    with pytest.raises(WrongUsage, match=r"device or a pipe|own words go"):
        write_files({Path(place): b"x"}, force=True)
    assert os.stat(place).st_mode == before


def test_a_pipe_is_refused_without_waiting_for_a_reader(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "link").symlink_to(tmp_path / "pipe")
    for name in ("pipe", "link"):
        with pytest.raises(WrongUsage, match="a device or a pipe"):
            write_files({tmp_path / name: b"x"}, force=True)
    assert stat.S_ISFIFO((tmp_path / "pipe").stat().st_mode)


def test_a_hyphen_is_no_file_and_a_folder_is_none() -> None:
    for place in (Path("-"), Path("-") / "refused_craft.csv"):
        with pytest.raises(WrongUsage, match="'-' is no place for a file"):
            write_files({place: b"x"}, force=True)
    with pytest.raises(WrongUsage, match=r"is a folder\. Name a file in it"):
        write_files({ROOT: b"x"}, force=True)


def test_a_write_protected_file_is_left_also_with_force(tmp_path: Path) -> None:
    (place := tmp_path / "a").write_bytes(b"kept")
    place.chmod(0o444)
    with pytest.raises(WrongUsage, match="write-protected"):
        write_files({place: b"x"}, force=True)
    assert place.read_bytes() == b"kept"


def test_one_file_under_two_names_is_refused(tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(tmp_path / "a")
    with pytest.raises(WrongUsage, match="are the same file"):
        write_files({tmp_path / "a": b"1", tmp_path / "link": b"2"}, force=True)
    assert lying(tmp_path) == {}


# Links and permissions ----------------------------------------------------------------------------------------------


def test_a_link_stays_and_what_it_leads_to_is_written(tmp_path: Path) -> None:
    (shared := tmp_path / "shared").mkdir()
    (link := tmp_path / "a").symlink_to(shared / "real")
    with pytest.raises(WrongUsage, match="there already"):  # also where it leads nowhere yet
        write_files({link: b"1"})
    write_files({link: b"1", tmp_path / "b": b"2"}, force=True)
    assert link.is_symlink()
    assert (shared / "real").read_bytes() == b"1"
    assert len(lying(tmp_path)) == 3  # the link, what it leads to, and b


def test_a_new_file_may_be_read_by_those_who_may_read_others(tmp_path: Path) -> None:
    (usual := tmp_path / "usual").write_bytes(b"")
    (folder := tmp_path / "usual folder").mkdir()
    (place,) = write_files({tmp_path / "a.ics": b""})
    write_files({tmp_path / "made" / "b": b""})
    assert place.stat().st_mode == usual.stat().st_mode
    assert (tmp_path / "made").stat().st_mode == folder.stat().st_mode


def test_a_file_keeps_the_permissions_of_the_one_before(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / name).write_bytes(b"private")
        (tmp_path / name).chmod(0o600)
    write_files({tmp_path / "a": b"", tmp_path / "b": b""}, force=True)
    assert {stat.S_IMODE((tmp_path / name).stat().st_mode) for name in ("a", "b")} == {0o600}


# Where it fails -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("places", "stale", "moves"), [(("a",), (), 1), (("new/a", "new/b"), (), 1), (("a", "b", "c"), ("stale",), 8)]
)
def test_whichever_move_fails_all_is_as_it_was(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    places: tuple[str, ...],
    stale: tuple[str, ...],
    moves: int,
) -> None:
    for name in ("a", "b", "stale"):
        (tmp_path / name).write_bytes(b"old")
    before, move, left = lying(tmp_path), os.replace, [0]

    def refuse(one: Path, other: Path) -> None:
        left[0] -= 1
        if left[0] == -1:
            raise PermissionError(errno.EACCES, "Permission denied")
        move(one, other)

    def written() -> list[Path]:
        gone = [tmp_path / name for name in stale]
        return write_files({tmp_path / name: b"new" for name in places}, force=True, gone=gone)

    monkeypatch.setattr(os, "replace", refuse)
    monkeypatch.setattr(os, "rename", refuse)
    for failing in range(moves):
        left[0] = failing
        with pytest.raises(
            SourceError, match=r"written \(Permission denied\)\. Close it in other programs, or name ano"
        ):
            written()
        assert lying(tmp_path) == before
    left[0] = moves
    written()
    assert lying(tmp_path) == {n: b for n, b in before.items() if n not in stale} | dict.fromkeys(places, b"new")


def test_a_full_disk_is_told_plainly_and_leaves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(SourceError, match=r"\(the disk is full\)\. Free some space, or name another place"):
        write_files({tmp_path / "new" / "a": b"1", tmp_path / "new" / "b": b"2"})
    assert list(tmp_path.iterdir()) == []


def test_an_interrupt_leaves_all_as_it_was(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "b").write_bytes(b"old")
    move, stops = os.replace, list[bool]()

    def stopped(one: Path, other: Path) -> None:
        if Path(other).name == "b" and not stops:
            stops.append(True)
            raise KeyboardInterrupt
        move(one, other)

    monkeypatch.setattr(os, "replace", stopped)
    with pytest.raises(KeyboardInterrupt):
        write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"}, force=True)
    assert lying(tmp_path) == {"b": b"old"}


# What killed runs left ----------------------------------------------------------------------------------------------


def leftover(folder: Path, ending: str = "-0.part", process: int = 1, host: str | None = None) -> Path:
    """A file such as a run of this process number leaves."""
    place = folder / f".forecaster-{host or leftovers._host()}-{process}-0123abcd{ending}"
    place.write_bytes(b"half a f")
    return place


def gone_process() -> int:
    """The number of a process that has ended."""
    child = os.posix_spawn("/bin/true", ["true"], {})
    os.waitpid(child, 0)
    return child


def test_what_a_run_left_whose_process_is_gone_is_deleted(tmp_path: Path) -> None:
    dead = gone_process()
    leftover(tmp_path, process=dead)
    leftover(tmp_path, "-0.before", process=dead)
    (tmp_path / f".forecaster-{leftovers._host()}-{dead}-0123abcd.part").mkdir()
    write_files({tmp_path / "a": b"1"})
    assert [entry.name for entry in tmp_path.iterdir()] == ["a"]


def test_what_lies_above_a_folder_that_is_made_is_deleted_too(tmp_path: Path) -> None:
    (tmp_path / f".forecaster-{leftovers._host()}-{gone_process()}-0123abcd.part").mkdir()
    write_files({tmp_path / "new" / "deep" / "a": b"1"})
    assert lying(tmp_path) == {"new/deep/a": b"1"}
    assert len(list(tmp_path.iterdir())) == 1


def test_what_a_run_may_still_be_writing_stays_until_it_is_old(tmp_path: Path) -> None:
    ours, elsewhere = leftover(tmp_path, process=os.getpid()), leftover(tmp_path, host="000000")
    sweep(tmp_path)
    assert ours.exists()
    assert elsewhere.exists()
    long_ago = ours.stat().st_mtime - STALE_SECONDS - 60
    for place in (ours, elsewhere):
        os.utime(place, (long_ago, long_ago))
    sweep(tmp_path)
    assert lying(tmp_path) == {}


def test_a_users_own_files_are_never_swept(tmp_path: Path) -> None:
    long_ago = 1_000_000_000
    names = (".forecaster.part", "film.part", ".forecaster-notes-1-2.part", "unfinished-forecaster-thoughts.txt")
    for name in names:
        (tmp_path / name).write_bytes(b"mine")
        os.utime(tmp_path / name, (long_ago, long_ago))
    sweep(tmp_path)
    assert set(lying(tmp_path)) == set(names)


def test_a_notice_that_names_other_folders_moves_nothing(tmp_path: Path) -> None:
    (folder := tmp_path / "here").mkdir()
    (tmp_path / "mine").write_bytes(b"mine")
    run = f"{leftovers._host()}-{gone_process()}-0123abcd"
    (folder / f".forecaster-{run}-0.before").write_bytes(b"planted")
    (folder / f"unfinished-forecaster-{run}.txt").write_text('[["../mine", 4, 0]]', "utf-8")
    sweep(folder)
    assert (tmp_path / "mine").read_bytes() == b"mine"


@pytest.mark.parametrize("content", [b"", b"[" * 100_000, b"\xff", b"[[1]]", b'[["a", 1, 2, 3]]', b"{}", b"7"])
def test_a_notice_that_is_none_of_ours_does_no_harm(tmp_path: Path, content: bytes) -> None:
    name = f"unfinished-forecaster-{leftovers._host()}-{gone_process()}-0123abcd.txt"
    (tmp_path / name).write_bytes(content)
    write_files({tmp_path / "a": b"1", tmp_path / "b": b"2"})
    assert (tmp_path / "a").read_bytes() == b"1"


def test_a_pipe_called_as_a_notice_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / f"unfinished-forecaster-{leftovers._host()}-{gone_process()}-0123abcd.txt")
    write_files({tmp_path / "a": b"1"})
    assert leftovers.unfinished(tmp_path, os.listdir(tmp_path)) != {}


def test_what_was_changed_since_a_run_was_killed_is_left_as_it_is(tmp_path: Path) -> None:
    run = f"{leftovers._host()}-{gone_process()}-0123abcd"
    (tmp_path / "a").write_bytes(b"mended by hand since")
    (tmp_path / f".forecaster-{run}-0.before").write_bytes(b"old")
    (tmp_path / f"unfinished-forecaster-{run}.txt").write_bytes(leftovers.notice_of([leftovers.Move("a", 3, 5)]))
    before = lying(tmp_path)
    sweep(tmp_path)
    assert lying(tmp_path) == before


# One writer for all -------------------------------------------------------------------------------------------------

WRITING_COMMANDS = {"validate", "experience", "plan", "report", "flooded", "simulate"}
WRITING = {"write_bytes", "write_text", "mkdir", "makedirs", "touch", "mkstemp", "NamedTemporaryFile", "symlink_to"}


def test_every_command_that_writes_takes_force_in_the_same_words() -> None:
    forced = {name for name, one in COMMANDS.by_name.items() if any("--force" in a.names for a in one.arguments)}
    assert forced == WRITING_COMMANDS
    assert all(FORCE in COMMANDS.by_name[name].arguments for name in forced)


def writes(call: ast.Call) -> bool:
    """Whether a call writes to the disk by itself."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    mode = [a.value for a in call.args[:2] if isinstance(a, ast.Constant) and isinstance(a.value, str)]
    return name in WRITING or (
        name == "open" and bool(mode) and bool(set(mode[-1]) & set("wax+")) and len(mode[-1]) < 4
    )


def test_no_other_room_writes_to_the_disk() -> None:
    found = {
        file.stem
        for file in (ROOT / "forecaster").rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(node, ast.Call) and writes(node)
    }
    assert found == {"file_sets", "upload_folders"}  # the latter: the lock of an upload's own temporary folder
