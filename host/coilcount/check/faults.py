"""From a fault's first words to its likely cause and the remedy: every fault that `check` can tell, in one place."""

from typing import NamedTuple


class Fault(NamedTuple):
    """What most likely is behind it, and what to do."""

    cause: str
    remedy: str


# Keys: the first words of the finding.  Causes are common practice, no source, where nothing else is said.
FAULTS = {
    "the self-test counted": Fault(
        "the counter itself is at fault: firmware and MicroPython do not fit, or the clock was changed",
        "run coilcount install; if it stays, report it with the two numbers",
    ),
    "the self-test did not start": Fault(
        "another program on the board holds what it needs, or a self-test runs already",
        "reset the board and check again; then run coilcount install",
    ),
    "the crystal disagrees": Fault(
        "this computer's clock is wrong, or the board's clock is not what its hello says",
        "compare on a computer whose clock is kept by NTP; then look at clock_hz in the hello",
    ),
    "no record of the coil": Fault(
        "the oscillator does not run, or its signal does not reach the pin",
        "measure at the oscillator first, then at the Schmitt input, then at the pin (firmware/WIRING.md)",
    ),
    "the oscillator stopped": Fault(
        "a loose plug, a battery that is low, or too much loss in the coil for the oscillator to run",
        "move plug and cable while watching coilcount live; measure the supply under load",
    ),
    "the frequency is outside": Fault(
        "another coil or capacitor than the default, a shorted turn (too high), or a second capacitor (too low)",
        "compare with coilcount plan for your own coil; --lowest-hz and --highest-hz if it is meant",
    ),
    "the frequency jumps": Fault(
        "a loose plug, a wet or moving cable, or a capacitor that fails: no target moves it as much in a second",
        "move plug and cable while watching coilcount live; solder the capacitor to the coil",
    ),
    "edges are counted twice": Fault(
        "noise on a slow edge: too little hysteresis, or interference from a switching regulator",
        "a Schmitt trigger in front of the pin, 100 nF at its supply, the board's regulator in forced PWM",
    ),
    "edges are missed": Fault(
        "the amplitude at the input is too low now and then, or high or low times are too short for the hold-off",
        "look at the amplitude and the bias of the input's node; shorten the cable",
    ),
    "the time base broke": Fault(
        "the board did not fetch its timestamps in time: something else ran on it",
        "run coilcount install, so that nothing but this firmware runs; report it if it stays",
    ),
    "edges were overwritten": Fault(
        "the board did not sum its edges in time: a very high frequency, or noise taken for edges",
        "look at the frequency; if it is far above the coil's, treat it as noise on the input",
    ),
    "records are lost": Fault(
        "the link lost bytes: a poor cable or hub, or a computer too busy to read",
        "another cable, straight into the computer, no hub",
    ),
    "lines are damaged": Fault(
        "bytes change on the way: a poor cable, or a second program reads the same port",
        "another cable; close other programs on this port",
    ),
    "the board dropped": Fault(
        "this computer did not read for seconds: it slept, or was too busy",
        "keep it awake; close what is heavy",
    ),
    "the readings are noisy": Fault(
        "mains or a switching supply nearby, a computer's USB supply, a moving cable, or a target within reach",
        "run from a battery, 2 m from mains and metal, coil and cable at rest; then compare",
    ),
    "the coil drifts": Fault(
        "warm-up, sun or wind on coil and capacitor; X7R and polyester drift by hundreds of ppm a kelvin",
        "wait ten minutes and run it again; use a C0G or polypropylene capacitor",
    ),
    "the amplitude is outside": Fault(
        "supply or tail current differ from those at calibration, or the coil's loss changed",
        "measure supply and tail current; look for water and for a shorted turn",
    ),
    "the amplitude changed alone": Fault(
        "loss: a shorted turn, water in the coil, or metal of poor conductivity close by",
        "take the coil away from all metal, dry it, then compare its resistance with that of its wire",
    ),
    "amplitude and frequency jumped": Fault(
        "a plug that opens, or a wet cable",
        "clean and tighten the plug, dry the cable, keep the capacitor in the coil's head",
    ),
    "the supply is too high": Fault(
        "a battery straight on VSYS: 5.5 V is its limit (from memory of the board's data sheet)",
        "a 5 V low-drop regulator and a Schottky diode between battery and VSYS",
    ),
    "the supply reads too low": Fault(
        "the board runs, so the measurement is wrong: GPIO29 of this board does not carry a third of VSYS",
        "measure VSYS with a meter; if it is 1.8 to 5.5 V, report the board's make and this reading",
    ),
    "the die's temperature cannot be": Fault(
        "the analogue inputs read nothing or full scale (0 V reads as 437 degC): their reference is missing",
        "measure ADC_VREF against ground, it must be 3.3 V; run coilcount install; report it if it stays",
    ),
}


def fault_of(text: str) -> Fault | None:
    """The row whose key begins `text`."""
    return next((fault for words, fault in FAULTS.items() if text.startswith(words)), None)
