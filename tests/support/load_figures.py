"""Measures the firmware's loop under MicroPython on a PC: `micropython load_figures.py HERTZ INTERVAL_MS SECONDS`.

Prints: steps a second; microseconds of this PC that the steps of the quickest second took, because other programs
disturb the others; bytes allocated in all steps; intervals sent.
"""

import gc
import json
import sys
import time

from app import App
from edge_counter import EdgeCounter
from fake_ring import FakeEdges
from fake_usb import Quiet
from link import PIECE_BYTES, Link
from port import Port

IDLE_MS = 3  # as in main.py


def measure(hertz, interval_ms, seconds):
    edges = FakeEdges()
    board = Quiet()
    board.values["interval_ms"] = interval_ms
    link = Link(Port(sys.stdin.buffer, open("/dev/null", "wb")), PIECE_BYTES)  # noqa: SIM115
    app = App(EdgeCounter(edges, edges), link, board, board, edges, "0.1.0")
    app.start()
    steps = allocated = done = 0
    spent_us = [0] * (seconds + 1)  # for each second
    first_interval = 0
    while edges.now_ms < 1000 * (seconds + 1):
        edges.now_ms += IDLE_MS
        while done * 1000 < edges.now_ms * hertz:
            edges.put(done * 62_500_000 // hertz)
            done += 1
        gc.collect()
        more = True
        while more:
            gc.disable()
            before = gc.mem_alloc()
            begin = time.ticks_us()
            more = app.step()
            taken_us = time.ticks_diff(time.ticks_us(), begin)
            after = gc.mem_alloc()
            gc.enable()
            # The first second has the start in it.
            if edges.now_ms < 1000:
                first_interval = app._sequence
                continue
            steps += 1
            spent_us[min(edges.now_ms // 1000, seconds)] += taken_us
            allocated += after - before
    return steps / seconds, min(spent_us[1:]), allocated, app._sequence - first_interval


if __name__ == "__main__":
    print(json.dumps(measure(*[int(text) for text in sys.argv[1:4]])))
