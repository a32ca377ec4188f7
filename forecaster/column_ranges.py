"""What a number in a row can be: the range of each column, and the part of it in which the reader is asked.

In two steps. Beyond ``least`` and ``most`` nothing real can be meant, and the cell is refused. Beyond ``low`` and
``high`` it can be so, but seldom is: the number is asked about (``odd_numbers``). What is odd only beside the fleet's
own numbers, as a slip of the decimal point is, is found there too.

All figures are common practice, no source, unless the comment says otherwise. Invented fleets, whatever their world and
seed, hold lives up to 400 h, 25 to 500 ppm, 0.01 to 0.05 mm, 52 to 65 kPa, and slip moments of 7 to 17 lb·ft.
"""

from __future__ import annotations

from dataclasses import dataclass

from forecaster.ranges import CLOCK_HOURS, ENGINE_HOURS, PRICE, SLIP_FOUND
from forecaster.ranges import SHAFT_PLAY_MM as PLAY_MM


@dataclass(frozen=True)
class ColumnRange:
    """Hard limits, limits beyond which a number is asked about, and what one beyond those would mean, in words."""

    least: float
    most: float
    low: float
    high: float
    means: str = ""


# Rental craft run some 200 h a season, shops open a unit at 100 to 300 h, an engine lasts 1,000 to 3,000 h. Nothing of
# 5,000 h is a bearing's life; beyond 2,000 h a unit would have outlasted most engines without ever being rebuilt.
BEARING_HOURS = ColumnRange(
    ENGINE_HOURS.least,
    ENGINE_HOURS.most,
    0.0,
    2_000.0,
    "hardly any engine lasts that long, and no bearing is left in so long",
)
# Hour meters show five digits before the point. 20,000 h are more than two years of running day and night.
METER_HOURS = ColumnRange(0.0, 99_999.9, 0.0, 20_000.0, "no engine of this kind lasts that long")
# Up to three years back anybody may tell of water; a treatment a month later hardly is that of this water.
TREATMENT_HOURS = ColumnRange(
    CLOCK_HOURS.least, CLOCK_HOURS.most, 0.0, 720.0, "that is more than a month after the water"
)
# No clutch of this kind is set so high (``opened_unit``); one that slips below 3 lb·ft drives no impeller.
SLIP_LB_FT = ColumnRange(
    SLIP_FOUND.least, SLIP_FOUND.most, 3.0, SLIP_FOUND.most, "a clutch that slips so early hardly drives the impeller"
)
# Beyond 20 mm the shaft has left its bearings. Play that is felt is 0.5 mm; at 2 mm the impeller cuts into the housing.
SHAFT_PLAY_MM = ColumnRange(
    PLAY_MM.least, PLAY_MM.most, 0.0, 2.0, "with so much play the impeller cuts into the housing"
)
# Gauge pressure, from a perfect vacuum (a fact) to ten bar; a stock engine shows some 60 kPa, a tuned one up to 150.
BOOST_KPA = ColumnRange(-101.4, 1_000.0, -101.4, 300.0, "no supercharger of this kind gives so much")
# A million parts in a million is water alone (a fact). Beyond 5 % a laboratory says per cent.
WATER_PPM = ColumnRange(0.0, 1_000_000.0, 0.0, 50_000.0, "that is more than 5 % of water")
# Currencies differ by a factor of 25,000 and more. What is odd is told by the fleet's own prices alone.
MONEY = ColumnRange(PRICE.least, PRICE.most, PRICE.least, PRICE.most)
