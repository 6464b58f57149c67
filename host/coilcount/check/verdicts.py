"""Judges what was received of a board and its coil, for `coilcount check`: a pure function of the records."""

from collections.abc import Iterator

from coilwire import records

from coilcount.check import faults
from coilcount.check.coil import judge_coil
from coilcount.check.crystal import clock_pairs, compare
from coilcount.check.evidence import MEASURED, NOT_CHECKED, OK, Asked, Evidence, Finding, failed

# ppm.  The board's clock may differ from this computer's by this much: two crystals of 50 ppm.  Chosen by hand.
MAX_CRYSTAL_PPM = 100.0
# ppm, standard uncertainty.  A comparison of the clocks that is less certain is not judged.  Chosen by hand.
MAX_CRYSTAL_UNCERTAINTY_PPM = 25.0
# Fraction of the records.  More lost or dropped records, or damaged lines, are reported as a fault.  Chosen by hand.
MAX_LOST = 0.001
# mV.  Range of VSYS, from memory of the board's data sheet: a board that runs cannot have less, and must not get more.
MIN_SUPPLY_MV, MAX_SUPPLY_MV = 1800, 5500
# degC.  A reading outside this range is no temperature but a fault of the measurement.  The chip works from -20 to
# 85 degC (from memory of its data sheet); 20 K more on either side allow for the sensor's offset (chosen by hand).
MIN_DIE_C, MAX_DIE_C = -40.0, 105.0

# The command for the self-test, and how the board's answers begin (PROTOCOL.md).
SELFTEST = "selftest"
_ANSWER_COUNTED = "sent="
_ANSWER_UNKNOWN_COMMAND = "no such command"
_ANSWER_NO_SELFTEST = "no self-test"


def evaluate(evidence: Evidence, asked: Asked) -> list[Finding]:
    """Every check, in the order of the signal: board, clock, link, coil."""
    found = [_selftest(evidence), _crystal(evidence), *_link(evidence)]
    if evidence.frequency_hz is None:
        found.append(failed("coil", faults.NO_COIL, "no record of the coil came: nothing could be counted"))
    else:
        found += judge_coil(evidence, asked, evidence.frequency_hz)
    found += [_stopped(evidence), *_status(evidence)]
    return found


def _selftest(evidence: Evidence) -> Finding:
    answer = evidence.selftest
    if answer is None:
        return Finding("self-test", NOT_CHECKED, "the board was not asked for it, or did not answer")
    if answer.ok:
        return Finding("self-test", OK, f"a second counter saw every edge that was sent ({answer.text})")
    if answer.text.startswith(_ANSWER_UNKNOWN_COMMAND):
        return Finding("self-test", NOT_CHECKED, "this firmware has no self-test")
    if answer.text.startswith(_ANSWER_NO_SELFTEST):
        return Finding("self-test", NOT_CHECKED, answer.text)
    if not answer.text.startswith(_ANSWER_COUNTED):
        return failed("self-test", faults.SELF_TEST_START, f"the self-test did not start: {answer.text}")
    text = f"the self-test counted another number of edges than were sent: {answer.text}"
    return failed("self-test", faults.SELF_TEST_COUNT, text)


def _crystal(evidence: Evidence) -> Finding:
    tick_s = evidence.hello.tick_cycles / evidence.hello.clock_hz
    ratio = compare(clock_pairs(evidence.heard, tick_s))
    if ratio is None:
        return Finding("crystal", NOT_CHECKED, "too few records to compare the clocks")
    figures = {"crystal_ppm": ratio.ppm, "uncertainty_ppm": ratio.uncertainty_ppm, "span_s": ratio.span_s}
    text = (
        f"{ratio.ppm:+.1f} ppm against this computer's clock, standard uncertainty {ratio.uncertainty_ppm:.1f} ppm "
        f"over {ratio.span_s:.0f} s"
    )
    if abs(ratio.ppm) - 2 * ratio.uncertainty_ppm > MAX_CRYSTAL_PPM:
        text = f"the crystal disagrees with this computer's clock: {text}"
        return failed("crystal", faults.CRYSTAL, text, figures)
    if ratio.uncertainty_ppm > MAX_CRYSTAL_UNCERTAINTY_PPM:
        return Finding("crystal", MEASURED, f"{text}: too short to judge", figures)
    return Finding("crystal", OK, text, figures)


def _link(evidence: Evidence) -> Iterator[Finding]:
    records_hz = evidence.intervals / evidence.seconds if evidence.seconds > 0 else 0.0
    counts = {"lost": evidence.lost, "damaged": evidence.damaged, "dropped": evidence.dropped}
    counted = ", ".join(f"{count} {what}" for what, count in counts.items())
    text = f"{records_hz:.1f} records a second, {counted}"
    figures = {"records_hz": records_hz, **counts}
    allowed = MAX_LOST * (evidence.intervals + evidence.lost)
    found = [
        failed("link", fault, f"{words}: {text}", figures)
        for fault, words, count in (
            (faults.DROPPED_RECORDS, "the board dropped records", evidence.dropped),
            (faults.DAMAGED_LINES, "lines are damaged", evidence.damaged),
            # Records that the board dropped never went over the link, and are among those that are missing.
            (faults.LOST_RECORDS, "records are lost", evidence.lost - evidence.dropped),
        )
        if count > allowed
    ]
    yield from found
    if not found:
        yield Finding("link", OK, text, figures)


def _stopped(evidence: Evidence) -> Finding:
    silences_ms = [record.silent_ms for _, record in evidence.heard if isinstance(record, records.Stopped)]
    if not silences_ms:
        return Finding(
            "oscillator", OK, f"no silence of {records.STOPPED_AFTER_MS} ms", {"reports": 0, "longest_ms": 0}
        )
    reports, longest_ms = len(silences_ms), max(silences_ms)
    text = f"the oscillator stopped: {reports} reports, silent for up to {longest_ms} ms"
    figures = {"reports": reports, "longest_ms": longest_ms}
    return failed("oscillator", faults.OSCILLATOR_STOPPED, text, figures)


def _status(evidence: Evidence) -> Iterator[Finding]:
    statuses = [record for _, record in evidence.heard if isinstance(record, records.Status)]
    if not statuses:
        yield Finding("supply", NOT_CHECKED, "no status came")
        yield Finding("temperature", NOT_CHECKED, "no status came")
        return
    yield _supply(statuses[-1].supply_mv)
    celsius = statuses[-1].temperature_mk / 1000 - 273.15
    figures = {"temperature_c": celsius}
    if MIN_DIE_C <= celsius <= MAX_DIE_C:
        yield Finding("temperature", OK, f"die at {celsius:.1f} degC", figures)
    else:
        text = f"the die cannot have this temperature: {celsius:.1f} degC"
        yield failed("temperature", faults.DIE_TEMPERATURE, text, figures)


def _supply(millivolts: int) -> Finding:
    volts = millivolts / 1000
    figures = {"supply_v": volts}
    if millivolts == 0:  # the value of a board that does not measure it (PROTOCOL.md)
        return Finding("supply", NOT_CHECKED, "0.00 V: this board does not measure its supply", figures)
    if millivolts > MAX_SUPPLY_MV:
        return failed("supply", faults.SUPPLY_HIGH, f"the supply is too high: {volts:.2f} V", figures)
    if millivolts < MIN_SUPPLY_MV:
        text = f"the supply reads too low for a board that runs: {volts:.2f} V"
        return failed("supply", faults.SUPPLY_LOW, text, figures)
    return Finding("supply", OK, f"{volts:.2f} V", figures)
