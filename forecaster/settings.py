"""fleet.toml: how money and days are written, season, prices, lost days, bench, stock, parts, clutch slip.

Defaults are common practice, no source: an invented shop's round figures for a mid-sized rental fleet. Every face
can override each of them.
"""

from __future__ import annotations

from datetime import date
from difflib import get_close_matches
from typing import Annotated, Any

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from forecaster.errors import SettingsError
from forecaster.ranges import (
    A_WEEK,
    BUDGET,
    CHANCE,
    DAYS_LOST,
    KITS,
    LEAD_WEEKS,
    LEAST_GAIN,
    PRICE,
    SLIP_SETTING,
    SPARE_UNITS,
    NumberRange,
)
from forecaster.shown_values import shortened, shown
from forecaster.small_files import NotUsable, read_toml
from forecaster.visible_texts import hidden_in_name
from forecaster.written_days import USUAL_DATE_FORMAT, DateFormat

SETTINGS_FILE = "fleet.toml"  # of a fleet folder
DAYS_IN_MONTH = (31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def _month_day(text: str) -> str:
    parts = text.split("-")
    if len(parts) == 2 and all(p.isdigit() and len(p) == 2 for p in parts):
        month, day = int(parts[0]), int(parts[1])
        if 1 <= month <= 12 and 1 <= day <= DAYS_IN_MONTH[month - 1]:
            return text
    raise ValueError("must be month-day in two digits each, for example 05-01")


def _printable(text: str) -> str:
    if text.strip() and text.isprintable() and hidden_in_name(text) is None:
        return text.strip()
    raise ValueError("must be letters or signs that can be printed, for example USD")


def _within(limits: NumberRange) -> BeforeValidator:
    """Numbers of a range alone: neither true and false nor numbers in quotation marks are taken for some."""
    return BeforeValidator(limits.number)


MonthDay = Annotated[str, AfterValidator(_month_day)]
Money = Annotated[float, _within(PRICE)]
Budget = Annotated[float, _within(BUDGET)]
Days = Annotated[float, _within(DAYS_LOST)]
AWeek = Annotated[float, _within(A_WEEK)]
Weeks = Annotated[float, _within(LEAD_WEEKS)]
Chance = Annotated[float, _within(CHANCE)]
Gain = Annotated[float, _within(LEAST_GAIN)]
Moment = Annotated[float, _within(SLIP_SETTING)]


class _Section(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


def _on(year: int, month_day: str) -> date:
    month, day = (int(p) for p in month_day.split("-"))
    if (month, day) == (2, 29) and not (year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)):
        day = 28
    return date(year, month, day)


class Season(_Section):
    """In-season days, both ends included. A season may run over the turn of the year."""

    opens: MonthDay = Field("05-01", description="first in-season day, month-day")
    closes: MonthDay = Field("10-15", description="last in-season day, month-day")

    def opening_in(self, year: int) -> date:
        """The opening day that falls in a calendar year."""
        return _on(year, self.opens)

    def close_of(self, opening: date) -> date:
        """The last day of the season that opens on `opening`."""
        close = _on(opening.year, self.closes)
        return close if close >= opening else _on(opening.year + 1, self.closes)

    def current_or_next(self, day: date) -> tuple[date, date]:
        """Opening and last day of the season that `day` is in, else of the next one."""
        for year in (day.year - 1, day.year, day.year + 1):
            opening = self.opening_in(year)
            close = self.close_of(opening)
            if close >= day:
                return opening, close
        raise AssertionError("a season always follows")  # pragma: no cover

    def contains(self, day: date) -> bool:
        """Whether `day` is in season."""
        opening, close = self.current_or_next(day)
        return opening <= day <= close


class Costs(_Section):
    """Prices in the fleet's currency."""

    rebuild: Money = Field(650.0, description="a planned rebuild: parts kit, labour, shipping")
    rebuild_in_season_extra: Money = Field(120.0, description="rush surcharge in season")
    new_unit: Money = Field(1700.0, description="a new unit, where the core is lost")
    engine_damage: Money = Field(5200.0, description="engine repair when debris reaches it")
    check: Money = Field(60.0, description="pull the unit, spin it by hand, refit it")
    day_rate_if_unknown: Money = Field(200.0, description="rental income of an in-season day, where craft.csv has none")
    open_and_reset: Money = Field(150.0, description="open the unit, look, reset the slip, put it back")


class PartPrices(_Section):
    """What single parts cost, bought alone, in the fleet's currency; left out: not known, and not reckoned with."""

    impeller: Money | None = Field(None, description="an impeller bought alone; blank = not known")
    front_housing: Money | None = Field(None, description="a front housing bought alone; blank = not known")
    rear_housing: Money | None = Field(None, description="a rear housing bought alone; blank = not known")
    washers: Money | None = Field(None, description="clutch and spring washers, a set of each; blank = not known")


class DowntimeDays(_Section):
    """Rental days lost in season; nothing is lost off-season."""

    rebuild: Days = Field(3.0, description="days lost to a planned rebuild")
    failure: Days = Field(9.0, description="days lost to a failure")
    check: Days = Field(0.5, description="days lost to a check")


class Bench(_Section):
    """What the workshop can do."""

    rebuilds_per_week: AWeek = Field(3.0, description="rebuilds the bench finishes in a week")
    budget: Budget | None = Field(None, description="money for the off-season's work; blank = no limit")
    season_rebuilds_per_week: AWeek | None = Field(
        None, description="rebuilds the bench finishes in a week of the season; blank = as off season"
    )
    season_budget: Budget | None = Field(
        None, description="money for rebuilds and checks in season; blank = what is left of the budget"
    )
    least_gain: Gain = Field(0.05, description="share of its cost that planned work must save at least, or it is left")
    overspend_chance: Chance = Field(0.1, description="chance up to which a plan's work may cost more than the budget")
    lead_time_weeks: Weeks = Field(3.0, description="weeks from ordering parts to having them on the shelf")


class Stock(_Section):
    """What lies on the shelf."""

    kits: Annotated[int, _within(KITS)] = Field(0, description="sets of parts for a rebuild, on the shelf")
    spare_units: Annotated[int, _within(SPARE_UNITS)] = Field(
        0, description="rebuilt units on the shelf, to stand in for one that is away"
    )


USUAL_SET_LB_FT, USUAL_TOO_HIGH_LB_FT = 14.0, 18.0  # common practice, no source


class Slip(_Section):
    """Moments at which a clutch slips, lb·ft. A figure of the maker's manual comes before the defaults.

    Too high: a clutch that slips too late no longer spares shaft, gear and bearing the shock of the throttle. Where it
    is left out, it is 18, or as much above the setting in proportion where a stock craft's clutch is set above 14.
    """

    set_stock_lb_ft: Moment = Field(USUAL_SET_LB_FT, description="what a stock craft's clutch is set to")
    set_tuned_lb_ft: Moment = Field(16.0, description="what it is set to where the boost is raised")
    too_low_lb_ft: Moment = Field(9.0, description="a stock craft's clutch is too low for full boost below this")
    too_high_lb_ft: Moment = Field(
        USUAL_TOO_HIGH_LB_FT,
        description="a stock craft's clutch is too high above this: it no longer spares shaft, gear and bearing",
    )

    @model_validator(mode="before")
    @classmethod
    def _too_high_follows_the_setting(cls, given: Any) -> Any:
        """A file of before this limit, with a high setting, must not contradict a default that it does not name."""
        if not isinstance(given, dict) or "too_high_lb_ft" in given:
            return given
        set_to = given.get("set_stock_lb_ft", USUAL_SET_LB_FT)
        if SLIP_SETTING.why_not(set_to) or set_to <= USUAL_SET_LB_FT:
            return given
        in_proportion = set_to * USUAL_TOO_HIGH_LB_FT / USUAL_SET_LB_FT
        return given | {"too_high_lb_ft": min(in_proportion, SLIP_SETTING.most)}

    @model_validator(mode="after")
    def _rises(self) -> Slip:
        """Refuse moments that contradict each other."""
        if not self.too_low_lb_ft < self.set_stock_lb_ft <= self.set_tuned_lb_ft:
            raise ValueError(
                "must rise from too_low_lb_ft over set_stock_lb_ft to set_tuned_lb_ft; they are "
                f"{self.too_low_lb_ft:g}, {self.set_stock_lb_ft:g} and {self.set_tuned_lb_ft:g} lb·ft"
            )
        if not self.set_stock_lb_ft < self.too_high_lb_ft:
            raise ValueError(
                "too_high_lb_ft must be above set_stock_lb_ft, both of a stock craft; they are "
                f"{self.too_high_lb_ft:g} and {self.set_stock_lb_ft:g} lb·ft"
            )
        return self


class FleetSettings(_Section):
    """All of fleet.toml."""

    currency: Annotated[str, AfterValidator(_printable)] = Field(
        "USD", min_length=1, max_length=8, description="ISO 4217 code of all amounts"
    )
    date_format: DateFormat = Field(
        USUAL_DATE_FORMAT,
        description="how days are written for readers: day-month-year (1 May 2027), month-day-year (May 1, 2027) or "
        "iso (2027-05-01); in files they stay 2027-05-01",
    )
    season: Season = Season()
    costs: Costs = Costs()
    downtime_days: DowntimeDays = DowntimeDays()
    bench: Bench = Bench()
    stock: Stock = Stock()
    parts: PartPrices = PartPrices()
    slip: Slip = Slip()


def read_settings(text: str, file: str = SETTINGS_FILE) -> FleetSettings:
    """Settings from the text of fleet.toml; missing keys take their defaults.

    Raises SettingsError that names the key, its value and, for an unknown key, the nearest known one.
    """
    try:
        given = read_toml(text)
    except NotUsable as error:
        raise SettingsError(f"{file}: {error}") from error
    return settings_of(given, file)


def settings_of(given: dict[str, Any], file: str = SETTINGS_FILE) -> FleetSettings:
    """The same from its keys and sections. Raises SettingsError likewise, a line for each key at fault."""
    _refuse_unknown_keys(given, file)
    try:
        return FleetSettings.model_validate(given)
    except ValidationError as error:
        raise SettingsError(_in_plain_words(error, file)) from error


def _sections() -> dict[str, dict[str, Any]]:
    """Known keys: top level under "", then those of each section."""
    known: dict[str, dict[str, Any]] = {"": {}}
    for name, info in FleetSettings.model_fields.items():
        kind = info.annotation
        if isinstance(kind, type) and issubclass(kind, _Section):
            known[name] = dict(kind.model_fields)
        known[""][name] = info
    return known


def _refuse_unknown_keys(given: dict[str, Any], file: str) -> None:
    known = _sections()
    everywhere: dict[str, list[str]] = {}
    for section, keys in known.items():
        for key in keys:
            everywhere.setdefault(key, []).append(f"[{section}]" if section else "the top of the file")
    for name, value in given.items():
        if name not in known[""]:
            raise SettingsError(_unknown_key(file, "", name, list(known[""]), everywhere))
        if name in known:
            if not isinstance(value, dict):
                raise SettingsError(
                    f"{file}: {name} must be a section: write [{name}] on a line of its own, and its keys below. "
                    f"It is {shown(value)}."
                )
            for key in value:
                if key not in known[name]:
                    raise SettingsError(_unknown_key(file, name, key, list(known[name]), everywhere))


def _unknown_key(file: str, section: str, key: str, known: list[str], everywhere: dict[str, list[str]]) -> str:
    told = shortened(key)
    where = f"[{section}] {told}" if section else told
    if key in everywhere:
        hint = f"It belongs under {' or '.join(everywhere[key])}."
    else:
        near = get_close_matches(told, known, n=1, cutoff=0.0)
        hint = f"The nearest known key is {near[0]}." if near else f"Known keys: {', '.join(known)}."
    return f"{file}: {where} is not a known key. {hint}"


_SAID = {  # what pydantic says of texts, in the words of the file
    "string_type": "must be a text in quotation marks",
    "string_too_short": "must not be empty",
    "string_too_long": "must have 8 characters at most",
}


def _in_plain_words(error: ValidationError, file: str) -> str:
    lines = []
    for problem in error.errors(include_url=False):
        where = ".".join(str(part) for part in problem["loc"])
        said = _SAID.get(problem["type"], problem["msg"])
        reason = said.removeprefix("Value error, ").replace("Input should be", "must be")
        lines.append(f"{file}: {where} = {shown(problem['input'])}: {reason}.")
    return "\n".join(lines)
