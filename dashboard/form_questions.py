"""Questions of a form that can be left open and whose answers the link carries: one of some words, or a number."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import streamlit as st

import link
from number_field import number_field
from told_wrong import say_at_top
from words import plain


def ask_one_of(
    name: str,
    asks: str,
    answers: Mapping[str, str],
    key: str,
    offered: Sequence[str] | None = None,
    from_link: bool = True,
    explained: str | None = None,
) -> str:
    """One question with all answers in sight, the first as usual; `name`: in the link, which tells the answer's key.

    `offered`: the answers that are possible (None: all). `from_link`: whether what the link tells is still so.
    """
    shown = list(answers if offered is None else offered)
    wanted = link.first(name) if from_link else None
    if wanted is not None and wanted not in answers:
        _tell(name, wanted, f"it may be {', '.join(answer for answer in answers if answer)}")
    elif wanted is not None and wanted not in shown and key not in st.session_state:
        _tell(name, wanted, "with the other answers that cannot be so")
    chosen: str = st.radio(
        asks,
        shown,
        index=shown.index(wanted) if wanted in shown else 0,
        format_func=answers.__getitem__,
        key=key,
        horizontal=True,
        help=explained,
    )
    return chosen


def ask_number(
    name: str,
    asks: str,
    limits: tuple[float, float],
    needed: str,
    step: float,
    key: str,
    blank: str,
    explained: str | None = None,
) -> float | None:
    """A number within `limits`; None where left blank, for which `blank` stands, or refused (``told_wrong.refusal``).

    `needed`: the limits in words. `step`: what such a number is counted in.
    """
    return number_field(name, asks, limits, step, key, blank=blank, needed=needed, explained=explained)


def _tell(name: str, value: str, why: str) -> None:
    say_at_top(f"The link tells {plain(f'{name}={value}')}; {plain(why)}.")
