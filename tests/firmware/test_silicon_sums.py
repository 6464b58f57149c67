"""The loop that computes interval sums, compared with sums computed directly.

The loop runs in CPython, in a real MicroPython on the PC (compiled by viper, 64-bit integers), and as the chip's own
machine code with 32-bit integers (emulation, see native_code).
"""

import json
import random
from array import array
from pathlib import Path

import chip_tools
import pytest
from chip_tools import U32
from micropython_tool import run_micropython
from native_code import Machine, viper_code
from sums_driver import intervals

chip_tools.provide_micropython()

import pio_program  # noqa: E402
import sums  # noqa: E402

STEP = pio_program.HOLD_OFF + pio_program.OVERHEAD_TICKS
RING = 8192
TICKS_PER_MS = 62_500


def ring_of(times, start):
    ring = array("I", [0] * RING)
    for k, word in enumerate(chip_tools.words_of(times, pio_program.HOLD_OFF, pio_program.OVERHEAD_TICKS, start)):
        ring[(start + k) % RING] = word
    return ring


def directly(times, ticks, start):
    """Return what intervals() must give, if no S passes 32 bits.  Computed with Python's unlimited integers."""
    out = []
    k = 0
    while k < len(times):
        end = k
        while end < len(times) and times[end] - times[k] < ticks:
            end += 1
        edges = times[k:end]
        periods = [times[i] - times[i - 1] for i in range(max(k, 1), end)] or [sums.NO_PERIOD, 0]
        out.append(
            [
                (start + k) & U32,
                len(edges),
                edges[0] & U32,
                sum(t - edges[0] for t in edges),
                min(periods),
                max(periods),
            ]
        )
        k = end
    return out


def case(seed):
    """Return edge times at 5 to 200 kHz, interval in ticks, first word's number, and words read in each call.

    Over all seeds the timestamp wraps, and so does the number of a word.
    """
    rng = random.Random(seed)
    period = rng.choice((312.5, 313, 1250.25, 2500, 12_500))
    jitter = rng.choice((0, 1, 20))
    ms = 20 if seed % 2 else 10
    count = min(RING, int(3 * ms * TICKS_PER_MS / period))
    begin = rng.choice((0, (1 << 31) - 30_000, (1 << 32) - 700_000, 12345))
    times = [begin + round(k * period) + rng.randint(-jitter, jitter) for k in range(count)]
    start = rng.choice((1, 8000, (1 << 31) - 100, (1 << 32) - 500))
    return times, ms * TICKS_PER_MS, start, [rng.randint(1, sums.MAX_WORDS) for _ in range(5)]


CASES = [case(seed) for seed in range(16)]


class OnTheChip:
    """The module `sums`, with its functions as machine code of the chip."""

    def __init__(self):
        self._machines = [Machine(code) for code in viper_code(chip_tools.FIRMWARE / "sums.py")]

    def __getattr__(self, name):
        return getattr(sums, name)

    def add(self, number, d, s, ring, mask, state, words):
        return self._call(self._machines[0], (number, d, s, ring, mask, state, words))

    def median_period(self, *args):
        return self._call(self._machines[1], args)

    @staticmethod
    def _call(machine, args):
        """Call the function, with each buffer copied into the chip's memory and back."""
        views = []
        passed = []
        for arg in args:
            if isinstance(arg, array):
                view, address = machine.view(0x8000 * len(views), len(arg))
                view[:] = memoryview(arg)
                views.append((view, arg))
                arg = address
            passed.append(arg)
        result = machine.call(*passed)
        for view, arg in views:
            memoryview(arg)[:] = view
        return result


@pytest.fixture(scope="module", params=["CPython", "machine code"])
def loop(request):
    return sums if request.param == "CPython" else OnTheChip()


def test_sums_are_exact(loop):
    for times, ticks, start, sizes in CASES:
        found = intervals(loop, ring_of(times, start), len(times), ticks, start, sizes, STEP)
        assert found == directly(times, ticks, start)


def test_sums_are_exact_under_micropython_compiled_by_viper():
    calls = [
        [list(ring_of(times, start)), len(times), ticks, start, sizes, STEP] for times, ticks, start, sizes in CASES
    ]
    script = """
import json, sys
from array import array
import sums
from sums_driver import intervals
for line in sys.stdin:
    ring, *rest = json.loads(line)
    print(json.dumps(intervals(sums, array("I", ring), *rest)))
"""
    paths = [chip_tools.FIRMWARE, Path(__file__).parents[1] / "support"]
    lines = "".join(json.dumps(call) + "\n" for call in calls)
    printed = run_micropython(script, paths=paths, stdin=lines).splitlines()
    assert len(printed) == len(CASES)
    for line, (times, ticks, start, _) in zip(printed, CASES, strict=True):
        assert json.loads(line) == directly(times, ticks, start)


def test_a_sum_that_would_pass_32_bits_ends_the_interval(loop):
    """200 kHz for 30 ms: S would be 5.6e9."""
    times = [5 + 312 * k for k in range(6000)]
    found = intervals(loop, ring_of(times, 1), len(times), 30 * TICKS_PER_MS, 1, [200], STEP)
    assert len(found) == 2
    first = 1
    for number, n, t_first, s, shortest, longest in found:
        edges = times[first - 1 : first - 1 + n]
        assert (number, t_first, s) == (first, edges[0], sum(t - edges[0] for t in edges)) and s < 1 << 32
        assert (shortest, longest) == (312, 312)
        first += n
    assert first == 6001, "an edge was lost between two intervals"
    # The interval ended only in the last call that could still fit.
    assert found[0][3] + 200 * 30 * TICKS_PER_MS > 1 << 32


def test_the_median_of_sampled_periods(loop):
    rng = random.Random(5)
    times = [(1 << 32) - 40_000]
    for _ in range(600):
        times.append(times[-1] + rng.choice((2400, 2500, 2500, 2610, 900)))
    start = RING - 300
    ring = ring_of(times, start)
    for count, stride in ((1, 1), (5, 3), (31, 19)):
        periods = [times[600 - k * stride] - times[599 - k * stride] for k in range(count)]
        work = array("I", [0] * count)
        found = loop.median_period(ring, RING - 1, start + 600, stride, count, STEP, work)
        assert found == sorted(periods)[count // 2]
