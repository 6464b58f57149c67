"""What the tracker gives out.  Integers where the board could not hold a fraction; times in microseconds.

Runs under both interpreters.
"""

from collections import namedtuple

# The tracker's view of its latest reading.
#   time_us: middle of the reading; y_ppb: (f - f_ref) / f_ref; baseline_ppb: what y would be with nothing there;
#   z: the signed statistic of the width that answers most (0.0 while not ready); width_s: that width.
State = namedtuple("State", "time_us y_ppb baseline_ppb z width_s ready frozen held")

# One step in the life of an alert.  stage: "raised", "settled", "released", "final".  "settled" comes again where a
# peak of the other sign takes the alert over (what was raised was the lobe that leads it), be it at the last look;
# "final" comes once, some 2 s after the peak, when nothing can change any more.  At the end of the data released_us may
# be None, and settled_us too.
#   raised_us, settled_us, released_us: when the data that decided it were complete; peak_us: of the passing itself;
#   sign: -1 fell, +1 rose, 0 not settled; response: "ferrous", "non-ferrous", "uncertain"; reasons: tuple of str;
#   score: largest |z|; confidence: 0..1 or None; width_s: the winning width (full width at half maximum);
#   seen: passes in a row with this sign and about this height, this one too, those before at most 4 s before it; 1
#   while not settled.
Alert = namedtuple(
    "Alert",
    "stage id raised_us settled_us released_us peak_us sign response reasons score peak_ppb confidence width_s seen",
)

# The automatic hold.  stage: "start" or "final"; end_us None where it was still on at the end of the data.
Hold = namedtuple("Hold", "stage start_us end_us sign")
