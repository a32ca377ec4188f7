"""Colours and shapes of the charts.

One meaning, one colour, one shape, wherever it appears: a chart printed in grey or seen by a colour-blind reader
still tells them apart. The same colours serve a light and a dark page, since a page may turn dark at dusk without
asking anew. The tests hold each to WCAG 2.2 on both (contrast 3 to 1, as for any graphic; text leaves its colour to
the page) and every pair to a distance that survives simulated colour blindness (Machado, Oliveira & Fernandes 2009).
"""

from __future__ import annotations

STATES = ("failed", "defective", "sound")
# An instruction borrows colour and shape from the state that it answers to: rebuild what is about to fail, check what
# may be defective, leave what is probably sound. By the groups of ``forecaster.legend_group``, most pressing first.
STATE_OF_GROUP = {"stop": "failed", "rebuild": "failed", "check": "defective", "leave": "sound"}
SHAPE_OF_STOP = "x"  # its own shape: what must not run has the colour of what is to be opened
# What can be done with a unit borrows from the state that it answers to, as instructions do.
STATE_OF_ACTION = {"rebuild": "failed", "check": "defective", "none": "sound"}
SHAPE_OF_STATE = {"failed": "square", "defective": "diamond", "sound": "circle"}
DASH_OF_STATE = {"failed": "solid", "defective": "dash", "sound": "dot"}

# A look at a unit, as a shape on the hour axis: filled where it was opened, open where it was only spun.
SHAPE_OF_CHECK = {
    "spun quiet": "circle-open",
    "spun slight": "diamond-open",
    "spun rattle": "x",
    "opened and found sound": "circle",
    "opened and found rough": "diamond",
}
SHAPE_OF_OTHER_CHECK = "line-ns-open"
SHAPE_OF_INCIDENT = "triangle-down"  # water went in from above
SHAPE_OF_PROMPT_INCIDENT = "triangle-down-open"  # open: the water was got out again
# The same by how it was treated, with the state that each leaves the unit nearest to; unknown: neutral.
SHAPE_OF_TREATMENT = {
    "none": SHAPE_OF_INCIDENT,
    "late": "triangle-down-open-dot",
    "prompt": SHAPE_OF_PROMPT_INCIDENT,
    "unknown": "star-triangle-down-open",
}
STATE_OF_TREATMENT = {"none": "failed", "late": "defective", "prompt": "sound"}
STATE_OF_CHECK = {
    "spun quiet": "sound",
    "spun rattle": "defective",
    "opened and found sound": "sound",
    "opened and found rough": "defective",
}
# How a life ended, by what was seen of the bearing; open: it may have failed earlier, or nobody said.
SHAPE_OF_END = {
    "failed": "square",
    "found_failed": "square-open",
    "symptom": "diamond",
    "defective": "diamond",
    "sound": "circle",
}
STATE_OF_END = {
    "failed": "failed",
    "found_failed": "failed",
    "symptom": "defective",
    "defective": "defective",
    "sound": "sound",
}


COLOUR_OF_STATE = {"failed": "#C23B68", "defective": "#B07F1A", "sound": "#2F8DB5"}
# One craft with its water treated in time, late or not: as far from sound as each leaves it; and had it not come.
STATE_OF_SCENARIO = {"untreated": "failed", "late": "defective", "treated": "sound"}
WITHOUT_WATER = "#6C54CC"  # NEUTRAL is too near to "failed" for who sees no red
DASH_OF_SCENARIO = {"untreated": "solid", "late": "dash", "treated": "dot", "no_incident": "longdashdot"}
SHAPE_OF_SCENARIO = {"untreated": "square", "late": "diamond", "treated": "circle", "no_incident": "x"}
NEUTRAL = "#76828A"  # what is no state: incidents, checks, now
LEARNED = "#9159CC"  # what the model makes of the records, beside what was counted or believed before: neutral


def colour_of_group(group: str) -> str:
    """Colour of a group of instructions; neutral for what is not weighed yet."""
    return COLOUR_OF_STATE.get(STATE_OF_GROUP.get(group, ""), NEUTRAL)


def colour_of_state(state: str | None) -> str:
    """Colour of a state; neutral for none."""
    return COLOUR_OF_STATE.get(state or "", NEUTRAL)


def colour_of_scenario(scenario: str) -> str:
    """Colour of one of the scenarios after water, or of the craft without it."""
    return COLOUR_OF_STATE.get(STATE_OF_SCENARIO.get(scenario, ""), WITHOUT_WATER)


def shape_of_group(group: str) -> str:
    """Marker of a group of instructions; a cross for what is not weighed yet."""
    return SHAPE_OF_STOP if group == "stop" else SHAPE_OF_STATE.get(STATE_OF_GROUP.get(group, ""), "cross")


def shape_of_incident(label: str) -> str:
    """Marker of a water incident told as "swamped, untreated"."""
    return SHAPE_OF_PROMPT_INCIDENT if label.endswith("treated promptly") else SHAPE_OF_INCIDENT


def shape_of_check(label: str) -> str:
    """Marker of a look at a unit told as "spun quiet"."""
    return SHAPE_OF_CHECK.get(label, SHAPE_OF_OTHER_CHECK)


def faded(colour: str, opacity: float) -> str:
    """A hexadecimal colour as rgba with this opacity, for bands."""
    red, green, blue = (int(colour[i : i + 2], 16) for i in (1, 3, 5))
    return f"rgba({red},{green},{blue},{opacity})"
