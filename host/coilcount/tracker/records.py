"""The records that the tracker gives out.  All times are whole microseconds.

Shifts are in 1e-9 (ppb).  y is a whole number, because the board's floats have too few digits for a frequency.
Runs under both interpreters.
"""

from collections import namedtuple

# The tracker's view of its latest reading.
#   time_us: middle of the reading
#   y_ppb: (f - f_ref) / f_ref
#   baseline_ppb: what y would be with no target
#   z: detection statistic of the width that answers most, with its sign; 0.0 while not ready
#   width_s: that width
#   ready: True after the warm-up
#   frozen, held: the baseline is frozen by key, held by itself
State = namedtuple("State", "time_us y_ppb baseline_ppb z width_s ready frozen held")

# One stage in the life of an alert.
#   stage: "raised", "settled", "released" or "final".
#     "settled" comes again if a peak of the other sign takes the alert over: what was raised was the lobe before it.
#     This can happen as late as the last look.
#     "final" comes once, about 2 s after the peak.  Nothing changes after it.
#   raised_us, settled_us, released_us: when the data that decided it were complete.  The last two may be None in a
#     final record if the data end before.
#   peak_us: time of the peak of the pass
#   sign: -1 the frequency fell, +1 it rose, 0 not settled
#   response: "ferrous", "non-ferrous" or "uncertain"
#   reasons: tuple of str, why the response is uncertain
#   score: largest |z|
#   peak_ppb: height of the pass, with its sign
#   confidence: sign confidence, 0 to 1; None if the response is uncertain
#   width_s: full width at half maximum of the pass, that of the winning width
#   seen: passes in a row with this sign and about this height, this one included; 1 while not settled
#   rarity_min: noise alone gives such a score about once in this many minutes, at most 10.0: that often or more rarely.
#     None while it is not known, in the first 2 minutes, and for a broad dip, which is no noise of the readings.
Alert = namedtuple(
    "Alert",
    "stage id raised_us settled_us released_us peak_us sign response reasons score peak_ppb confidence width_s seen "
    "rarity_min",
)

# An auto-hold: the baseline is held by itself.
#   stage: "start" or "final"
#   end_us: None if it was still on when the data ended
#   sign: of the held shift
Hold = namedtuple("Hold", "stage start_us end_us sign")
