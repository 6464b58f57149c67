"""The counter over a fake ring (fake_ring), for long times and inside the application."""

import json
from itertools import pairwise
from pathlib import Path

import chip_tools
import pytest
from coilwire import frame, records
from micropython_tool import PROTOCOL, run_micropython

chip_tools.provide_micropython()

import counter as counting  # noqa: E402
from app import App  # noqa: E402
from edge_counter import EdgeCounter  # noqa: E402
from fake_ring import Bench, FakeEdges, story  # noqa: E402

NEW, OVERRUN, LOST = records.FLAG_NEW_TIME_BASE, records.FLAG_OVERRUN, records.FLAG_LOST_EDGE
NO_AMPLITUDE = records.FLAG_NO_AMPLITUDE  # always set, because there is no amplitude channel here


def test_a_long_silence_gives_a_long_period_and_a_longer_one_a_new_time_base():
    bench = Bench(10)
    bench.pass_ms(30)
    bench.on = False
    # Periods are taken modulo 2^30 ticks, 17.18 s.  This period would look like one of 4 ms.
    bench.pass_ms(17_184)
    bench.on = True
    bench.pass_ms(15)
    assert bench.intervals[-1][counting.FLAGS] == LOST | NO_AMPLITUDE
    assert bench.intervals[-1][counting.LONGEST] == 65535 and bench.intervals[-1][counting.SHORTEST] == 2498
    bench.on = False
    bench.pass_ms(34_400)
    bench.on = True
    bench.pass_ms(25)
    first, n, _, _, shortest, longest, _, flags = bench.intervals[-2]
    assert (n, shortest, longest, flags) == (250, 2498, 2501, NEW | NO_AMPLITUDE)
    assert first + n == bench.intervals[-1][counting.FIRST_EDGE] and bench.intervals[-1][counting.FLAGS] == NO_AMPLITUDE


@pytest.mark.parametrize(("ticks", "flags"), [(1740, records.FLAG_DOUBLE_EDGE), (1760, 0), (3490, 0), (3510, LOST)])
def test_a_period_below_0_7_or_above_1_4_times_the_median_sets_a_flag(ticks, flags):
    bench = Bench(10)
    edge_ticks = 0
    for k in range(600):
        bench.edges.put(edge_ticks)
        edge_ticks += ticks if k == 300 else 2500
    bench.on = False
    bench.pass_ms(2)
    bench.pass_ms(2)
    assert [sums[counting.FLAGS] for sums in bench.intervals] == [NEW | NO_AMPLITUDE, flags | NO_AMPLITUDE]


def test_a_state_machine_that_never_starts_counts_as_silent():
    bench = Bench(10)
    bench.on = False
    bench.edges.words = 0
    bench.pass_ms(60)
    assert not bench.intervals and bench.counter.silent_ms() == 60


@pytest.mark.parametrize("last_edges_were_read", [True, False])
def test_an_interval_never_spans_a_minute_without_polls(last_edges_were_read):
    bench = Bench(10)
    bench.pass_ms(35 if last_edges_were_read else 36)  # it polls every 2 ms, first at 1 ms
    bench.edges.now_ms += 60_000
    bench.pass_ms(15)
    for first, n, _, s, *_ in bench.intervals:
        times = [k // 25 * 62_500 + k % 25 * 2500 + k % 25 % 3 for k in range(first, first + n)]
        assert s == sum(t - times[0] for t in times)
    assert all(b[0] == a[0] + a[1] for a, b in pairwise(bench.intervals))
    seen = [sums[counting.FLAGS] & NEW for sums in bench.intervals]
    assert seen.count(NEW) == 2 and seen[-1 if last_edges_were_read else -2] == NEW


def test_an_interval_too_long_for_its_sums_is_refused_or_ended_early():
    bench = Bench(100)
    with pytest.raises(ValueError, match="interval_ms 200 is too long"):
        bench.counter.set_interval(200)
    bench.pass_ms(200)
    # S would be 7.8e9 for 100 ms at 25 kHz.  So intervals end early, and no edge between them is missing.
    assert len(bench.intervals) > 1
    for first, n, t_first, s, *_ in bench.intervals:
        times = [k // 25 * 62_500 + k % 25 * 2500 + k % 25 % 3 for k in range(first, first + n)]
        assert t_first == 62_500 + times[0]
        assert s == sum(t - times[0] for t in times) < 1 << 32
    assert all(b[0] == a[0] + a[1] for a, b in pairwise(bench.intervals))


def test_both_interpreters_give_the_same_intervals():
    printed = run_micropython(
        "import json\nfrom fake_ring import story\nprint(json.dumps(story()))",
        paths=[chip_tools.FIRMWARE, PROTOCOL, Path(__file__).parents[1] / "support"],
    )
    expected = story()
    assert json.loads(printed) == expected
    seen = 0
    for sums in expected:
        seen |= sums[counting.FLAGS]
    assert seen & (NEW | OVERRUN | LOST) == NEW | OVERRUN | LOST
    assert any(b[counting.T_FIRST] < a[counting.T_FIRST] for a, b in pairwise(expected))


SILICON = """
import sys
calls = []
class Channel:
    made = 0
    def __init__(self):
        self.channel = Channel.made
        Channel.made += 1
        self.count = 0
    def pack_ctrl(self, **fields): return fields
    def config(self, **given): calls.append((self.channel, given))
    def active(self, on=None):
        if on is None: return False
        calls.append((self.channel, on))
    def close(self): calls.append((self.channel, "closed"))
class Machine:
    def __init__(self, number, program, jmp_pin): calls.append("machine")
    def put(self, word): calls.append(word)
    def active(self, on): calls.append(on)
class Block:
    def __init__(self, number): pass
    def remove_program(self, program): calls.append("removed")
class rp2:
    StateMachine = Machine
    PIO = Block
    DMA = Channel
    asm_pio = staticmethod(lambda **options: lambda function: [])
class machine:
    class Pin:
        IN = 0
        def __init__(self, number, mode): pass
    freq = staticmethod(lambda: 125_000_000)
    mem32 = {}
sys.modules["rp2"] = rp2
sys.modules["machine"] = machine
import uctypes
from chip_edges import ChipEdges
edges = ChipEdges(15)
ring_address = uctypes.addressof(edges.ring)
assert ring_address % 32768 == 0 and len(edges.ring) == 32768
assert 0 <= ring_address - uctypes.addressof(edges._room) <= 32768
edges.start()
setup = dict([call for call in calls if type(call) is tuple and type(call[1]) is dict])
assert all([setup[k]["write"] == ring_address and setup[k]["ctrl"]["chain_to"] == 1 - k for k in (0, 1)])
assert edges.moved() == 0 and machine.mem32 == {0x50200008: 1} and edges.stalled()
del calls[:]
edges.stop()
assert calls[0] == 0 and calls[-1] == "removed" and (0, "closed") in calls and (1, "closed") in calls
del calls[:]
edges.stop()
assert calls == []
print("ok")
"""


def test_chip_edges_runs_under_micropython_and_aligns_its_ring_in_real_memory():
    """rp2 and machine are fakes; uctypes is MicroPython's own."""
    assert run_micropython(SILICON, paths=[chip_tools.FIRMWARE]) == "ok\n"


class Lines:
    """Fake link: it always has room and keeps the records that were sent."""

    lost = short_writes = 0

    def __init__(self):
        self.sent = []

    def read(self):
        return -1

    def ready(self):
        return True

    idle = ready

    def send(self, buffer, size):
        self.sent.append(records.read(frame.parse(bytes(buffer[: size - 1]))))


class FakeBoard:
    """Fake store and board in one: default settings, and sensors that read zero."""

    note = name = uid = ""
    boot = 1
    crc = 0

    def __init__(self):
        self.values = {"interval_ms": 20}

    def temperature_mk(self):
        return 0

    supply_mv = marks = temperature_mk


def test_the_application_reports_a_pin_that_is_silent_for_90_ms():
    edges = FakeEdges()
    lines = Lines()
    app = App(EdgeCounter(edges, edges), lines, FakeBoard(), FakeBoard(), edges, "0")
    app.start()
    for ms in range(1, 251):
        edges.now_ms = ms
        if not 100 <= ms < 190:
            for k in range(25):
                edges.put(ms * 62_500 + k * 2500)
        while app.step():
            pass
    kinds = [type(record).__name__ for record in lines.sent]
    assert kinds.count("Stopped") == 1
    stopped = lines.sent[kinds.index("Stopped")]
    assert 50 <= stopped.silent_ms <= 53
    intervals = [record for record in lines.sent if isinstance(record, records.Interval)]
    assert [record.flags & ~NO_AMPLITUDE for record in intervals] == [NEW, 0, 0, 0, 0, LOST, 0, 0]
    assert intervals[5].longest == 65535
