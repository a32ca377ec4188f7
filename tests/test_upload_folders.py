"""Temporary folders of uploads: gone when they are let go, and swept once their program has ended, however it did."""

from __future__ import annotations

import gc
import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from forecaster.errors import SourceError
from forecaster.upload_folders import LOCK, PREFIX, UploadFolder, is_uploaded, remove_uploads, sweep_uploads
from tests.conftest import ROOT

HOLDS = (
    "import sys, time\nfrom forecaster.upload_folders import UploadFolder\nfolder = UploadFolder()\n"
    "(folder.path / 'mine').mkdir()\n(folder.path / 'mine' / 'craft.csv').write_text('private')\n"
    "print(folder.path, flush=True)\ntime.sleep(600)\n"
)


@pytest.fixture(autouse=True)
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where uploads are kept during a test."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


@pytest.fixture
def other(temporary: Path) -> subprocess.Popen[str]:
    """Another program that keeps an upload, and runs."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(temporary))}
    program = subprocess.Popen([sys.executable, "-c", HOLDS], stdout=subprocess.PIPE, text=True, env=environment)
    assert program.stdout is not None
    assert Path(program.stdout.readline().strip()).parent == temporary
    yield program
    program.kill()
    program.wait(30)
    program.stdout.close()


def folders(temporary: Path) -> list[Path]:
    return sorted(temporary.glob(f"{PREFIX}*"))


def test_a_folder_is_gone_when_it_is_let_go(temporary: Path) -> None:
    folder = UploadFolder()
    assert is_uploaded(folder.path / "north")
    folder.remove()
    folder.remove()
    assert folders(temporary) == []
    UploadFolder()
    gc.collect()
    assert folders(temporary) == []


@pytest.mark.skipif(sys.platform == "win32", reason="other rights there")
def test_nobody_else_can_read_it() -> None:
    assert UploadFolder().path.stat().st_mode & 0o077 == 0


def test_where_nothing_can_be_kept_the_reason_is_told(monkeypatch: pytest.MonkeyPatch, temporary: Path) -> None:
    monkeypatch.setattr(tempfile, "tempdir", str(temporary / "nowhere"))
    with pytest.raises(SourceError, match=r"Uploads cannot be kept on this computer: .* Free some space"):
        UploadFolder()


def test_what_a_killed_program_left_is_swept(other: subprocess.Popen[str], temporary: Path) -> None:
    other.kill()
    other.wait(30)
    assert len(folders(temporary)) == 1
    assert sweep_uploads() == 1
    assert folders(temporary) == []


def test_what_a_running_program_keeps_is_never_swept(other: subprocess.Popen[str], temporary: Path) -> None:
    own = UploadFolder()
    assert sweep_uploads() == 0
    assert len(folders(temporary)) == 2
    assert own.path.is_dir()


def test_a_folder_that_is_just_being_made_is_left(temporary: Path) -> None:
    begun = Path(tempfile.mkdtemp(prefix=PREFIX))
    assert sweep_uploads() == 0
    assert begun.is_dir()


@pytest.mark.skipif(sys.platform == "win32", reason="links need rights there")
def test_neither_a_link_nor_another_users_folder_is_swept(temporary: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    elsewhere = temporary / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / LOCK).touch()
    (temporary / f"{PREFIX}link").symlink_to(elsewhere)
    theirs = temporary / f"{PREFIX}theirs"
    theirs.mkdir()
    (theirs / LOCK).touch()
    own = os.getuid()
    monkeypatch.setattr(os, "getuid", lambda: own + 1)
    assert sweep_uploads() == 0
    monkeypatch.undo()
    monkeypatch.setattr(tempfile, "tempdir", str(temporary))
    assert sweep_uploads() == 1  # once they are this user's own
    assert (elsewhere / LOCK).exists()


def test_all_of_a_program_go_at_once(temporary: Path) -> None:
    kept = [UploadFolder(), UploadFolder()]
    remove_uploads()
    assert folders(temporary) == []
    assert not any(is_uploaded(folder.path / "x") and folder.path.exists() for folder in kept)


@pytest.mark.skipif(sys.platform == "win32", reason="signals to a child differ there")
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGINT", "SIGKILL"])
def test_a_server_that_is_ended_leaves_no_upload_or_the_next_one_deletes_it(temporary: Path, name: str) -> None:
    serves = (
        "import threading, time\nfrom forecaster import serving\nfrom forecaster.upload_folders import UploadFolder\n"
        "kept = []\n"
        "def keep(*_):\n"
        "    import urllib.request\n"
        "    while not serving._answers(f'http://127.0.0.1:{port}/_stcore/health'): time.sleep(.1)\n"
        "    kept.append(UploadFolder()); print('kept', flush=True)\n"
        "port = serving.free_port(range(8601, 8699))\n"
        "serving._announce = keep\n"
        "serving.serve_dashboard(None, port, open_browser=False)\n"
    )
    environment = {**os.environ, "PYTHONPATH": str(ROOT), **dict.fromkeys(("TMPDIR", "TEMP", "TMP"), str(temporary))}
    server = subprocess.Popen(
        [sys.executable, "-c", serves], stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True, env=environment
    )
    assert server.stdout is not None
    try:
        assert server.stdout.readline() == "kept\n"
        assert len(folders(temporary)) == 1
        server.send_signal(getattr(signal, name))
        server.wait(60)
    finally:
        server.kill()
        server.wait(60)
        server.stdout.close()
    assert len(folders(temporary)) == (name == "SIGKILL")
    sweep_uploads()
    assert folders(temporary) == []
