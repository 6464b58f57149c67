"""Every fault that `check` can report: its id, its likely cause and its remedy, in one place.

The judgement that finds a fault names it (`faults.STALL`).  The causes are common practice without a source, unless
the text says otherwise.
"""

from typing import NamedTuple


class Fault(NamedTuple):
    """One fault.  id: a short lasting name, the key `fault` of `check --json`; cause, remedy: phrases for a person."""

    id: str
    cause: str
    remedy: str


SELF_TEST_COUNT = Fault(
    "self-test-count",
    "the counter itself is at fault: firmware and MicroPython do not fit together, or the clock was changed",
    "run coilcount install; if the fault stays, report it with the two numbers",
)
SELF_TEST_START = Fault(
    "self-test-start",
    "another program on the board uses what the self-test needs, or a self-test is running already",
    "reset the board and check again; then run coilcount install",
)
CRYSTAL = Fault(
    "crystal",
    "this computer's clock is wrong, or the board's clock is not what its hello says",
    "compare on a computer whose clock is kept by NTP; then look at clock_hz in the hello",
)
NO_COIL = Fault(
    "no-coil",
    "the oscillator does not run, or its signal does not reach the pin",
    "measure the signal at the oscillator, then at the Schmitt input, then at the pin (firmware/WIRING.md)",
)
OSCILLATOR_STOPPED = Fault(
    "oscillator-stopped",
    "a loose plug, a low battery, or so much loss in the coil that the oscillator cannot run",
    "move plug and cable while watching coilcount live; measure the supply under load",
)
FREQUENCY_RANGE = Fault(
    "frequency-range",
    "not the default coil and capacitor, a shorted turn (too high), or a second capacitor (too low)",
    "compare with coilcount plan for your own coil; if it is right, give --lowest-hz and --highest-hz",
)
FREQUENCY_JUMP = Fault(
    "frequency-jump",
    "a loose plug, a wet or moving cable, or a failing capacitor: no target shifts the frequency so much in 1 s",
    "move plug and cable while watching coilcount live; solder the capacitor to the coil",
)
DOUBLE_EDGES = Fault(
    "double-edges",
    "noise on a slow edge: too little hysteresis, or interference from a switching regulator",
    "put a Schmitt trigger in front of the pin and 100 nF at its supply; set the board's regulator to forced PWM",
)
MISSED_EDGES = Fault(
    "missed-edges",
    "the amplitude at the input is sometimes too low, or the signal is high or low for less than the hold-off",
    "look at the amplitude and the bias of the input's node; shorten the cable",
)
STALL = Fault(
    "stall",
    "the board did not read its timestamps in time: another program ran on it",
    "run coilcount install, so that only this firmware runs; if the fault stays, report it",
)
OVERRUN = Fault(
    "overrun",
    "the board did not sum its edges in time: the frequency is very high, or noise was counted as edges",
    "look at the frequency; if it is far above the coil's, look for noise on the input",
)
LOST_RECORDS = Fault(
    "lost-records",
    "the link lost bytes: a poor cable or hub, or a computer too busy to read",
    "use another cable, directly into the computer, without a hub",
)
DAMAGED_LINES = Fault(
    "damaged-lines",
    "bytes were changed on the way: a poor cable, or a second program that reads the same port",
    "use another cable; close other programs on this port",
)
DROPPED_RECORDS = Fault(
    "dropped-records",
    "this computer did not read the port for seconds: it slept, or was too busy",
    "keep the computer awake; close programs that load it",
)
NOISE = Fault(
    "noise",
    "mains or a switching supply nearby, a computer's USB supply, a moving cable, or a target within reach",
    "run from a battery, 2 m from mains and metal, coil and cable at rest; then compare",
)
DRIFT = Fault(
    "drift",
    "warm-up, or sun or wind on coil and capacitor; X7R and polyester drift by hundreds of ppm a kelvin",
    "wait ten minutes and check again; use a C0G or polypropylene capacitor",
)
AMPLITUDE_RANGE = Fault(
    "amplitude-range",
    "supply or tail current are not those of the calibration, or the coil's loss changed",
    "measure supply and tail current; look for water and for a shorted turn",
)
AMPLITUDE_ALONE = Fault(
    "amplitude-alone",
    "loss: a shorted turn, water in the coil, or metal of poor conductivity close by",
    "take the coil away from all metal, dry it, then compare its resistance with that of its wire",
)
AMPLITUDE_AND_FREQUENCY = Fault(
    "amplitude-and-frequency",
    "a plug that opens now and then, or a wet cable",
    "clean and tighten the plug, dry the cable, keep the capacitor in the coil's head",
)
SUPPLY_HIGH = Fault(
    "supply-high",
    "a battery connected directly to VSYS: its limit is 5.5 V (from memory of the board's data sheet)",
    "put a 5 V low-drop regulator and a Schottky diode between battery and VSYS",
)
SUPPLY_LOW = Fault(
    "supply-low",
    "the board runs, so the measurement is wrong: GPIO29 of this board does not carry a third of VSYS",
    "measure VSYS with a meter; if it is 1.8 to 5.5 V, report the board's make and this reading",
)
DIE_TEMPERATURE = Fault(
    "die-temperature",
    "the analogue inputs read nothing or full scale (0 V reads as 437 degC): their reference is missing",
    "measure ADC_VREF against ground, it must be 3.3 V; run coilcount install; if the fault stays, report it",
)

# All of them, for the test that shows evidence for each.
FAULTS = (
    SELF_TEST_COUNT,
    SELF_TEST_START,
    CRYSTAL,
    NO_COIL,
    OSCILLATOR_STOPPED,
    FREQUENCY_RANGE,
    FREQUENCY_JUMP,
    DOUBLE_EDGES,
    MISSED_EDGES,
    STALL,
    OVERRUN,
    LOST_RECORDS,
    DAMAGED_LINES,
    DROPPED_RECORDS,
    NOISE,
    DRIFT,
    AMPLITUDE_RANGE,
    AMPLITUDE_ALONE,
    AMPLITUDE_AND_FREQUENCY,
    SUPPLY_HIGH,
    SUPPLY_LOW,
    DIE_TEMPERATURE,
)
