"""What was heard of a board and its coil, judged, for `coilcount check`: a pure function of the records."""

from collections.abc import Iterator

from coilwire import records

from coilcount.check.coil import judge_coil
from coilcount.check.crystal import clock_pairs, compare
from coilcount.check.evidence import FAILED, NOT_CHECKED, OK, TOLD, Asked, Evidence, Finding

# Our own choices, no source.
MOST_CRYSTAL_PPM = 100.0  # two crystals of 50 ppm
MOST_UNCERTAIN_PPM = 25.0  # a worse comparison of the clocks is not judged
MOST_LOST = 0.001  # of the records
# Range of VSYS, from memory of the board's data sheet: a board that runs cannot have less, and must not get more.
LEAST_SUPPLY_MV, MOST_SUPPLY_MV = 1800, 5500
# The chip works from -20 to 85 degC (from memory of its data sheet).  20 K more on either side for the sensor's offset
# (chosen by hand): what lies outside is no temperature but a fault of the measurement.
LEAST_DIE_C, MOST_DIE_C = -40.0, 105.0

SELFTEST = "selftest"  # the verb: see PROTOCOL.md
# What a board answers that does not know the verb, or has no self-test.
_UNKNOWN = "no such command"
_NONE = "no self-test"


def evaluate(evidence: Evidence, asked: Asked) -> list[Finding]:
    """Every check, in the order of the signal: board, clock, link, coil."""
    found = [_selftest(evidence), _crystal(evidence), *_link(evidence)]
    if evidence.frequency_hz is None:
        found.append(Finding("coil", FAILED, "no record of the coil came: nothing could be counted"))
    else:
        found += judge_coil(evidence, asked, evidence.frequency_hz)
    found += [
        _stopped(evidence),
        *_supply(evidence),
        Finding("duty", NOT_CHECKED, "this firmware does not measure it; 45 to 55 % at the pin (35 to 65 % half sine)"),
        Finding("buzzer", NOT_CHECKED, "this firmware has no buzzer; on and off must differ by under 0.5 ppm"),
    ]
    return found


def _selftest(evidence: Evidence) -> Finding:
    answer = evidence.selftest
    if answer is None:
        return Finding("self-test", NOT_CHECKED, "it was not asked for, or not answered")
    if answer.ok:
        return Finding("self-test", OK, f"a second counter saw every edge that was sent ({answer.text})")
    if answer.text.startswith(_UNKNOWN):
        return Finding("self-test", NOT_CHECKED, "this firmware has no self-test")
    if answer.text.startswith(_NONE):
        return Finding("self-test", NOT_CHECKED, answer.text)
    if not answer.text.startswith("sent="):
        return Finding("self-test", FAILED, f"the self-test did not start: {answer.text}")
    return Finding("self-test", FAILED, f"the self-test counted other than was sent: {answer.text}")


def _crystal(evidence: Evidence) -> Finding:
    tick_s = evidence.hello.tick_cycles / evidence.hello.clock_hz
    found = compare(clock_pairs(evidence.heard, tick_s))
    if found is None:
        return Finding("crystal", NOT_CHECKED, "too few records to compare the clocks")
    ppm, u = found.ppm, found.uncertainty_ppm
    figures = {"crystal_ppm": ppm, "uncertainty_ppm": u, "span_s": found.span_s}
    text = f"{ppm:+.1f} ppm against this computer's clock, standard uncertainty {u:.1f} ppm over {found.span_s:.0f} s"
    if abs(ppm) - 2 * u > MOST_CRYSTAL_PPM:
        return Finding("crystal", FAILED, f"the crystal disagrees with this computer's clock: {text}", figures)
    if u > MOST_UNCERTAIN_PPM:
        return Finding("crystal", TOLD, f"{text}: too short to judge", figures)
    return Finding("crystal", OK, text, figures)


def _link(evidence: Evidence) -> Iterator[Finding]:
    rate = evidence.intervals / evidence.seconds if evidence.seconds > 0 else 0.0
    counts = {"lost": evidence.lost, "damaged": evidence.damaged, "dropped": evidence.dropped}
    text = f"{rate:.1f} records a second" + "".join(f", {number} {what}" for what, number in counts.items())
    figures = {"records_hz": rate, **counts}
    allowed = MOST_LOST * (evidence.intervals + evidence.lost)
    faults = [
        words
        for words, number in (
            ("the board dropped records", evidence.dropped),
            ("lines are damaged", evidence.damaged),
            ("records are lost", evidence.lost - evidence.dropped),
        )
        if number > allowed
    ]
    for words in faults:
        yield Finding("link", FAILED, f"{words}: {text}", figures)
    if not faults:
        yield Finding("link", OK, text, figures)


def _stopped(evidence: Evidence) -> Finding:
    silences = [record.silent_ms for _, record in evidence.heard if isinstance(record, records.Stopped)]
    if silences:
        text = f"the oscillator stopped: {len(silences)} reports, silent for up to {max(silences)} ms"
        return Finding("oscillator", FAILED, text, {"reports": len(silences), "longest_ms": max(silences)})
    return Finding("oscillator", OK, "no silence of 50 ms", {"reports": 0, "longest_ms": 0})


def _supply(evidence: Evidence) -> Iterator[Finding]:
    statuses = [record for _, record in evidence.heard if isinstance(record, records.Status)]
    if not statuses:
        yield Finding("supply", NOT_CHECKED, "no status came")
        yield Finding("temperature", NOT_CHECKED, "no status came")
        return
    yield _supply_voltage(statuses[-1].supply_mv)
    celsius = statuses[-1].temperature_mk / 1000 - 273.15
    figures = {"temperature_c": celsius}
    if LEAST_DIE_C <= celsius <= MOST_DIE_C:
        yield Finding("temperature", OK, f"die at {celsius:.1f} degC", figures)
    else:
        yield Finding("temperature", FAILED, f"the die's temperature cannot be: {celsius:.1f} degC", figures)


def _supply_voltage(millivolts: int) -> Finding:
    volts = millivolts / 1000
    figures = {"supply_v": volts}
    if millivolts == 0:  # so the wire says it (PROTOCOL.md)
        return Finding("supply", NOT_CHECKED, "0.00 V: this board does not measure its supply", figures)
    if millivolts > MOST_SUPPLY_MV:
        return Finding("supply", FAILED, f"the supply is too high: {volts:.2f} V", figures)
    if millivolts < LEAST_SUPPLY_MV:
        return Finding("supply", FAILED, f"the supply reads too low for a board that runs: {volts:.2f} V", figures)
    return Finding("supply", OK, f"{volts:.2f} V", figures)
