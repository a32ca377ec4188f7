"""Walks through the dashboard in a real browser: at each stop the screen is looked at, measured and, if wanted, shot.

A walk begins at the dashboard's root and goes on by what a user does there. A stop is looked at in three sizes (laptop,
phone, and the laptop enlarged to 200 %) by day and by night. With FORECASTER_TOUR_PICTURES=FOLDER each is saved too.
"""

from __future__ import annotations

import os
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from tests.browsing import CUT_OFF, LAPTOP, PATIENCE, PHONE, TOO_WIDE

PICTURES = os.environ.get("FORECASTER_TOUR_PICTURES")
SIZES: dict[str, dict[str, int]] = {
    "laptop": LAPTOP["viewport"],
    "phone": PHONE["viewport"],
    "laptop at 200 %": {"width": 683, "height": 384},  # CSS px
}
SCHEMES = ("light", "dark")
GRAVE = ("serious", "critical")
STILL = 400  # ms without work: a screen that draws itself again shortly after is not yet there
TALLEST = 12_000  # px of a saved picture

AT_REST = """() => document.querySelector('h1')
  && !document.querySelector('[data-testid=stApp][data-test-script-state=running]')
  && !document.querySelector('[data-testid=stSkeleton], [data-testid=stSpinner]')
  && !document.body.innerText.includes('eighing each unit')"""
FAULTS = "[data-testid=stException], [data-testid=stConnectionStatus], [role=dialog]"
# Findings of axe-core of that weight: rule, selector, the element's beginning, whether it lies in one that is listed.
GRAVE_FINDINGS = """async ([grave, listed]) => (await axe.run({resultTypes: ['violations']})).violations
  .filter(rule => grave.includes(rule.impact))
  .flatMap(rule => rule.nodes.map(node => ({rule, node, element: document.querySelector(node.target[0])})))
  .filter(({rule, element}) => !(rule.id in listed) || !element?.closest(listed[rule.id]))
  .map(({rule, node}) => `${rule.id}: ${node.target[0]} ${node.html.slice(0, 200)} ${node.failureSummary}`)"""


@dataclass(frozen=True)
class Stop:
    """What was seen at one stop, everywhere it was looked at."""

    name: str
    answer: str
    """The first heading: the screen's answer in a sentence."""
    faults: list[str]
    """Exception boxes, broken connections, dialogs that nobody asked for."""
    too_wide: list[str]
    """Sizes at which the page scrolls sideways."""
    cut_off: dict[str, list[str]]
    """Texts that are cut off, by size."""
    hard_to_use: dict[str, list[str]]
    """Serious and critical findings of axe-core by scheme, without those that are listed as Streamlit's own."""


@dataclass
class Walk:
    """One user's way through the dashboard on one page."""

    name: str
    page: Any
    axe: str
    """The source of axe-core."""
    listed: dict[str, str]
    """Findings that Streamlit brings: rule -> selector of the elements in which they lie."""
    stops: list[Stop] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    """Errors on the browser's console and answers that failed."""

    def __post_init__(self) -> None:
        """Listen from the first byte on."""
        self.page.set_default_timeout(PATIENCE)
        self.page.on("console", lambda m: self.complaints.append(m.text) if m.type == "error" else None)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("response", lambda r: self.complaints.append(f"{r.status} {r.url}") if r.status >= 400 else None)

    def at_rest(self) -> None:
        """Wait until the screen is drawn to its end."""
        while True:
            self.page.wait_for_function(AT_REST)
            self.page.wait_for_timeout(STILL)
            if self.page.evaluate(AT_REST):
                return

    def answered(self, words: str) -> str:
        """The answer, once it holds `words` (a regular expression), with ordinary spaces."""
        self.page.wait_for_function(
            "words => new RegExp(words).test(document.querySelector('h1')?.innerText.replaceAll('\\u00a0', ' '))",
            arg=words,
        )
        self.at_rest()
        return self.answer()

    def answer(self) -> str:
        """The first heading, with ordinary spaces."""
        return re.sub(r"[\u00a0\u2060\s]+", " ", self.page.locator("h1").first.inner_text())

    def stop(self, name: str) -> Stop:
        """Look at the screen as it stands, in every size and scheme."""
        self.at_rest()
        own = self.page.viewport_size
        too_wide, cut_off = [], {}
        for size, viewport in SIZES.items():
            self.page.set_viewport_size(viewport)
            self.at_rest()
            if self.page.evaluate(TOO_WIDE):
                too_wide.append(size)
            if found := self.page.evaluate(CUT_OFF):
                cut_off[size] = found
            for scheme in SCHEMES if PICTURES else ():
                self._picture(name, size, scheme)
        self.page.set_viewport_size(own)
        self.page.evaluate(self.axe)
        hard_to_use = {}
        for scheme in SCHEMES:
            self._turn(scheme)
            if grave := self.page.evaluate(GRAVE_FINDINGS, [GRAVE, self.listed]):
                hard_to_use[scheme] = grave
        self._turn("light")
        faults = self.page.locator(FAULTS).all_inner_texts()
        self.stops.append(Stop(name, self.answer(), faults, too_wide, cut_off, hard_to_use))
        return self.stops[-1]

    def _turn(self, scheme: str) -> None:
        self.page.emulate_media(color_scheme=scheme)
        self.page.wait_for_function(
            "dark => (getComputedStyle(document.querySelector('.stApp')).colorScheme === 'dark') === dark",
            arg=scheme == "dark",
        )
        self.page.wait_for_function("() => document.getAnimations().every(turning => turning.playState !== 'running')")

    def _picture(self, name: str, size: str, scheme: str) -> None:
        """The whole screen as one picture: the page is made as tall as what it holds."""
        self._turn(scheme)
        viewport = SIZES[size]
        tall = self.page.evaluate("document.querySelector('.stMainBlockContainer').scrollHeight") + 80
        self.page.set_viewport_size({**viewport, "height": min(max(tall, viewport["height"]), TALLEST)})
        self.at_rest()
        file = f"{self.name}-{len(self.stops) + 1:02}-{name}-{size}-{scheme}.png".replace(" ", "_").replace("%", "pc")
        Path(str(PICTURES)).mkdir(parents=True, exist_ok=True)
        self.page.screenshot(path=str(Path(str(PICTURES)) / file))
        self.page.set_viewport_size(viewport)
