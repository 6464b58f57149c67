"""Prints the cost of the tracker, beside that of an earlier one, in CPython and MicroPython.

    python tests/bench/tracker_cost.py

The cost is time a reading, time to make a tracker, and memory.  It checks nothing.  The times are wall times on this
machine: the shortest of several runs over a capture of the repository, with 20 ms a reading.  The runs of the two
trackers take turns in one process, so that their ratio does not depend on what else the machine does.  MicroPython is
the build for desktop computers (64 bits, doubles).  A board is much slower, and needs half as much memory for a word.
The earlier tracker is that of tests/bench/detection/old_tracker.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path

import piped

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "support"))

from coilcount.capture.reader import read_capture
from coilcount.model import Line
from coilwire import frame, records
from micropython_tool import COILCOUNT, ROOT, run_micropython

OLD = ROOT / "tests" / "bench" / "detection" / "old_tracker"
CAPTURE = ROOT / "captures" / "orchard-path.ccap.gz"
# ppm/rtHz, one for each band.  The cost does not depend on the values.
LEARNED = [round(3.0 * 0.8**i, 4) for i in range(25)]

RUNS = 9

SCRIPT = """
import gc, json, sys, time
from coiltrack.tracker import Tracker as New
from oldtrack.tracker import Tracker as Old

if hasattr(time, "ticks_us"):
    now = time.ticks_us
    start = lambda: None
    held = lambda: (gc.collect(), gc.mem_alloc())[1]
else:
    import tracemalloc
    now = lambda: time.perf_counter() * 1e6
    start = tracemalloc.start
    held = lambda: (gc.collect(), tracemalloc.get_traced_memory()[0])[1]

intervals, noise, runs = json.loads(sys.stdin.readline())
intervals = [tuple(row) for row in intervals]

def run(tracker):
    for time_us, sequence, first_edge, n, t_first, s in intervals:
        tracker.interval(time_us, sequence, first_edge, n, t_first, s)

made = ([], [])
ran = ([], [])
for _ in range(runs):
    for i, make in enumerate((New, Old)):
        begin = now()
        tracker = make(0.02, noise_ppm_rthz=tuple(noise))
        middle = now()
        run(tracker)
        made[i].append(middle - begin)
        ran[i].append(now() - middle)
tracker = None
start()
out = []
for i, make in enumerate((New, Old)):
    before = held()
    tracker = make(0.02, noise_ppm_rthz=tuple(noise))
    run(tracker)
    out.append([min(ran[i]) / len(intervals), min(made[i]) / 1000, held() - before])
    tracker = None
print(json.dumps(out))
"""


def intervals() -> list[tuple[int, ...]]:
    """Return the arguments of Tracker.interval for every interval of the capture."""
    rows = []
    for entry in read_capture(CAPTURE):
        sound = frame.parse(entry.data) if isinstance(entry, Line) else None
        record = records.read(sound) if sound else None
        if isinstance(record, records.Interval):
            rows.append((len(rows) * 20_000 + 10_000, *record[:5]))
    return rows


def main() -> None:
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "coiltrack").symlink_to(COILCOUNT / "tracker")
        (folder / "oldtrack").symlink_to(OLD)
        script = folder / "cost.py"
        script.write_text(SCRIPT)
        series = intervals()
        print(f"{len(series)} readings of {CAPTURE.name}: shortest of {RUNS} runs; memory after a whole run")
        print("| interpreter | noise profile | tracker | us a reading | ratio | ms to make | bytes |")
        print("|---|---|---|---:|---:|---:|---:|")
        for noise, profile in (([], "no"), (LEARNED, "yes")):
            stdin = json.dumps([series, noise, RUNS]) + "\n"
            command = [sys.executable, str(script)]
            here = subprocess.run(command, input=stdin, capture_output=True, text=True, check=True)
            there = run_micropython(script, paths=[folder], stdin=stdin, timeout=300)
            for interpreter, text in (("CPython", here.stdout), ("MicroPython", there)):
                new, old = json.loads(text)
                for word, row, ratio in (("earlier", old, ""), ("now", new, f"{new[0] / old[0]:.2f}")):
                    us, ms, size = row
                    print(f"| {interpreter} | {profile} | {word} | {us:.1f} | {ratio} | {ms:.1f} | {size} |")


if __name__ == "__main__":
    piped.run(main)
