"""The PIO program in two independent emulators: rp2040-pio-emulator and rp2040py.

This is emulation, not hardware.  Both emulators see the level of the pin at each clock cycle.  Times are in cycles.
"""

import random
from collections import deque

import chip_tools
import pytest
from emulated_chip import PIO0, RXF0, Chip
from pioemu import State, emulate

chip_tools.provide_micropython()

import pio_program  # noqa: E402

PROGRAM = chip_tools.Program(pio_program.timestamper, {"autopush": True, "push_thresh": pio_program.PUSH_BITS})
BLIND = pio_program.BLIND_CYCLES
PIN = 2
X0 = (0, 3, 50, chip_tools.U32)  # X at the start: it passes zero at once, soon, later, or never

# The same program, written as pioasm text and assembled by adafruit_pioasm 1.3.8 (an independent assembler).
REFERENCE = [0x80A0, 0x4020, 0xA047, 0x0083, 0x0045, 0x00C4, 0xA047, 0x0087, 0x00C1, 0x0048]


def in_pioemu(changes, cycles, hold_off, x0=0):
    """Return the words that the program pushes.  changes: (cycle, level) in order; x0: X at the start."""
    words = []
    levels = iter([*changes, (1 << 60, 0)])
    now = [next(levels), 0]

    def pin(state: State) -> int:
        while now[0][0] <= state.clock:
            now[1] = now[0][1]
            now[0] = next(levels)
        return now[1] << PIN

    steps = emulate(
        PROGRAM.opcodes,
        stop_when=lambda _, state: state.clock >= cycles,
        initial_state=State(transmit_fifo=deque([hold_off]), x_register=x0),
        input_source=pin,
        auto_push=True,
        push_threshold=PROGRAM.options["push_thresh"],
        jmp_pin=PIN,
        wrap_target=PROGRAM.wrap_target,
        wrap_top=PROGRAM.wrap,
    )
    for _, state in steps:
        words.extend(state.receive_fifo)
        state.receive_fifo.clear()
    return words


def in_rp2040py(changes, cycles, hold_off, x0=0):
    """The same in rp2040py.  Registers are written as MicroPython would, and the FIFO is read while it fills."""
    chip = Chip()
    modules = chip.modules()
    machine = modules["rp2"].StateMachine(0, PROGRAM, modules["machine"].Pin(PIN, 0))
    chip.pio.machines[0].x = x0
    machine.put(hold_off)
    machine.active(1)
    words = []
    changes = deque(changes)
    while chip.cycle < cycles:
        # Two words take at least this long, and the FIFO holds four.
        end = chip.cycle + min(2 * hold_off + 6, cycles - chip.cycle)
        now = []
        while changes and changes[0][0] < end:
            now.append(changes.popleft())
        chip.run(end - chip.cycle, PIN, now)
        while not chip.read(PIO0 + 0x004) >> 8 & 1:
            words.append(chip.read(PIO0 + RXF0))
    assert chip.read(PIO0 + 0x008) & 1 == 0, "stalled"
    return words


EMULATORS = pytest.mark.parametrize("run", [in_pioemu, in_rp2040py])


def square(rises, highs):
    """Return the (cycle, level) changes of pulses that rise at `rises` and last `highs` cycles."""
    return [change for rise, high in zip(rises, highs, strict=True) for change in ((rise, 1), (rise + high, 0))]


def errors(words, rises, hold_off):
    """Return the timestamps in cycles, minus the times of the edges and minus one constant."""
    # The first word is no edge.
    assert len(words) == 1 + len(rises), "an edge was lost or invented"
    missed = hold_off + pio_program.OVERHEAD_TICKS
    stamps = [n * missed - word for n, word in enumerate(words)][1:]
    # Times since the first edge, because timestamps count modulo 2^32.
    stamps = [(stamp - stamps[0]) & chip_tools.U32 for stamp in stamps]
    late = [pio_program.TICK_CYCLES * stamp - (rise - rises[0]) for stamp, rise in zip(stamps, rises, strict=True)]
    return [error - min(late) for error in late]


def trains(seed, hold_off, edges):
    """Return random pulses as (rises, highs, cycles to run).

    Every width is long enough to be certain to be seen.  The jitter between pulses is none, small or large.
    """
    rng = random.Random(seed)
    least = hold_off + BLIND
    high, low = least + rng.randrange(60), least + rng.randrange(60)
    jitter = rng.choice((0, 1, 7, 40))
    rise = 2 * hold_off + 20 + seed % 4
    rises, highs = [], []
    for _ in range(edges):
        width = max(least, high + rng.randint(-jitter, jitter))
        rises.append(rise)
        highs.append(width)
        rise += width + max(least, low + rng.randint(-jitter, jitter))
    return rises, highs, rise + 2 * hold_off + 20


def test_another_assembler_gives_the_same_opcodes():
    assert PROGRAM.opcodes == REFERENCE
    assert (PROGRAM.wrap_target, PROGRAM.wrap) == (8, 9)
    assert len(PROGRAM.opcodes) <= 32


@EMULATORS
@pytest.mark.parametrize(("hold_off", "runs"), [(0, 24), (1, 12), (23, 12), (200, 2)])
def test_timestamps_are_right_for_any_width_jitter_phase_and_wrap_of_x(run, hold_off, runs):
    for seed in range(runs):
        rises, highs, cycles = trains(seed, hold_off, 24)
        x0 = X0[seed // 4 % 4]
        words = run(square(rises, highs), cycles, hold_off, x0)
        assert max(errors(words, rises, hold_off)) < pio_program.TICK_CYCLES
        assert words[0] == x0


def test_both_emulators_push_the_same_words():
    for seed in range(4):
        rises, highs, cycles = trains(seed, 9, 20)
        run = (square(rises, highs), cycles, 9, 5)
        assert in_pioemu(*run) == in_rp2040py(*run)


@pytest.mark.parametrize("duty", [0.35, 0.5, 0.65])
@pytest.mark.parametrize(("hertz", "edges"), [(5_000, 8), (25_000, 20), (199_999, 160)])
def test_no_edge_is_lost_from_5_to_200_khz_and_no_error_grows(hertz, edges, duty):
    period = 125e6 / hertz
    rises = [600 + round(k * period) for k in range(edges)]
    words = in_rp2040py(square(rises, [round(duty * period)] * edges), rises[-1] + 26_000, pio_program.HOLD_OFF)
    assert max(errors(words, rises, pio_program.HOLD_OFF)) < pio_program.TICK_CYCLES


@EMULATORS
@pytest.mark.parametrize("level", [0, 1])
def test_a_stuck_pin_gives_no_edge_and_the_time_base_continues(run, level):
    assert len(run([(0, level)], 3000, 20)) == 1
    # Stuck for a while between two edges: both timestamps are right.
    rises = [100, 200, 9000, 9100]
    highs = [50, 50 + 8700 * level, 50, 50]
    words = run(square(rises, highs), 9400, 20)
    assert max(errors(words, rises, 20)) < pio_program.TICK_CYCLES


def noisy(rises, high, noise_cycles, seed):
    """Return the (cycle, level) changes of pulses with bursts of noise after both edges."""
    rng = random.Random(seed)
    changes = []
    for rise in rises:
        for cycle, level in ((rise, 1), (rise + high, 0)):
            changes.append((cycle, level))
            end = cycle + noise_cycles
            while (cycle := cycle + rng.randint(1, 9)) < end - 9:
                changes += [(cycle, 1 - level), (cycle := cycle + rng.randint(1, 5), level)]
    return changes


@EMULATORS
def test_a_burst_of_noise_within_the_hold_off_changes_nothing(run):
    rises = [500 + 700 * k for k in range(12)]
    changes = noisy(rises, 350, 100, seed=1)
    assert max(errors(run(changes, 9200, 110), rises, 110)) < pio_program.TICK_CYCLES
    # Without a hold-off the same signal gives false edges.
    assert len(run(changes, 9200, 0)) > 2 * len(rises)


@EMULATORS
def test_a_pulse_that_is_too_short_may_be_missed_and_a_long_enough_one_never(run):
    hold_off = 30

    def edges(width):
        rises = [200 + (2 * width + 1) * k for k in range(12)]  # odd: both phases of the two-cycle turn
        return len(run(square(rises, [width] * 12), rises[-1] + 200, hold_off)) - 1

    assert edges(hold_off + BLIND) == 12
    assert edges(hold_off - 2) < 12
