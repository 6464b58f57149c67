"""`coilcount check`: the judgement as a pure function of records, and the whole command on the real firmware."""

import json
import math
import random
import statistics
import sys
from dataclasses import replace
from pathlib import Path

import pytest
from board_lines import Source, hello
from coilcount.check import faults
from coilcount.check.crystal import clock_pairs, compare
from coilcount.check.evidence import Asked, Evidence
from coilcount.check.verdicts import evaluate
from coilcount.commands.cli import main
from coilcount.virtual.board import VirtualBoard
from coilwire import records
from firmware_scenes import FIRMWARE

TICK_S = 16e-9
STATUS = records.Status(1000, 295_000, 5000, 1, 0, 0, 0)


def intervals(seconds, amplitude=20_000, **given):
    source = Source(lambda t: 25_000.0, **given)
    return [source.interval()._replace(amplitude=amplitude) for _ in range(round(50 * seconds))]


def timed(items, ppm=0.0, delay=lambda: 0.0):
    """Intervals with host times: the board's clock runs `ppm` fast, and each interval is late by delay() s."""
    ticks = last = 0
    heard = []
    for k, record in enumerate(items):
        ticks += (record.t_first - last) % records.U32 if k else 0
        last = record.t_first
        heard.append((5.0 + 0.02 + ticks * TICK_S / (1 + 1e-6 * ppm) + delay(), record))
    return heard


def sound(items=None, **changes):
    """Evidence in which nothing is wrong but for `changes`."""
    items = intervals(20) if items is None else items
    good = Evidence(
        hello=hello(),
        seconds=20.0,
        heard=[*timed(items), (25.0, STATUS)],
        readings=[(0.02 * k, 25_000.0) for k in range(len(items))],
        frequency_hz=25_000.0,
        noise_ppm=0.1,
        intervals=len(items),
        selftest=records.Answer(1, 1, "sent=1000 counted=1000"),
    )
    return replace(good, **changes)


def verdicts(evidence, asked=None):
    return {finding.name: finding for finding in evaluate(evidence, asked or Asked())}


def test_a_sound_board_fails_nothing():
    found = evaluate(sound(), Asked(amplitude_v=2.0, capacitor_nf=180.0, drift_minutes=0.3))
    assert [f.name for f in found if f.verdict == "failed"] == []
    assert [f.name for f in found if f.verdict == "not checked"] == []


def flagged(flag):
    items = intervals(20)
    items[100] = items[100]._replace(flags=items[100].flags | flag)
    return sound(items)


def stretched(**change):
    items = intervals(20)
    items[100] = items[100]._replace(**change)
    return sound(items)


def stepped(amplitude_factor, hz_factor):
    """Evidence in which amplitude and frequency change by these factors in the middle of the run."""
    items = intervals(20)
    items[500:] = [item._replace(amplitude=round(item.amplitude * amplitude_factor)) for item in items[500:]]
    readings = [(0.02 * k, 25_000.0 * (hz_factor if k >= 500 else 1.0)) for k in range(1000)]
    return sound(items, readings=readings)


def drifting(ppm_a_minute):
    return sound(readings=[(0.02 * k, 25_000.0 * (1 + 1e-6 * ppm_a_minute * 0.02 * k / 60)) for k in range(1000)])


def status(**change):
    return sound(heard=[(1.0, STATUS._replace(**change))])


# name of the finding, fault, evidence, what was asked
BROKEN = [
    ("self-test", faults.SELF_TEST_COUNT, sound(selftest=records.Answer(1, 0, "sent=1000 counted=998")), Asked()),
    ("self-test", faults.SELF_TEST_START, sound(selftest=records.Answer(1, 0, "busy: no DMA")), Asked()),
    ("crystal", faults.CRYSTAL, sound(heard=timed(intervals(20), ppm=150)), Asked()),
    ("coil", faults.NO_COIL, sound([], frequency_hz=None), Asked()),
    ("oscillator", faults.OSCILLATOR_STOPPED, sound(heard=[(1.0, records.Stopped(900, 50))]), Asked()),
    ("frequency", faults.FREQUENCY_RANGE, sound(frequency_hz=19_999.0), Asked()),
    ("frequency", faults.FREQUENCY_RANGE, sound(), Asked(lowest_hz=26_000.0)),
    ("jumps", faults.FREQUENCY_JUMP, stepped(1.0, 1.0021), Asked()),
    ("edges", faults.DOUBLE_EDGES, flagged(records.FLAG_DOUBLE_EDGE), Asked()),
    ("edges", faults.DOUBLE_EDGES, stretched(shortest=1740), Asked()),
    ("edges", faults.MISSED_EDGES, flagged(records.FLAG_LOST_EDGE), Asked()),
    ("edges", faults.MISSED_EDGES, stretched(longest=3510), Asked()),
    ("edges", faults.STALL, flagged(records.FLAG_STALL), Asked()),
    ("edges", faults.OVERRUN, flagged(records.FLAG_OVERRUN), Asked()),
    ("link", faults.LOST_RECORDS, sound(lost=2), Asked()),
    ("link", faults.DAMAGED_LINES, sound(damaged=2), Asked()),
    ("link", faults.DROPPED_RECORDS, sound(lost=2, dropped=2), Asked()),
    ("noise", faults.NOISE, sound(noise_ppm=2.1), Asked()),
    ("drift", faults.DRIFT, drifting(11.0), Asked(drift_minutes=0.3)),
    ("amplitude", faults.AMPLITUDE_RANGE, sound(), Asked(amplitude_v=6.8)),
    ("amplitude", faults.AMPLITUDE_RANGE, sound(), Asked(amplitude_v=1.3)),
    ("loss", faults.AMPLITUDE_ALONE, stepped(0.9, 1.0), Asked()),
    ("loss", faults.AMPLITUDE_AND_FREQUENCY, stepped(0.9, 1.0021), Asked()),
    ("supply", faults.SUPPLY_HIGH, status(supply_mv=5600), Asked()),
    ("supply", faults.SUPPLY_LOW, status(supply_mv=1790), Asked()),
    # What an analogue input reads that is at 0 V: 27 degC + 0.706 V / (1.721 mV/K).
    ("temperature", faults.DIE_TEMPERATURE, status(temperature_mk=710_379), Asked()),
    ("temperature", faults.DIE_TEMPERATURE, status(temperature_mk=0), Asked()),
]


@pytest.mark.parametrize(("name", "fault", "evidence", "asked"), BROKEN, ids=[row[1].id for row in BROKEN])
def test_each_fault_is_reported_with_its_id_cause_and_remedy(name, fault, evidence, asked):
    found = [finding for finding in evaluate(evidence, asked) if finding.name == name and finding.fault is fault]
    assert [finding.verdict for finding in found] == ["failed"]
    assert fault.id and fault.cause and fault.remedy


def test_every_failed_finding_names_a_fault_and_no_other_finding_does():
    for _, _, evidence, asked in BROKEN:
        for finding in evaluate(evidence, asked):
            assert (finding.verdict == "failed") == (finding.fault is not None)


def test_every_fault_is_found_in_some_evidence_and_has_an_id_of_its_own():
    assert {row[1] for row in BROKEN} == set(faults.FAULTS)
    assert len({fault.id for fault in faults.FAULTS}) == len(faults.FAULTS)


# One step inside each limit.
@pytest.mark.parametrize(
    "evidence",
    [
        sound(frequency_hz=20_000.0), sound(frequency_hz=35_000.0), stretched(shortest=1760), stretched(longest=3490),
        stepped(1.0, 1.0019), drifting(9.0), sound(noise_ppm=2.0), sound(lost=1),
    ],
)  # fmt: skip
def test_just_inside_the_limits_nothing_fails(evidence):
    # A step in the frequency would be judged as a drift as well.
    minutes = None if evidence.readings[-1][1] > 25_040 else 0.3
    found = evaluate(evidence, Asked(amplitude_v=6.6, drift_minutes=minutes))
    assert [f.text for f in found if f.verdict == "failed"] == []


def test_a_supply_that_is_not_measured_is_not_called_ok():
    found = verdicts(status(supply_mv=0))
    assert (found["supply"].verdict, found["temperature"].verdict) == ("not checked", "ok")


@pytest.mark.parametrize(
    ("answer", "text"),
    [
        ("no such command: selftest", "this firmware has no self-test"),
        ("no self-test: no pin is free for it", "no self-test: no pin is free for it"),
    ],
)
def test_a_board_without_a_self_test_is_not_checked(answer, text):
    found = verdicts(sound(selftest=records.Answer(1, 0, answer)))["self-test"]
    assert (found.verdict, found.text) == ("not checked", text)


def test_the_inductance_of_the_default_tank():
    # The tank that was simulated with ngspice: 225 uH and 180 nF; resonance by Thomson's formula.
    hz = 1 / (2 * math.pi * math.sqrt(225e-6 * 180e-9))
    found = verdicts(sound(frequency_hz=hz), Asked(capacitor_nf=180.0, capacitor_tolerance=2.0))["inductance"]
    assert found.figures["inductance_uh"] == pytest.approx(225.0, rel=1e-9)
    assert found.figures["tolerance_uh"] == pytest.approx(4.5, rel=1e-9)


def test_the_clocks_ratio_and_its_uncertainty_agree_with_the_scatter():
    """200 runs with exponential delays: the stated standard uncertainty agrees with the scatter of the estimates."""
    random_ = random.Random(7)
    items = intervals(30)
    found = [
        compare(clock_pairs(timed(items, 40.0, lambda: random_.expovariate(1 / 0.002)), TICK_S)) for _ in range(200)
    ]
    scatter = statistics.stdev(ratio.ppm for ratio in found)
    stated = math.sqrt(statistics.fmean(ratio.uncertainty_ppm**2 for ratio in found))
    # The standard deviation of 200 draws is itself known to 5 %.
    assert stated == pytest.approx(scatter, rel=0.2)
    assert statistics.fmean(ratio.ppm for ratio in found) == pytest.approx(40.0, abs=4 * scatter / math.sqrt(200))


def test_clocks_are_compared_on_one_time_base_through_the_turn_of_the_timestamp():
    items = intervals(20, first_tick=records.U32 - 62_500_000 * 8)
    assert items[0].t_first > items[-1].t_first
    whole = compare(clock_pairs(timed(items, 25.0), TICK_S))
    assert whole.ppm == pytest.approx(25.0, abs=0.01) and whole.span_s == pytest.approx(19, abs=0.1)
    items[600] = items[600]._replace(flags=records.FLAG_NEW_TIME_BASE)
    assert compare(clock_pairs(timed(items, 25.0), TICK_S)).span_s == pytest.approx(11, abs=0.1)
    assert compare(clock_pairs(timed(items[:100]), TICK_S)) is None
    late = [(host_s + (0.5 if 300 <= k < 400 else 0.0), r) for k, (host_s, r) in enumerate(timed(items[:600], 25.0))]
    assert compare(clock_pairs(late, TICK_S)).ppm == pytest.approx(25.0, abs=0.01)


def test_the_command_on_the_real_firmware(capsys):
    assert main(["check", "--virtual", "--for", "1.5", "--capacitor-nf", "180", "--json"]) == 0
    *found, summary = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    names = {finding["name"]: finding for finding in found}
    assert all(finding["fault"] is None for finding in found)
    assert summary["ok"] and summary["simulated"] and "NTP" in summary["host_clock"]
    assert (names["self-test"]["verdict"], names["link"]["verdict"]) == ("not checked", "ok")
    assert names["self-test"]["text"] == "no self-test on a virtual board: its counts are simulated"
    # The quiet bench's coil: what physics of the scene makes of 225 uH, within the 0.15 % that an oscillator moves.
    assert names["inductance"]["inductance_uh"] == pytest.approx(225.0, rel=0.003)
    assert names["edges"]["double"] == 0


def test_a_coil_that_stops_ends_with_1_and_a_remedy(capsys):
    feed = {"pace": 1, "ms": 60_000, "jitter": 0, "silent": [[500, 60_000]]}
    with VirtualBoard(
        FIRMWARE, [sys.executable, str(Path(__file__).parents[1] / "support/firmware_scenes.py"), json.dumps(feed)]
    ) as board:
        assert main(["check", "--port", board.port, "--for", "1.2"]) == 1
    out = capsys.readouterr().out
    assert "the oscillator stopped" in out and "remedy" in out and out.splitlines()[-1].startswith("1 failed")


def test_json_names_the_fault_by_its_id(capsys):
    assert main(["check", "--virtual", "--for", "0.5", "--lowest-hz", "30000", "--json"]) == 1
    found = [json.loads(line) for line in capsys.readouterr().out.splitlines()]
    (failed,) = [finding for finding in found if finding.get("verdict") == "failed"]
    assert (failed["name"], failed["fault"]) == ("frequency", "frequency-range")


@pytest.mark.parametrize(
    "words", [["--capacitor-nf", "0"], ["--for", "-1"], ["--lowest-hz", "40000"], ["--scene", "x"]]
)
def test_impossible_numbers_are_a_one_line_error(words, capsys):
    assert main(["check", *words]) == 2
    assert capsys.readouterr().err.count("\n") == 1
