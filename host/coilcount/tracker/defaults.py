"""The tracker's settings: one table of names, defaults, ranges, units and help.

The host builds the schema of its [tracker] settings from TABLE.  The tracker checks what it is given against it.
Runs under both interpreters.
"""

from collections import namedtuple

# default: a float, a bool (then lowest and highest are None), or a tuple of floats (each of them within the range).
# Sources of the defaults:
# - false_alarms_per_minute: chosen by hand.  The false alarms that it gives by test condition, and the passes found:
#   README of tests/bench/detection (simulation).
# - widths_s: from an earlier simulation study, not repeated here.  Three or five widths find no more passes (README of
#   tests/bench/detection).
# - hold_rise_sigma: chosen by hand on simulated rests and clean sweeps.
# - the others: chosen by hand.
Setting = namedtuple("Setting", "name default lowest highest unit help")

TABLE = (
    Setting(
        "false_alarms_per_minute", 1.0, 0.01, 100.0, "a minute",
        "at most about this many false alarms a minute; release and hold levels go with it",
    ),
    Setting(
        "threshold", 0.0, 2.0, 100.0, "sigma",
        "fixed threshold of the detection statistic, instead of false_alarms_per_minute; 0: none",
    ),
    Setting(
        "widths_s", (0.13, 0.2, 0.32, 0.5), 0.05, 2.0, "s",
        "widths of the passes to look for, at half their height, in rising order",
    ),
    Setting(
        "scale_floor_ppm", 0.05, 0.0001, 100.0, "ppm",
        "noise of a quiet bench: the scale of the statistic never falls below it",
    ),
    Setting("release_fraction", 0.6, 0.1, 0.95, "of threshold", "release an alert below this share of the threshold"),
    Setting("hold", True, None, None, "", "auto-hold: hold the baseline by itself while the coil rests over a target"),
    Setting("hold_least_ppm", 2.0, 0.01, 1000.0, "ppm", "smallest shift that is held, at one false alarm a minute"),
    Setting(
        "hold_rise_sigma", 3.7, 1.0, 100.0, "sigma",
        "rise in 0.8 s that starts an auto-hold, at one false alarm a minute",
    ),
    Setting("hold_limit_s", 25.0, 2.0, 300.0, "s", "longest auto-hold"),
    Setting(
        "noise_ppm_rthz", (), 1e-5, 1e5, "ppm/rtHz",
        "noise profile of a clean sweep, from coilcount noise: density in third-octave bands from 0.1 Hz up",
    ),
    Setting("baseline_s", 2.5, 0.5, 60.0, "s", "time constant of the baseline"),
)

# Sigma.  hold_least_ppm and hold_rise_sigma were chosen with this fixed threshold.  With another they scale.
HOLD_THRESHOLD = 4.8
DEFAULTS = {row.name: row.default for row in TABLE}
# For each list: fewest numbers, most numbers, and whether they must rise.
LISTS = {"widths_s": (1, 8, True), "noise_ppm_rthz": (0, 32, False)}


def check(name, value):
    """Return `value` in the type that the table has for setting `name`.

    Raises ValueError, which says what is allowed, for an unknown name or a value out of its range.
    """
    for row in TABLE:
        if row.name == name:
            break
    else:
        raise ValueError("the tracker has no setting %s; it has %s" % (name, ", ".join([row.name for row in TABLE])))
    if isinstance(row.default, bool):
        if not isinstance(value, bool):
            raise ValueError("%s is true or false, not %r" % (name, value))
        return value
    if isinstance(row.default, tuple):
        fewest, most, rising = LISTS[name]
        if not isinstance(value, (tuple, list)) or not fewest <= len(value) <= most:
            raise ValueError("%s is a list of %d to %d numbers, not %r" % (name, fewest, most, value))
        values = tuple([_number(row, item) for item in value])
        for i in range(1, len(values)):
            if rising and values[i] <= values[i - 1]:
                raise ValueError("%s must rise, and %r does not" % (name, values))
        return values
    return _number(row, value)


def _number(row, value):
    is_number = isinstance(value, (int, float)) and not isinstance(value, bool)
    # A default of 0.0 is below the range, and means none.
    if not is_number or not (row.lowest <= value <= row.highest or value == row.default == 0.0):
        none = "0 or " if row.default == 0.0 else ""
        raise ValueError(
            "%s is %sa number from %s to %s, not %r" % (row.name, none, row.lowest, row.highest, value)
        )
    return float(value)
