"""The firmware on a whole emulated chip, installed and read as on a board: a set of scenarios.

They need an image of MicroPython for the Pico.  No package contains one.  COILCOUNT_UF2 names its file, and
DEVELOPERS.md says how to get one.  NO SCENARIO HAS EVER BEEN RUN in this form, because its authors had no image.  The
parts that need none are tested in test_chip_image.py.

The chip boots once and gets the firmware once.  Each scenario then runs on a copy of it (forked_chip).
"""

import os
import time
from itertools import pairwise
from pathlib import Path

import chip_tools
import pytest
import serial
from coilcount.board import link
from coilcount.commands.cli import main
from coilcount.deploy import install
from coilcount.deploy import prompt as repl
from coilcount.readings.decode import Decoder
from coilwire import records
from emulated_chip import CLOCK_HZ
from forked_chip import ForkedChip
from whole_chip import WholeChip

chip_tools.provide_micropython()

import pins  # noqa: E402

IMAGE = os.environ.get("COILCOUNT_UF2", "")
pytestmark = pytest.mark.skipif(not IMAGE, reason="COILCOUNT_UF2 names no image of MicroPython for the Pico")
PERIOD = 5004  # cycles: 24,980.02 Hz
MS = CLOCK_HZ // 1000  # cycles
SLOWER = 100  # the emulation is about this much slower than a chip
ANSWER_S = 600.0
LOST, DOUBLE, OVERRUN = records.FLAG_LOST_EDGE, records.FLAG_DOUBLE_EDGE, records.FLAG_OVERRUN
DROPPED, NO_AMPLITUDE = records.FLAG_AFTER_DROP, records.FLAG_NO_AMPLITUDE


@pytest.fixture(scope="module")
def booted():
    """A chip that runs the firmware and counts the driven pin."""
    waits = [(install, "HELLO_S"), (repl, "INTERRUPT_S"), (repl, "_ANSWER_S")]
    waits += [(link, name) for name in ("HELLO_S", "FOREIGN_S", "SILENT_S", "ASK_AGAIN_S")]
    chip = WholeChip.of_image(Path(IMAGE))
    chip.drive(pins.COIL, PERIOD)
    chip.wire_back(pins.SELF_TEST)
    with pytest.MonkeyPatch.context() as patch:
        for module, name in waits:
            patch.setattr(module, name, SLOWER * getattr(module, name))
        with chip:
            assert main(["install", "--port", chip.port, "--quiet"]) == 0
    return chip


class Board:
    """A copy of the chip, and its open port.  records: all records that arrived."""

    def __init__(self, copy):
        self.copy = copy
        self.records = []
        self.decoder = Decoder()
        self.port = serial.Serial(copy.port, timeout=ANSWER_S)
        self.port.readline()  # may be the end of a line

    def read(self):
        record = self.decoder.line(self.port.readline().rstrip(b"\n"))
        if record is not None:
            self.records.append(record)
        return record

    def until(self, kind, count=1):
        """Read until `count` more records of this kind came.  Return the last."""
        while count:
            record = self.read()
            count -= isinstance(record, kind)
        return record

    def send(self, *commands):
        self.port.write(b"".join(records.write(records.Command(*command)) for command in commands))

    def answer(self, number):
        while not isinstance(record := self.read(), records.Answer) or record.id != number:
            pass
        return record

    @property
    def intervals(self):
        return [record for record in self.records if isinstance(record, records.Interval)]


@pytest.fixture
def board(booted):
    with ForkedChip(booted) as copy:
        board = Board(copy)
        board.until(records.Interval, 2)
        yield board
        board.port.close()
    assert board.decoder.damaged <= 1  # the first line may be cut


def check(intervals, extra=0):
    """Assert that the intervals follow on and that all their times are exact.

    extra: edges that the driven pin missed in all; negative: that were counted twice.
    """
    first, last = intervals[0], intervals[-1]
    for before, after in pairwise(intervals):
        edges = (after.first_edge - before.first_edge) % records.U32
        cycles = 2 * ((after.t_first - before.t_first) % records.U32)
        if not (after.flags | before.flags) & (LOST | DOUBLE):
            # A tick is two cycles and the period is even, so nothing is rounded.
            assert cycles == edges * PERIOD
            assert after.s == PERIOD // 2 * after.n * (after.n - 1) // 2
        if not after.flags & (DROPPED | OVERRUN):
            assert edges == before.n and (after.sequence - before.sequence) % records.U16 == 1
    edges = (last.first_edge - first.first_edge) % records.U32
    assert 2 * ((last.t_first - first.t_first) % records.U32) == (edges + extra) * PERIOD


def flags(intervals):
    return {interval.flags & ~NO_AMPLITUDE for interval in intervals}


def test_every_interval_is_exact(board):
    board.until(records.Interval, 8)
    check(board.intervals)
    assert flags(board.intervals) == {0}


def test_the_self_test_beside_the_coil(board):
    board.send((7, "selftest", "", 0))
    answer = board.answer(7)
    assert (answer.ok, answer.text) == (1, "sent=4000 counted=4000")
    board.until(records.Interval)
    check(board.intervals)


def test_settings_while_counting_lose_no_edge(board):
    board.send((1, "set", "interval_ms", 10))
    assert board.answer(1).text == "interval_ms=10"
    board.until(records.Interval, 4)
    assert board.intervals[-1].n in (249, 250)
    check(board.intervals)


def test_a_lost_edge(board):
    board.copy.order("hold_pin", PERIOD)
    board.until(records.Interval, 4)
    assert flags(board.intervals) == {0, LOST}
    check(board.intervals, extra=1)


def test_a_doubled_edge(board):
    board.copy.order("double_edge")
    board.until(records.Interval, 4)
    assert flags(board.intervals) == {0, DOUBLE}
    check(board.intervals, extra=-1)


def test_a_pin_that_stops_for_90_ms(board):
    periods = 90 * MS // PERIOD
    board.copy.order("hold_pin", periods * PERIOD)
    assert board.until(records.Stopped).silent_ms >= 50
    board.until(records.Interval, 3)
    assert LOST in flags(board.intervals)
    check(board.intervals, extra=periods)


def test_after_an_overrun_edges_and_ticks_continue(board):
    board.copy.order("hold_cpu", 400 * MS)  # the edge ring holds 0.33 s
    while OVERRUN not in flags(board.intervals):
        board.until(records.Interval)
    board.until(records.Interval, 2)
    check(board.intervals)


def test_a_flood_of_commands_costs_no_edge(board):
    board.port.write(b"?\n" * 300)
    board.until(records.Answer)
    board.until(records.Interval, 20)
    check(board.intervals)
    assert not flags(board.intervals) & {OVERRUN}


def wait_ms(board, ms):
    """Wait until this much time has passed on the chip."""
    end = board.copy.order("now") + ms * MS
    while board.copy.order("now") < end:
        time.sleep(0.2)


def test_a_host_that_stops_reading_costs_no_edge(board):
    board.copy.order("read_on", False)
    wait_ms(board, 1000)
    board.copy.order("read_on", True)
    board.until(records.Interval, 60)
    check(board.intervals)
    assert flags(board.intervals) <= {0, DROPPED}


def test_after_a_closed_port_the_first_line_is_clean_and_no_edge_is_lost(board):
    board.copy.order("hold_port", False)
    wait_ms(board, 300)
    board.port.reset_input_buffer()
    board.copy.order("hold_port", True)
    line = board.port.readline()
    assert line.startswith((b"@", b"\n")), line
    board.until(records.Interval, 5)
    # PROTOCOL.md says what a closed port does to records; edges and ticks continue in any case.
    kept = board.intervals
    edges = (kept[-1].first_edge - kept[0].first_edge) % records.U32
    assert 2 * ((kept[-1].t_first - kept[0].t_first) % records.U32) == edges * PERIOD
