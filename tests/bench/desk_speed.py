"""Prints the speed and memory of the desk's replays: a grid of thresholds against one threshold.  It checks nothing.

    python tests/bench/desk_speed.py [--minutes 30] [--recordings 4] [--thresholds 40]

The recordings repeat a simulated capture of the repository: passes over objects on garden soil.  They are made before
the clock starts.  The times are wall and CPU times of whole processes on this machine, as the operating system counts
them; memory is the peak of the largest process.
"""

import argparse
import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import piped
from coilcount.capture.reader import read_capture
from coilcount.capture.writer import CaptureWriter
from coilcount.model import Header, Line
from coilwire import frame, records

ROOT = Path(__file__).resolve().parents[2]
SCENE = "orchard-path"
HOURS_WANTED = 10.0
MINUTES_WANTED = 2.0

# Runs in a process of its own, so that its CPU time and memory can be told from those of other runs.
SCRIPT = """
import json, resource, sys, time
from pathlib import Path
from coilcount.desk.cache import Cache
from coilcount.desk.many import replay_many
from coilcount.desk.recordings import Recording
from coilcount.settings import defaults

job = json.loads(sys.argv[1])
start = time.perf_counter()
cache = Cache(Path(job["cache"])) if job["cache"] else None
got = replay_many(
    [Recording((Path(path),)) for path in job["paths"]], defaults(), job["thresholds"],
    series=job["series"], processes=job["processes"], cache=cache,
)
wall_s = time.perf_counter() - start
usages = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
print(json.dumps({
    "wall_s": wall_s, "cpu_s": sum(usage.ru_utime + usage.ru_stime for usage in usages),
    "peak_mb": max(usage.ru_maxrss for usage in usages) / 1024,
    "readings": sum(replay.summary.records for replay in got),
    "alerts": sum(len(at.alerts) for replay in got for at in replay.at),
}))
"""


def make_recordings(folder: Path, count: int, minutes: float) -> list[Path]:
    """Make recordings from the simulated capture of the repository, repeated until they are as long as wanted.

    The repetitions join: each continues the sequence, the edges and the ticks of the one before.
    """
    source = [
        records.read(frame.parse(entry.data))
        for entry in read_capture(ROOT / "captures" / f"{SCENE}.ccap.gz")
        if isinstance(entry, Line) and entry.data.startswith(b"@I")
    ]
    hello = records.Hello(1, "0.1.0", "bench", "00", 1, 0, 125_000_000, 2, 20, 0, records.LAYOUT)
    first, last = source[0], source[-1]
    edges = (last.first_edge - first.first_edge) % records.U32 + last.n
    # The mean time of an edge in the last interval leads to where the first edge after it would be.
    ticks = (last.t_first - first.t_first) % records.U32 + 2 * last.s // (last.n - 1)
    paths = []
    for number in range(count):
        path = folder / f"{SCENE}-{number}.ccap"
        header = Header(source="simulate", start_utc=f"2026-01-0{number % 9 + 1}T00:00:00Z", simulated=True)
        with CaptureWriter(path, header) as writer:
            writer.write(Line(0.0, records.write(hello)[:-1]))
            total = 0
            for turn in range(int(minutes * 60 / (len(source) * 0.02)) + 1):
                for record in source:
                    total += 1
                    moved = record._replace(
                        sequence=total % records.U16,
                        first_edge=(record.first_edge - first.first_edge + turn * edges) % records.U32,
                        t_first=(record.t_first - first.t_first + turn * ticks) % records.U32,
                        flags=record.flags & ~records.FLAG_NEW_TIME_BASE,
                    )
                    writer.write(Line(round(0.02 * total, 6), records.write(moved)[:-1]))
                    if total * 0.02 >= minutes * 60:
                        break
        paths.append(path)
    return paths


def run(paths: list[Path], thresholds: list[float], **options) -> dict:
    """Replay the recordings in a new process; return its figures."""
    job = {
        "paths": [str(path) for path in paths],
        "thresholds": thresholds,
        "series": False,
        "processes": 1,
        "cache": "",
        **options,
    }
    command = [sys.executable, "-c", SCRIPT, json.dumps(job)]
    return json.loads(subprocess.run(command, stdout=subprocess.PIPE, check=True).stdout)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--minutes", type=float, default=30.0, help="length of each recording")
    parser.add_argument("--recordings", type=int, default=4)
    parser.add_argument("--thresholds", type=int, default=40)
    args = parser.parse_args()
    # From far too sensitive to far too coarse, as tune and report use them.
    grid = [round(2.5 + 10.0 * k / args.thresholds, 3) for k in range(args.thresholds)]
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        start = time.perf_counter()
        paths = make_recordings(folder, args.recordings, args.minutes)
        print(
            f"{len(paths)} recordings of {args.minutes:g} minutes, {sum(map(os.path.getsize, paths)) / 1e6:.0f} MB, "
            f"made in {time.perf_counter() - start:.0f} s; thresholds {grid[0]:g} to {grid[-1]:g}"
        )
        print(f"{'':<34}  readings   alerts   wall s    CPU s  us/reading  peak MB   for 10 h")
        rows = {}
        cache = str(folder / "cache")
        for label, thresholds, options in (
            ("one threshold, 1 process", [], {}),
            (f"{len(grid)} thresholds, 1 process", grid, {}),
            (f"{len(grid)} thresholds, 2 processes", grid, {"processes": 2}),
            (f"{len(grid)}, with readings, 2 processes", grid, {"processes": 2, "series": True, "cache": cache}),
            ("the same from the cache", grid, {"processes": 2, "series": True, "cache": cache}),
            ("from the cache, without readings", grid, {"processes": 2, "cache": cache}),
        ):
            row = rows[label] = run(paths, thresholds, **options)
            hours = row["readings"] * 0.02 / 3600
            print(
                f"{label:<34} {row['readings']:9d} {row['alerts']:8d} {row['wall_s']:8.2f} {row['cpu_s']:8.2f} "
                f"{1e6 * row['cpu_s'] / row['readings']:11.1f} {row['peak_mb']:8.0f} "
                f"{row['wall_s'] * HOURS_WANTED / hours / 60:6.2f} min",
                flush=True,
            )
        one, many, two, *_ = rows.values()
        print(f"a grid costs {many['cpu_s'] / one['cpu_s']:.1f} x the CPU of one threshold")
        print(f"two processes are {many['wall_s'] / two['wall_s']:.2f} x as fast as one")
        size = sum(file.stat().st_size for file in Path(cache).iterdir())
        print(f"the cache holds {size / 1e6:.1f} MB, {size / rows[next(iter(rows))]['readings']:.1f} bytes a reading")
        print(f"aim: 10 h and 40 thresholds on two cores in under {MINUTES_WANTED:g} min")
    print(f"this run   peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB")


if __name__ == "__main__":
    piped.run(main)
