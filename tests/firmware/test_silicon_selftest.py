"""The self-test on an emulated RP2040 (rp2040py: PWM, both PIO blocks, FIFO, DMA, memory), beside a counted coil.

This is emulation, not hardware.  The code is the firmware's own; the self-test is shorter than on a board.
"""

import json
import sys
from pathlib import Path

import chip_tools
import pytest
from coilwire import records
from emulated_chip import CLOCK_HZ, PWM, PWM_CSR, SLICE_SIZE, Chip, edges_on
from micropython_tool import PROTOCOL, run_micropython

chip_tools.provide_micropython()

import counter as counting  # noqa: E402
import pins  # noqa: E402
from edge_counter import EdgeCounter  # noqa: E402
from self_test import LATEST_MS, SelfTest  # noqa: E402
from selftest_story import story  # noqa: E402

MS = CLOCK_HZ // 1000  # cycles
PERIODS = 60
WAVE_ON = PWM + SLICE_SIZE * (pins.SELF_TEST // 2 % 8) + PWM_CSR


class Rig:
    """A chip that counts a coil, and its self-test.  intervals: the sums that the coil's counter reported."""

    def __init__(self, monkeypatch):
        self.chip = Chip()
        self.coil = EdgeCounter(edges_on(self.chip, monkeypatch, pins.COIL), self)
        self.edges = edges_on(self.chip, monkeypatch, pins.SELF_TEST, 4, ring_bits=12)
        monkeypatch.delitem(sys.modules, "chip_wave", raising=False)
        import chip_wave

        monkeypatch.delitem(sys.modules, "chip_wave")
        self.wave = chip_wave.ChipWave(pins.SELF_TEST)
        self.test = SelfTest(EdgeCounter(self.edges, self), self.wave, self, PERIODS, interval_ms=1)
        self.intervals = []
        self.skipped_ms = 0

    def uptime_ms(self):
        return self.chip.cycle // MS + self.skipped_ms

    def run(self, ms, period=5000):
        """Let at most `ms` milliseconds pass.  Return the result of the self-test if it has ended, else None."""
        for _ in range(ms):
            begin = self.chip.cycle
            rises = range(-(-begin // period) * period, begin + MS, period)
            changes = [change for rise in rises for change in ((rise, 1), (rise + period // 2, 0))]
            self.chip.run(MS, pins.COIL, changes)
            if self.coil.poll() == counting.CLOSED:
                self.intervals.append(list(self.coil.sums))
            result = self.test.poll()
            if result:
                return result
        return None

    def wave_runs(self):
        return self.chip.read(WAVE_ON) & 1

    def self_test_is_stopped(self):
        return not self.wave_runs() and not self.chip.programs[1] and self.chip.mcu.pio[1].stopped


@pytest.fixture
def rig(monkeypatch):
    rig = Rig(monkeypatch)
    rig.coil.start(2)
    yield rig
    rig.test.stop()
    rig.coil.stop()


def test_every_edge_of_the_wave_is_counted_and_none_of_the_coil_s_is_lost(rig):
    assert rig.test.start() == ""
    assert rig.wave_runs()
    assert rig.run(12) == (1, f"sent={PERIODS} counted={PERIODS}")
    assert rig.self_test_is_stopped()
    assert len(rig.intervals) >= 2
    # 25 kHz: 50 edges in 2 ms, each in one interval.
    for k, sums in enumerate(rig.intervals):
        assert (sums[counting.FIRST_EDGE], sums[counting.N]) == (50 * k, 50)
        assert sums[counting.SHORTEST] == sums[counting.LONGEST] == 2500
        assert sums[counting.FLAGS] & ~records.FLAG_NO_AMPLITUDE == (records.FLAG_NEW_TIME_BASE if k == 0 else 0)


def test_one_edge_too_many_fails_the_self_test(rig):
    assert rig.test.start() == ""
    assert rig.run(3) is None
    # A glitch of 240 cycles in the middle of a low half.
    gpio = rig.chip.mcu.gpio[pins.SELF_TEST]
    while gpio.input_value:
        rig.chip.run(1)
    rig.chip.run(1000)
    rig.chip.drive(pins.SELF_TEST, 1)
    rig.chip.run(240)
    rig.chip.drive(pins.SELF_TEST, 0)
    ok, text = rig.run(12)
    assert ok == 0 and text.startswith(f"sent={PERIODS} counted={PERIODS + 1}; ")
    assert text.endswith(f"flags={records.FLAG_DOUBLE_EDGE}")


def test_timestamps_that_drift_by_a_tick_an_edge_fail_the_self_test(rig):
    rig.edges.missed_ticks += 1
    assert rig.test.start() == ""
    ok, text = rig.run(12)
    assert ok == 0 and text.startswith(f"sent={PERIODS} counted={PERIODS}; a time wrong by {PERIODS} ticks")


def test_a_pin_without_edges_fails_the_self_test_in_time(rig, monkeypatch):
    monkeypatch.setattr(rig.wave, "start", lambda hertz: None)
    assert rig.test.start() == ""
    assert rig.run(2) is None
    rig.skipped_ms = LATEST_MS
    ok, text = rig.run(2)
    assert ok == 0 and text.startswith("sent=") and text.endswith(" counted=0")
    assert int(text.split()[0][5:]) >= LATEST_MS * 20  # 20 kHz
    assert rig.self_test_is_stopped()


def test_a_missing_resource_is_reported_as_busy_and_the_coil_is_still_counted(rig):
    used = set(rig.chip.claimed)
    rig.chip.claimed = set(range(1, 12)) | used
    assert rig.test.start() == "busy: no free DMA channel"
    assert rig.self_test_is_stopped()
    rig.chip.claimed = used
    assert rig.test.start() == ""
    assert rig.run(12)[0] == 1 and len(rig.intervals) >= 2


def test_a_clock_that_is_no_multiple_of_the_wave_gives_no_self_test(rig):
    rig.test._counter.clock_hz = 125_000_001
    assert rig.test.start() == "no self-test: 125000001 Hz is no multiple of 40000 Hz"
    assert rig.self_test_is_stopped()


def test_the_application_answers_after_the_self_test_and_still_counts_under_both_interpreters():
    answers, intervals, running = story()
    assert [answer[1:] for answer in answers] == [
        (8, 0, "busy: a self-test runs"),
        (0, 0, "busy: a self-test runs"),
        (7, 1, "sent=4000 counted=4000"),
        (0, 1, "sent=4000 counted=4000"),
        (9, 0, "busy: no free DMA channel"),
    ]
    assert 300 <= answers[2][0] <= 330 and 700 <= answers[3][0] <= 730 and not running
    # Every 20 ms of the coil, without a gap.
    assert [interval[1:3] for interval in intervals] == [(500 * k, 500) for k in range(len(intervals))]
    assert len(intervals) >= 48
    printed = run_micropython(
        "import json\nfrom selftest_story import story\nprint(json.dumps(story()))",
        paths=[chip_tools.FIRMWARE, PROTOCOL, Path(__file__).parents[1] / "support"],
    )
    assert json.loads(printed) == json.loads(json.dumps([answers, intervals, running]))
