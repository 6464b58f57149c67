"""Prints the CPU cycles that one edge costs on the chip, and the CPU share at 5, 25 and 200 kHz.

    python tests/bench/cycles.py

This is an emulation.  It runs the machine code from mpy-cross (armv6m) on rp2040py's Cortex-M0+ without wait states.
It leaves out the time in which MicroPython prepares a call, and the bytecode of EdgeCounter.poll() around the calls.
"""

import random
import sys
from array import array
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

import chip_tools
from native_code import Machine, viper_code

chip_tools.provide_micropython()

import edge_counter  # noqa: E402
import pio_program  # noqa: E402
import sums  # noqa: E402

CLOCK_HZ = 125_000_000
INTERVAL_MS = 20
RING = 8192
TICKS_PER_MS = CLOCK_HZ // pio_program.TICK_CYCLES // 1000


def interval(add, hertz, jitter_ticks):
    """Run add() over one interval, whose edges are read every POLL_MS.

    Returns (number of edges, cycles, number of calls of add(), times of the edges in ticks).
    """
    rng = random.Random(1)
    period = CLOCK_HZ / pio_program.TICK_CYCLES / hertz
    count = int(hertz * INTERVAL_MS / 1000)
    times = [round(k * period) + rng.randint(-jitter_ticks, jitter_ticks) for k in range(count)]
    ring, ring_address = add.view(0, RING)
    state, state_address = add.view(0x8000, sums.STATE)
    words = chip_tools.words_of(times, pio_program.HOLD_OFF, pio_program.OVERHEAD_TICKS, 1)
    ring[1 : count + 1] = memoryview(words)
    step = pio_program.HOLD_OFF + pio_program.OVERHEAD_TICKS
    state[:] = memoryview(array("I", [0] * sums.STATE))
    state[sums.NEXT], state[sums.OFFSET], state[sums.STEP] = 1, step, step
    state[sums.TICKS] = INTERVAL_MS * TICKS_PER_MS
    cycles = calls = taken = 0
    while taken < count:
        left = min(count - taken, int(hertz * edge_counter.POLL_MS / 1000))
        while left:
            words = add.call(0, 0, 0, ring_address, RING - 1, state_address, min(left, sums.MAX_WORDS))
            cycles += add.cycles
            calls += 1
            taken += words
            left -= words
    assert state[sums.N] == count and state[sums.S] == sum(t - times[0] for t in times)
    return count, cycles, calls, times


def median(machine, times):
    """Return the cycles of median_period(), which runs once an interval."""
    ring, ring_address = machine.view(0, RING)
    words = chip_tools.words_of(times, pio_program.HOLD_OFF, pio_program.OVERHEAD_TICKS)
    ring[: len(words)] = memoryview(words)
    _, work_address = machine.view(0x8000, edge_counter.MEDIAN_OF)
    stride = min(len(times) - 1, edge_counter.MEDIAN_SPAN) // edge_counter.MEDIAN_OF
    step = pio_program.HOLD_OFF + pio_program.OVERHEAD_TICKS
    machine.call(ring_address, RING - 1, len(times) - 1, stride, edge_counter.MEDIAN_OF, step, work_address)
    return machine.cycles


def main():
    add, find_median, *_ = (Machine(code) for code in viper_code(chip_tools.FIRMWARE / "sums.py"))
    print(f"emulation, {CLOCK_HZ // 1_000_000} MHz, intervals of {INTERVAL_MS} ms read every {edge_counter.POLL_MS} ms")
    print("  kHz  edges  calls  cycles an edge  us an edge  CPU, sums  CPU, median")
    for hertz in (5_000, 25_000, 200_000):
        edges, cycles, calls, times = interval(add, hertz, jitter_ticks=2)
        sorting = median(find_median, times)
        whole = CLOCK_HZ * INTERVAL_MS // 1000
        print(
            f"{hertz // 1000:5d}{edges:7d}{calls:7d}{cycles / edges:16.1f}{cycles / edges / CLOCK_HZ * 1e6:12.2f}"
            f"{cycles / whole:11.1%}{sorting / whole:13.2%}"
        )
    # This bound is counted by hand from the cycles in pio_program.
    least = pio_program.HOLD_OFF + pio_program.BLIND_CYCLES
    print(
        f"counted by hand: every edge is caught if high and low each last {least} cycles "
        f"({least / CLOCK_HZ * 1e6:.2f} us): up to {CLOCK_HZ / 2 / least / 1000:.0f} kHz at 50 % duty"
    )


if __name__ == "__main__":
    piped.run(main)
