"""Goes through a screen with Tab or Shift+Tab: what gets the focus, whether that is seen, and what is passed over."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

MOST = 150  # stops of a screen: with more, the focus goes in circles
TABLE = "table"  # the name of a stop in a table: its cells have none

# The control that has the focus. `name`: empty where it is none. `ring`: whether the stop before showed that it had the
# focus: an outline, a shadow or a border that is not there without, with a contrast of 3 to the page (WCAG 2.2, 1.4.11
# non-text contrast), or a ground as unlike its ground without. `covered`: whether nothing of it is seen (WCAG 2.2,
# 2.4.11 focus not obscured). `folded`: whether it holds more controls, folded away. `again`: whether it is the first.
LOOK = """() => {
  const numbers = colour => colour.match(/[\\d.]+/g).map(Number)
  const linear = v => v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4
  const page = numbers(getComputedStyle(document.querySelector('.stApp')).backgroundColor)
  const light = ([r, g, b, a = 1]) => {
    const [R, G, B] = [r, g, b].map((v, i) => linear((a * v + (1 - a) * page[i]) / 255))
    return 0.2126 * R + 0.7152 * G + 0.0722 * B
  }
  const contrast = (one, other) => {
    const [low, high] = [light(one), light(other)].sort((a, b) => a - b)
    return (high + 0.05) / (low + 0.05)
  }
  const drawn = element => {
    const style = getComputedStyle(element)
    return {
      outline: style.outlineStyle === 'none' ? '' : style.outlineColor,
      shadow: style.boxShadow.match(/rgba?\\([^)]*\\)/)?.[0] ?? '',
      border: parseFloat(style.borderTopWidth) ? style.borderTopColor : '',
      ground: style.backgroundColor,
    }
  }
  const around = element => {
    const all = []
    for (let one = element; one && all.length < 6; one = one.parentElement) all.push(one)
    return all
  }
  const seen = element => {
    const box = element.getBoundingClientRect()
    const [left, top] = [Math.max(box.left, 0), Math.max(box.top, 0)]
    const [wide, high] = [Math.min(box.right, innerWidth) - left, Math.min(box.bottom, innerHeight) - top]
    return wide > 0 && high > 0 && [[.5, .5], [.1, .1], [.9, .1], [.1, .9], [.9, .9]].some(
      ([x, y]) => element.contains(document.elementFromPoint(left + x * wide, top + y * high)))
  }
  const text = element => {
    const copy = element.cloneNode(true)
    copy.querySelectorAll('[aria-hidden=true]').forEach(icon => icon.remove())
    return copy.textContent.trim()
  }
  const before = window.stopBefore?.filter(([element]) => element.isConnected)  // what was drawn anew tells nothing
  const ring = !before?.length || before.some(([element, then]) => {
    const now = drawn(element)
    return ['outline', 'shadow', 'border'].some(
      kind => then[kind] && then[kind] !== now[kind] && contrast(numbers(then[kind]), page) >= 3,
    ) || contrast(numbers(then.ground), numbers(now.ground)) >= 3
  })
  const focused = document.activeElement
  const inTable = focused.matches('canvas, [role=gridcell]')
  const hidden = around(focused).find(element => getComputedStyle(element).clipPath !== 'none')
  const face = inTable ? focused.closest('.stDataFrame') : hidden?.parentElement ?? focused
  const drawnByItself = focused.matches('main, body') || inTable  // a place to scroll, and cells drawn in a picture
  window.stopBefore = drawnByItself ? null : around(face).map(element => [element, drawn(element)])
  const again = window.stops?.[0] === focused
  window.stops = [...(window.stops ?? []), focused].filter(stop => stop !== document.body)
  return {
    again, ring,
    name: focused === document.body ? '' : focused.matches('main') ? 'main' : inTable ? 'table'
      : (focused.closest('[role=radiogroup]') ?? focused).getAttribute('aria-label')
      ?? (text(focused) || focused.tagName),
    covered: !focused.matches('main, body') && !seen(face),
    folded: focused.matches('details:not([open]) > summary'),
  }
}"""

# Controls that can be used and seen, in which none of the stops lies, but for the help beside it.
MISSED = """() => [...document.querySelectorAll(`.stApp :is(.stButton, .stDownloadButton, .stCheckbox, .stDataFrame,
    .stDateInput, .stMultiSelect, .stPageLink, .stPopover, .stRadio, .stSelectbox, .stSlider, .stTextInput, summary,
    [data-testid=stTopNavLink])`)]
  .filter(control => control.checkVisibility({visibilityProperty: true}))
  .filter(control => control.matches('a, summary') || control.querySelector('a, canvas, :is(button, input):enabled'))
  .filter(control => !window.stops.some(stop => control.contains(stop) && !stop.closest('.stTooltipIcon')))
  .map(control => control.innerText || control.className)"""
UNFOLDED = """() => !document.activeElement.matches('details:not([open]) > summary')
  && document.getAnimations().every(unfolding => unfolding.playState !== 'running')"""


@dataclass
class Walk:
    """One way through a screen."""

    names: list[str] = field(default_factory=list)
    """The stops in their order."""
    faint: list[str] = field(default_factory=list)
    """Stops that do not show that they have the focus."""
    covered: list[str] = field(default_factory=list)
    """Stops of which nothing is seen."""
    missed: list[str] = field(default_factory=list)
    """Controls that the way passes over."""
    left: bool = False
    """Whether it leads out of the screen at its end."""


def walk(page: Any, key: str, most: int = MOST) -> Walk:
    """Press `key` until the focus has left the screen, at most so often; what is folded away is unfolded.

    Ends where a key opens another screen.
    """
    page.evaluate("() => { document.activeElement.blur(); window.stopBefore = null; window.stops = [] }")
    way, address = Walk(), page.url
    for _ in range(most):
        page.keyboard.press(key)
        if page.url != address:
            break
        stop = page.evaluate(LOOK)
        if not stop["ring"]:
            way.faint.append(way.names[-1])
        way.left = bool(way.names) and (stop["again"] or not stop["name"])
        if way.left:
            break
        if not stop["name"]:
            continue  # the way begins outside
        way.names.append(stop["name"])
        if stop["covered"]:
            way.covered.append(stop["name"])
        if stop["folded"]:
            page.keyboard.press("Enter")
            page.wait_for_function(UNFOLDED)
    way.missed = page.evaluate(MISSED)
    return way


def go_to(page: Any, name: str, key: str = "Tab") -> None:
    """Press `key` until the focus is on the control whose name begins so."""
    for _ in range(MOST):
        page.keyboard.press(key)
        if on(page).startswith(name):
            return
    raise AssertionError(f"{name} cannot be reached by {key}")


def on(page: Any) -> str:
    """The name of the control that has the focus; empty: none."""
    return str(page.evaluate(LOOK)["name"])
