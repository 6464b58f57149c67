"""What `check --build` asks for: the readings that only a person with a meter or an oscilloscope can take."""

from typing import NamedTuple

from coilcount.check import faults
from coilcount.check.faults import Fault


class Question(NamedTuple):
    """One reading.

    key: its field in `schema.build_check.Answers`; name: of its finding; unit: as printed; tool: what it is measured
    with; how: what to do, for a person; low, high: the fault if it is below or above the expected range.
    """

    key: str
    name: str
    unit: str
    tool: str
    how: str
    low: Fault
    high: Fault


METER, METER_LC, SCOPE = "meter", "meter for L and C", "oscilloscope"

# In the order of firmware/BUILD.md.
QUESTIONS = (
    Question(
        "coil_resistance_ohm", "resistance", "ohm", METER,
        "resistance of the whole coil, end to end, not connected to anything; subtract that of the test leads",
        faults.RESISTANCE_LOW, faults.RESISTANCE_HIGH,
    ),
    Question(
        "inductance_uh", "inductance", "uH", METER_LC,
        "inductance of the whole coil at 10 kHz or more, without its capacitor and away from metal",
        faults.INDUCTANCE_METER, faults.INDUCTANCE_METER,
    ),
    Question(
        "capacitor_nf", "capacitor", "nF", METER_LC,
        "capacitance of the tank's capacitor, before it is soldered to the coil",
        faults.WRONG_CAPACITOR, faults.WRONG_CAPACITOR,
    ),
    Question(
        "oscillator_v", "osc supply", "V", METER,
        "supply voltage at the oscillator, against ground, while it runs",
        faults.OSCILLATOR_SUPPLY, faults.OSCILLATOR_SUPPLY,
    ),
    Question(
        "oscillator_ma", "osc current", "mA", METER,
        "current of the oscillator alone, with the meter in its supply line",
        faults.CURRENT_LOW, faults.CURRENT_HIGH,
    ),
    Question(
        "emitters_v", "emitters", "V", METER,
        "mean voltage at the joined emitters of Q1 and Q2, against ground: without an oscilloscope it tells a pair "
        "that oscillates from one that does not",
        faults.NO_SWING, faults.SWING_HIGH,
    ),
    Question(
        "end_swing_v", "coil swing", "V", SCOPE,
        "swing at one coil end against ground, peak to peak, with a 10:1 probe",
        faults.SWING_LOW, faults.SWING_HIGH,
    ),
    Question(
        "mid_v", "middle", "V", METER,
        "middle of the supply in the input stage, against ground",
        faults.MID_LEVEL, faults.MID_LEVEL,
    ),
    Question(
        "pin_highest_v", "pin high", "V", SCOPE,
        "highest level of the squared signal, board not connected",
        faults.PIN_LEVELS, faults.PIN_LEVELS,
    ),
    Question(
        "pin_lowest_v", "pin low", "V", SCOPE,
        "lowest level of the squared signal, board not connected",
        faults.PIN_LEVELS, faults.PIN_LEVELS,
    ),
    Question(
        "pin_average_v", "pin mean", "V", METER,
        "mean of the squared signal: a meter at DC volts, against ground",
        faults.DUTY, faults.DUTY,
    ),
    Question(
        "duty_percent", "duty", "%", SCOPE,
        "share of the time in which the squared signal is high",
        faults.DUTY, faults.DUTY,
    ),
    Question(
        "supply_ma", "current", "mA", METER,
        "current from the battery with everything running",
        faults.BATTERY_CURRENT, faults.BATTERY_CURRENT,
    ),
)  # fmt: skip
