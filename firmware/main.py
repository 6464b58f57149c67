"""Starts the firmware on a board.  Ctrl-C always ends it, so that new files can be installed."""

import gc
import sys
import time

# ms before anything starts, so that a person or an installer can press Ctrl-C.  Chosen by hand.
START_DELAY_MS = 500
# ms to sleep if there was nothing to do.  Chosen by hand: at 250 kHz the edge ring holds 32 ms.
IDLE_MS = 3
# State machine of the self-test's counter: the first one of the second PIO block.  The coil has the first block.
TEST_MACHINE = 4
# Logarithm to base 2 of the size in bytes of the self-test's ring: 1,024 words, 51 ms of its edges.
TEST_RING_BITS = 12


def main():
    time.sleep_ms(START_DELAY_MS)
    try:
        import rp2  # noqa: F401
    except ImportError:
        print("this firmware counts with the PIO of an RP2040 or RP2350, and there is none here: nothing to run")
        return
    import machine
    import pins
    from chip_edges import ChipEdges

    kind = pins.kind_of(sys.implementation._machine)
    # This comes first, because the counter reads the clock rate when it is made, and its ticks depend on it.
    machine.freq(kind.clock_hz)
    # The ring needs 64 kB in one piece, so it is allocated before other modules fragment the memory.
    edges = ChipEdges(pins.COIL)
    test_edges = None if pins.SELF_TEST is None else ChipEdges(pins.SELF_TEST, TEST_MACHINE, TEST_RING_BITS)

    from adc import Amplitude
    from app import App
    from certain import certainly
    from chip_board import ChipBoard
    from chip_wave import ChipWave
    from clock import Clock
    from edge_counter import EdgeCounter
    from link import PIECE_BYTES, Link
    from port import Port
    from self_test import SelfTest
    from store import Store
    from version import VERSION
    from watchdog import Watchdog

    store = Store("")
    store.load()
    store.start_boot()
    clock = Clock()
    amplitude = None if pins.AMPLITUDE is None else Amplitude(machine.ADC(machine.Pin(pins.AMPLITUDE)))
    counter = EdgeCounter(edges, clock, amplitude)
    link = Link(Port(sys.stdin.buffer, sys.stdout.buffer), PIECE_BYTES)
    self_test = None
    if test_edges:
        self_test = SelfTest(EdgeCounter(test_edges, clock), ChipWave(pins.SELF_TEST), clock)
    app = App(counter, link, store, ChipBoard(kind, clock, self_test), clock, VERSION)
    # State machines, DMA and PWM would go on after a soft reset.
    steps = [counter.stop]
    if self_test:
        steps.append(self_test.stop)
    try:
        app.start()
        dog = Watchdog(kind.chip)
        # After Ctrl-C a person or an installer uses the prompt, where nobody feeds the watchdog.
        steps.insert(0, dog.stop)
        try:
            # The garbage of the start is collected now, because from here on almost nothing is allocated.
            gc.collect()
            app.run(lambda: time.sleep_ms(IDLE_MS), dog.feed)
        except Exception:
            # The watchdog goes on, so a board that nobody looks at starts again.
            steps.pop(0)
            raise
    finally:
        try:
            certainly(steps)
        finally:
            # The first call may have been cut short before it switched Ctrl-C off.
            certainly(steps)


main()
