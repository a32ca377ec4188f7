"""Starts the dashboard's server: on this machine alone, closed to other pages, and silent towards the internet."""

from __future__ import annotations

import os
import signal
import socket
import sys
import threading
import time
import urllib.request
import webbrowser
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from datetime import date
from importlib import import_module
from pathlib import Path
from types import MappingProxyType
from urllib.error import URLError

from forecaster.closed_door import ADDRESS, OWN_NAMES, ClosedDoor
from forecaster.command_line import DONE, tell_progress
from forecaster.errors import SourceError, WrongUsage
from forecaster.first_page import FirstPage, picture_file, scripts_within
from forecaster.installed import dashboard_app, sample_fleet_folder
from forecaster.page_files import PageFiles
from forecaster.preparing import PREPARATIONS
from forecaster.upload_folders import remove_uploads, sweep_uploads

FIRST_PORT, LAST_PORT = 8501, 8599
SOURCE_VARIABLE = "FORECASTER_SOURCE"
# How long one thread may work while another waits to answer a browser: Python's own 5 ms, some hundred times while the
# first page fetches its parts, would be most of its time.
SWITCH_SECONDS = 0.0005
ENDING_SIGNALS = ("SIGTERM", "SIGHUP", "SIGBREAK")  # the last when a console of Windows is closed
START_SECONDS = 60.0  # a cold start on a slow laptop; the server is told to be up when it answers, not by the clock
SAFE_START: dict[str, object] = {
    "server.address": ADDRESS,
    "server.allowedHosts": list(OWN_NAMES),  # without it a page elsewhere may rebind its own name to us
    "server.enableXsrfProtection": True,
    "server.enableCORS": True,  # true means protected
    "server.maxUploadSize": 50,  # MB; a decade of a big fleet's logs is under 20
    "server.fileWatcherType": "none",
    "server.runOnSave": False,
    "server.headless": True,  # never asks for an e-mail address; this module opens the browser
    "browser.gatherUsageStats": False,  # else the browser calls out
    "client.showErrorDetails": "none",
    "logger.hideWelcomeMessage": True,
    "logger.level": "warning",
}


def serve_dashboard(
    source: str | None,
    port: int | None = None,
    open_browser: bool = True,
    limits: Mapping[str, int | None] = MappingProxyType({}),
) -> int:
    """Serve the dashboard until Ctrl-C; prints its address once it answers. Returns the exit status.

    `source`: fleet folder or workbook that it opens; None: the start page offers the sample fleet. `port`: None takes
    the first free one from 8501 up. `limits`: of reading uploads, by the variables of ``reading_apart``. Raises
    SourceError where `source` is not there, WrongUsage where `port` is taken.
    """
    app = dashboard_app()
    if source is not None:
        os.environ[SOURCE_VARIABLE] = _absolute(source)
        PREPARATIONS.begin(os.environ[SOURCE_VARIABLE], date.today())
    os.environ.update({name: str(limit) for name, limit in limits.items() if limit is not None})
    chosen = free_port() if port is None else _demand(port)
    tell_progress("Starting the dashboard ...")
    sweep_uploads()
    threading.Thread(target=_announce, args=(app, chosen, open_browser), daemon=True).start()
    sys.setswitchinterval(SWITCH_SECONDS)
    with _uploads_go_with_it():
        _serve(app, chosen)
    return DONE


@contextmanager
def _uploads_go_with_it() -> Iterator[None]:
    """A signal that ends the server takes the uploads along; one that is ignored, as under nohup, stays so.

    The server's own handler closes what is open and gives the signal on to this one.
    """

    def end(number: int, _frame: object) -> None:
        remove_uploads()
        signal.signal(number, signal.SIG_DFL)
        signal.raise_signal(number)

    numbers = [getattr(signal, name) for name in ENDING_SIGNALS if hasattr(signal, name)]
    before = {number: signal.signal(number, end) for number in numbers if signal.getsignal(number) == signal.SIG_DFL}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _serve(app: Path, port: int) -> None:
    """Serve until Ctrl-C, in this process: so one Ctrl-C ends it all and nothing is left behind."""
    import streamlit
    from starlette.middleware import Middleware

    folder = Path(streamlit.__file__).parent
    file = picture_file(folder)
    sys.argv = [str(app)]  # beside it lies the server's own configuration
    style = (app.parent / "style.css").read_text(encoding="utf-8")
    door = Middleware(ClosedDoor, scripts=scripts_within(folder, file))
    page = [Middleware(FirstPage, style=style, file=file), Middleware(PageFiles, folder=folder / "static")]
    served = streamlit.App(app, middleware=[door, *page])
    with suppress(KeyboardInterrupt):  # the usual way to end it, handed on once everything is closed
        served.run(config={**SAFE_START, "server.port": port})


def free_port(ports: Sequence[int] = range(FIRST_PORT, LAST_PORT + 1)) -> int:
    """The first of `ports` that nobody listens on. Raises WrongUsage where all are taken."""
    for port in ports:
        if _is_free(port):
            return port
    raise WrongUsage(f"Every port from {ports[0]} to {ports[-1]} is in use. Name a free one with --port.")


def _demand(port: int) -> int:
    if not _is_free(port):
        raise WrongUsage(
            f"Port {port} cannot be used: another program listens there, or it is reserved. Leave --port "
            "away to take a free one."
        )
    return port


def _is_free(port: int) -> bool:
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        if sys.platform == "win32":  # else Windows lets two programs share a port
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_EXCLUSIVEADDRUSE, 1)
        else:  # a connection of a minute ago that is still winding down does not matter
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((ADDRESS, port))
        except OSError:
            return False
        return True


def _absolute(source: str) -> str:
    place = Path(source).expanduser().resolve()
    if not place.exists():
        raise SourceError(f"{source}: there is no such folder or workbook. Check the path.")
    return str(place)


def _announce(app: Path, port: int, open_browser: bool) -> None:
    """Print the address, and open the browser, once the server answers; then make the first page ready."""
    address = f"http://{ADDRESS}:{port}"
    end = time.monotonic() + START_SECONDS
    while time.monotonic() < end:
        if _answers(f"{address}/_stcore/health"):
            print(f"The dashboard is at {address} (Ctrl-C ends it).", flush=True)
            if open_browser:
                webbrowser.open(address)
            if SOURCE_VARIABLE not in os.environ:  # what the start page offers
                PREPARATIONS.begin(str(sample_fleet_folder()), date.today())
            warm_up(app)
            return
        time.sleep(0.1)


def warm_up(app: Path) -> None:
    """Let the dashboard beside `app` import and work out what its first page needs, while the browser still loads."""
    sys.path.insert(0, str(app.parent))  # its files import each other by bare names, as the server runs them
    import_module("warm_up").warm_up(date.today())


def _answers(url: str) -> bool:
    try:
        # a proxy in the environment must not be asked for this machine's own address
        with urllib.request.build_opener(urllib.request.ProxyHandler({})).open(url, timeout=2.0) as reply:
            return bool(reply.status == 200)
    except (URLError, ConnectionError, TimeoutError):
        return False
