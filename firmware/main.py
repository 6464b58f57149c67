"""Starts the firmware on a board.  Ctrl-C always ends it, so that new files can be put on."""

import sys
import time

# Time for a person or a deploy tool to press Ctrl-C before anything runs.
START_DELAY_MS = 500
MARK_PIN = 22
IDLE_MS = 1


def main():
    time.sleep_ms(START_DELAY_MS)
    try:
        from chip_counter import ChipCounter
    except ImportError:
        print("this firmware holds no counter for the chip yet: nothing to run")
        return
    from app import App
    from chip_board import ChipBoard
    from clock import Clock
    from link import Link
    from store import Store
    from version import VERSION

    store = Store("")
    store.load()
    store.start_boot()
    counter = ChipCounter()
    link = Link(sys.stdin.buffer, sys.stdout.buffer)
    app = App(counter, link, store, ChipBoard(MARK_PIN), Clock(), VERSION)
    try:
        app.start()
        app.run(lambda: time.sleep_ms(IDLE_MS))
    finally:
        # State machines and DMA outlive a soft reset.
        counter.stop()


main()
