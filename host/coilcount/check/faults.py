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
    "measure the signal at the oscillator, then at the Schmitt input, then at the pin (steps 5 and 6 of BUILD.md)",
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

# Faults that only `check --build` can name, because it knows the plan and the readings that were taken by hand.
WRONG_CAPACITOR = Fault(
    "wrong-capacitor",
    "the capacitor is not the planned one: another value, one of two missing, or two in series and not in parallel",
    "read its marking, or measure it out of the circuit; fit the value of the plan",
)
SHORTED_TURN = Fault(
    "shorted-turn",
    "a closed loop takes energy from the coil: two turns that touch, or a shield whose ends meet",
    "cut a gap of 5 mm into the shield and look again; if nothing changes, wind a new coil with sound enamel",
)
WRONG_TURNS = Fault(
    "wrong-turns",
    "the number of turns, the diameter or the wire is not the planned one",
    "count the turns and measure the mean diameter; then plan again with the real values, or wind again",
)
FREQUENCY_HIGH = Fault(
    "frequency-high",
    "the capacitor is too small, turns are missing, or a closed loop (two turns that touch, a shield whose ends meet)",
    "measure the capacitor, the coil's resistance and the swing at a coil end: they tell these causes apart",
)
FREQUENCY_LOW = Fault(
    "frequency-low",
    "the capacitor is too large, a second capacitor is across the coil, or there are too many turns",
    "measure the capacitor and the coil's resistance: they tell these causes apart",
)
COIL_OPEN = Fault(
    "coil-open",
    "no current can flow through the coil: a broken wire, or enamel under a solder joint",
    "scrape and tin the ends again; measure each half and the cable by itself",
)
COIL_SHORT = Fault(
    "coil-short",
    "the ends of the coil touch, or the meter was not at the coil",
    "look at the ends, the cable and the plug for a bridge of solder or a strand",
)
RESISTANCE_LOW = Fault(
    "resistance-low",
    "turns are missing, the wire is thicker than planned, or turns touch far apart in the winding",
    "count the turns; measure the bare wire with a calliper",
)
RESISTANCE_HIGH = Fault(
    "resistance-high",
    "a bad joint or plug, thin cable, wire thinner than planned, too many turns, or the test leads themselves",
    "touch the test leads together and subtract what they show; measure at the winding, without plug and cable",
)
INDUCTANCE_METER = Fault(
    "inductance",
    "turns or diameter differ from the plan; far too low at 10 kHz or more, and not at 1 kHz: a closed loop",
    "count the turns; open the shield's gap; give plan the measured value (--measured-inductance)",
)
OSCILLATOR_SUPPLY = Fault(
    "oscillator-supply",
    "the regulator, its input, or the resistor to the oscillator: or the wrong oscillator was chosen",
    "measure from the battery on, part by part, until the voltage is wrong",
)
CURRENT_LOW = Fault(
    "current-low",
    "the oscillator does not get its working current: the tail or source transistor, or its reference, is wrong",
    "look at the orientation of transistors and reference; compare the voltages with the page of the circuit",
)
CURRENT_HIGH = Fault(
    "current-high",
    "a short, a transistor or capacitor the wrong way round, or a push-pull stage that does not oscillate",
    "switch off at once; look for bridges of solder and for parts the wrong way round",
)
SWING_LOW = Fault(
    "swing-low",
    "loss in the tank: a closed loop, a capacitor with loss, a bad joint; or too little oscillator current",
    "take the coil away from metal; open the shield's gap; measure the coil's resistance and the current",
)
SWING_HIGH = Fault(
    "swing-high",
    "the oscillator's current is higher than planned, or the capacitor is smaller",
    "measure current and frequency; keep away from the pin until the swing is understood",
)
MID_LEVEL = Fault(
    "mid-level",
    "the divider for the middle of the supply: a wrong value, a bad joint, or no 3.3 V",
    "measure the 3.3 V; look at the 22k and the 20k",
)
PIN_LEVELS = Fault(
    "pin-levels",
    "the input stage does not keep its output between 0 and 3.3 V: its supply, a missing clamp, a wrong joint",
    "do not connect the board; measure the supply of the gate: it must be 3.3 V",
)
DUTY = Fault(
    "duty",
    "the input stage switches far from the middle of the wave, or does not switch at all",
    "measure the middle of the supply; look at the clamp's four diodes and their direction",
)
BATTERY_CURRENT = Fault(
    "battery-current",
    "a part draws more or less than planned, or not everything was switched on",
    "unplug board, display and oscillator one after the other and see what each draws",
)
NO_SWING = Fault(
    "no-swing",
    "the oscillator has its current and does not oscillate: a closed loop, crossed feedback, or no capacitor",
    "open the shield's gap; follow each base or gate to the other coil end; look at the tank's capacitor",
)
INPUT_STAGE = Fault(
    "input-stage",
    "the oscillator runs, and its signal does not get through the input stage",
    "follow the signal: coil end, node after the coupling capacitor, gate, 330 ohm, pin",
)
WRONG_PIN = Fault(
    "wrong-pin",
    "the squared signal is there, and the board does not count it: another pin, or no common ground",
    "compare with COIL in firmware/pins.py; connect the grounds of board and input stage",
)
WRONG_DIELECTRIC = Fault(
    "wrong-dielectric",
    "the capacitor drifts more than the planned kind: X7R and polyester drift by hundreds of ppm a kelvin",
    "wait until coil and room are at rest and check again; fit a C0G or polypropylene capacitor",
)

# All of them, for the tests that show evidence for each.
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
BUILD_FAULTS = (
    WRONG_CAPACITOR,
    SHORTED_TURN,
    WRONG_TURNS,
    FREQUENCY_HIGH,
    FREQUENCY_LOW,
    COIL_OPEN,
    COIL_SHORT,
    RESISTANCE_LOW,
    RESISTANCE_HIGH,
    INDUCTANCE_METER,
    OSCILLATOR_SUPPLY,
    CURRENT_LOW,
    CURRENT_HIGH,
    SWING_LOW,
    SWING_HIGH,
    MID_LEVEL,
    PIN_LEVELS,
    DUTY,
    BATTERY_CURRENT,
    NO_SWING,
    INPUT_STAGE,
    WRONG_PIN,
    WRONG_DIELECTRIC,
)
