"""What comes next after the job on an opened unit is settled: which steps, in the trade's order, as codes.

Nothing that starts the engine comes before the metal is looked for, the oil changed and the unit oiled by hand. Common
practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from forecaster.core_condition import CoreCondition
from forecaster.job_reasons import GOES_BACK, Decision, Job, ReasonCode
from forecaster.opened_unit import Finding

FollowUp = Literal[
    "no_run_before_metal_looked_for",
    "measure_core",
    "spin_by_hand",
    "find_play_limit",
    "measure_play",
    "look_further",
    "drain_intercooler",
    "change_milky_oil",
    "change_oil",
    "trace_water",
    "inspect_core",
    "fit_original_parts",
    "look_at_washers",
    "fit_catch_can",
    "look_for_catch_can",
    "check_breather",
    "renew_seals",
    "pre_oil",
    "run_warm",
    "spin_again",
    "spin_again_soon",
    "write_down",
]


@dataclass(frozen=True)
class Settled:
    """What is settled of the job: the decision, what is needed at least and at most, and why.

    ``inspected_first``: parts of the core that are used again only after an inspection.
    """

    decision: Decision
    at_least: Job
    at_most: Job
    because: tuple[ReasonCode, ...]
    inspected_first: tuple[str, ...]

    @property
    def goes_back(self) -> bool:
        """Whether it goes back as the advice stands, with nothing left to measure."""
        return self.decision in GOES_BACK

    @property
    def may_go_back(self) -> bool:
        """Whether it may go back without a rebuild, once what is open was measured."""
        return self.at_least in GOES_BACK

    @property
    def may_rebuild(self) -> bool:
        """Whether this unit may be rebuilt, and so get new parts."""
        return self.at_least != "new unit" and self.at_most not in GOES_BACK


def debris_feared(finding: Finding) -> bool:
    """Whether metal may have gone down the duct towards the engine."""
    if finding.debris != "unknown":
        return finding.debris == "yes"
    broken = finding.bearing == "failed" or finding.clutch_washers == "broken"
    return broken or bool({finding.impeller, finding.front_housing, finding.rear_housing} & {"scored", "destroyed"})


def was_wet(finding: Finding) -> bool:
    """Whether water was in the unit or in its oil: told, or seen by what it leaves."""
    states = (finding.impeller, finding.front_housing, finding.rear_housing)
    return finding.reason == "water" or finding.oil == "milky" or finding.bearing == "rusted" or "corroded" in states


def follow_up(finding: Finding, core: CoreCondition, job: Settled) -> tuple[FollowUp, ...]:
    """The steps, in order."""
    return (
        *_before_all(finding),
        *_to_find_out(finding, core, job),
        *_to_clean(finding, job),
        *_to_fit(finding, job),
        *_to_start(finding, job),
        "write_down",
    )


def _metal_looked_for(finding: Finding) -> bool:
    """Also where none was seen beside a failed bearing: it may have gone further."""
    return debris_feared(finding) or finding.bearing == "failed"


def _before_all(finding: Finding) -> Iterator[FollowUp]:
    if _metal_looked_for(finding):
        yield "no_run_before_metal_looked_for"


def _to_find_out(finding: Finding, core: CoreCondition, job: Settled) -> Iterator[FollowUp]:
    if core.doubtful and job.may_rebuild:
        yield "measure_core"
    if finding.bearing == "unknown" and job.may_go_back:
        yield "spin_by_hand"
    if "play_unjudged" in job.because:
        yield "find_play_limit"
    if finding.shaft_play_mm is None and job.may_go_back:
        yield "measure_play"
    if {"cause_not_found", "noise_unexplained"} & set(job.because):
        yield "look_further"


def _to_clean(finding: Finding, job: Settled) -> Iterator[FollowUp]:
    wet = finding.reason == "water" or finding.oil == "milky"
    if _metal_looked_for(finding) or finding.oil_in_intercooler == "yes" or wet:
        yield "drain_intercooler"
    if finding.oil == "milky":
        yield "change_milky_oil"
    elif job.decision != "put back" or wet:
        yield "change_oil"
    if was_wet(finding):
        yield "trace_water"


def _to_fit(finding: Finding, job: Settled) -> Iterator[FollowUp]:
    if job.inspected_first:
        yield "inspect_core"
    if job.at_least != "new unit" and (job.may_rebuild or finding.clutch_washers == "worn"):
        yield "fit_original_parts"
    if job.at_least == "reset and put back" and finding.clutch_washers == "unknown":
        yield "look_at_washers"
    if finding.catch_can == "no":
        yield "fit_catch_can"
    elif finding.catch_can == "unknown":
        yield "look_for_catch_can"
    elif finding.oil_in_intercooler == "yes":
        yield "check_breather"
    if job.may_go_back:
        yield "renew_seals"


def _to_start(finding: Finding, job: Settled) -> Iterator[FollowUp]:
    if job.at_most not in GOES_BACK or finding.clutch_washers == "worn":
        yield "pre_oil"
    if finding.oil == "milky":
        yield "run_warm"
    if job.goes_back:
        yield "spin_again_soon" if finding.parts_fitted == "aftermarket" or was_wet(finding) else "spin_again"
