"""The firmware's loop over a fake of the chip's USB stream (fake_usb), under both interpreters."""

import json
from pathlib import Path

import chip_tools
import pytest
from coilwire import records
from hypothesis import given, settings
from hypothesis import strategies as st
from micropython_tool import PROTOCOL, run_micropython

chip_tools.provide_micropython()

from fake_usb import Rig, intervals, missing, overruns, story  # noqa: E402


def statuses(found):
    return [record for record in found if isinstance(record, records.Status)]


@pytest.mark.parametrize("before_ms", [0, 5000])
def test_a_host_that_stops_reading_for_3_s_costs_no_edge_and_the_dropped_records_are_counted(before_ms):
    rig = Rig()
    rig.run(before_ms)
    rig.usb.reads = False
    rig.run(3000)
    rig.usb.reads = True
    rig.run(2500)
    found, damaged = rig.lines()
    assert rig.usb.waited_ms == 0 and damaged == 0 and overruns(found) == 0
    assert 10 < missing(found) == statuses(found)[-1].dropped < 30
    flagged = [record for record in intervals(found) if record.flags & records.FLAG_AFTER_DROP]
    assert len(flagged) == 1
    # Every edge is in an interval that was sent or dropped.
    last = intervals(found)[-1]
    assert last.first_edge + last.n == pytest.approx(25 * (before_ms + 5500), abs=600)


def test_a_line_that_is_written_whole_waits_for_1_s_and_loses_edges():
    # This shows that the fake has the fault that pieces avoid.
    rig = Rig(piece_bytes=0)
    rig.run(500)
    rig.usb.reads = False
    rig.run(3000)
    rig.usb.reads = True
    rig.run(1000)
    assert rig.usb.waited_ms >= 1000 and overruns(rig.lines()[0]) > 0


def test_a_stall_while_300_commands_wait_costs_no_edge_at_60_khz():
    rig = Rig(hertz=60_000)
    rig.run(1000)
    rig.usb.reads = False
    rig.run(4000)
    rig.usb.reads = True
    rig.usb.to_board = b"?\n" * 300
    rig.run(3000)
    found, damaged = rig.lines()
    assert rig.usb.waited_ms == 0 and damaged == 0 and overruns(found) == 0
    assert missing(found) == statuses(found)[-1].dropped > 0
    # At most eight answers wait; the others are dropped, as PROTOCOL.md allows.
    assert 8 <= len([record for record in found if isinstance(record, records.Answer)]) <= 300
    assert not rig.usb.to_board


def test_a_closed_port_drops_nothing_and_costs_one_line_at_most_when_it_is_opened():
    rig = Rig()
    rig.usb.is_open = False
    rig.run(10_000)
    assert rig.usb.received == b"" and rig.usb.waited_ms == 0
    rig.usb.is_open = True
    rig.run(1500)
    found, damaged = rig.lines()
    assert damaged <= 1 and overruns(found) == 0 and missing(found) == 0
    # The lines that were overwritten are not counted: the board cannot know of them.
    assert statuses(found)[-1].dropped == 0 and intervals(found)[0].sequence > 450


def test_bytes_of_a_prompt_that_nobody_reads_make_one_write_wait_and_no_other():
    """This is the case that link.py names."""
    rig = Rig(left_over=b"a prompt that nobody has read" * 4)
    for stall in range(4):
        rig.usb.reads = False
        rig.run(1500)
        if stall == 0:
            assert 0 < rig.usb.waited_ms <= 2000
            rig.usb.waited_ms = 0
        rig.usb.reads = True
        rig.run(300)
    assert rig.usb.waited_ms == 0 and rig.lines()[1] <= 1


EVENTS = st.tuples(st.sampled_from(["read", "stall", "close", "open", "stop and close"]), st.integers(1, 700))


@settings(max_examples=25)
@given(st.lists(EVENTS, max_size=8), st.integers(0, 255))
def test_no_sequence_of_stalls_and_closed_ports_makes_the_board_wait(events, left_over):
    rig = Rig(left_over=b"y" * left_over)
    rig.usb.host_ms()
    opened = 0
    for event, ms in events:
        opened += event in ("open", "read", "stall") and not rig.usb.is_open
        rig.usb.is_open = "close" not in event
        rig.usb.reads = event in ("read", "open", "close")
        rig.run(ms)
    opened += not rig.usb.is_open
    rig.usb.is_open = rig.usb.reads = True
    rig.run(300)
    found, damaged = rig.lines()
    assert rig.usb.waited_ms == 0 and overruns(found) == 0
    assert damaged <= opened
    missing(found)


def test_both_interpreters_send_the_same_bytes():
    printed = run_micropython(
        "import json\nfrom fake_usb import story\nprint(json.dumps(story()))",
        paths=[chip_tools.FIRMWARE, PROTOCOL, Path(__file__).parents[1] / "support"],
    )
    expected = story()
    assert json.loads(printed) == json.loads(json.dumps(expected))
    assert expected[1] == 0 and expected[0].count("@M,") == 2 and ",10," in expected[0]
