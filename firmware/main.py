"""Starts the firmware on a board.  Ctrl-C always ends it, so that new files can be put on."""

import sys
import time

# Time for a person or a deploy tool to press Ctrl-C before anything runs.
START_DELAY_MS = 500
IDLE_MS = 1
# The self-test's counter: in the other block, and 51 ms of its edges.
TEST_MACHINE = 4
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
    # Before anything is built on it: the counter reports it, and its ticks are made of it.
    machine.freq(kind.clock_hz)
    # Its ring takes 64 kB in one piece: before the other modules come to lie all over the memory.
    edges = ChipEdges(pins.COIL)
    test_edges = None if pins.SELF_TEST is None else ChipEdges(pins.SELF_TEST, TEST_MACHINE, TEST_RING_BITS)

    from adc import Amplitude
    from app import App
    from chip_board import ChipBoard
    from chip_wave import ChipWave
    from clock import Clock
    from edge_counter import EdgeCounter
    from link import Link
    from self_test import SelfTest
    from store import Store
    from version import VERSION

    store = Store("")
    store.load()
    store.start_boot()
    clock = Clock()
    amplitude = None if pins.AMPLITUDE is None else Amplitude(machine.ADC(machine.Pin(pins.AMPLITUDE)))
    counter = EdgeCounter(edges, clock, amplitude)
    link = Link(sys.stdin.buffer, sys.stdout.buffer)
    self_test = None
    if test_edges:
        self_test = SelfTest(EdgeCounter(test_edges, clock), ChipWave(pins.SELF_TEST), clock)
    app = App(counter, link, store, ChipBoard(kind, self_test), clock, VERSION)
    try:
        app.start()
        app.run(lambda: time.sleep_ms(IDLE_MS))
    finally:
        # State machines, DMA and PWM outlive a soft reset.
        try:
            counter.stop()
        finally:
            if self_test:
                self_test.stop()


main()
