"""Screens of the dashboard over hostile fleets: each is drawn whole, as a link opens it, and shows no exception."""

from __future__ import annotations

import sys
import traceback
from pathlib import Path
from unittest import mock

from hypothesis import strategies as st
from streamlit.testing.v1 import AppTest

from forecaster import dashboard_app
from tests.fuzz_runs import Case, Judged, TookTooLong, bounded
from tests.fuzzed_fleets import DAY, cells, keys, whole_files

LANDING = "fleet_today"  # where the dashboard's root leads with a fleet
NO_FLEET = "no_fleet"  # offered only where no fleet is open
SCREENS = tuple(
    file.stem
    for file in sorted((dashboard_app().parent / "screens").glob("*.py"))
    if file.stem not in ("__init__", NO_FLEET)
)
SCREEN_S = 60  # many times what the slowest of them needs for a small fleet


@st.composite
def screens(draw: st.DrawFn) -> Case:
    """A hostile fleet, and some screens to open on it, one after the other, in one visit."""
    case = draw(st.one_of(cells(), cells(), keys(), whole_files()))
    wanted = draw(st.lists(st.sampled_from(SCREENS), min_size=2, max_size=5, unique=True))
    return Case("screens", case.files, tuple(wanted), did=case.did)


def screens_judged(case: Case, room: Path, own_process: bool = False) -> Judged:
    """Open the screens of a case; what any of them shows as an exception is a fault."""
    case.lay_out(room)
    if (folder := str(dashboard_app().parent)) not in sys.path:
        sys.path.insert(0, folder)  # the screens import each other by bare names
    faults: list[str] = []
    with mock.patch.dict("os.environ", {"FORECASTER_SOURCE": str(room / "fleet")}):
        app = AppTest.from_file(dashboard_app(), default_timeout=SCREEN_S)
        for screen in case.words:
            try:
                with bounded(2 * SCREEN_S):
                    if screen != LANDING or app.get("title"):
                        app.switch_page(f"screens/{screen}.py")
                    app.query_params["as_of"] = DAY
                    app.run()
            except (RuntimeError, TookTooLong, MemoryError):  # AppTest's word for a screen that is not drawn in time
                faults.append(f"raised: on {screen}: {traceback.format_exc()}")
                break
            faults += [f"shown: on {screen}: {_trace(shown)}" for shown in app.exception]
    return Judged(0, tuple(faults))


def _trace(shown: object) -> str:
    lines = "\n".join(getattr(shown, "stack_trace", ()) or ())
    return f"Traceback\n{lines}\n{getattr(shown, 'message', shown)}"
