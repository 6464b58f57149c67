"""Prints the speed and memory of the commands.  It checks nothing.

    python tests/bench/speed.py [--hours 10] [--live-s 20] [--long]

--long prints only the time and memory of the commands that read a whole recording of --hours.

The data are simulated.  The figures are for this machine.  They are for whole processes, as the operating system counts
them.
"""

import argparse
import os
import pty
import re
import resource
import select
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import piped
from coilcount.capture.writer import CaptureWriter
from coilcount.model import Header, Line
from coilwire import records

INTERVAL_S = 0.02
EDGES = 500
TICKS = 1_250_000  # ticks of 16 ns in 20 ms
U32 = 1 << 32
U16 = 1 << 16
COILCOUNT = [sys.executable, "-m", "coilcount"]
FREQUENCY = re.compile(rb"\d\d \d{3}\.\d+ Hz")


def long_capture(path: Path, hours: float) -> int:
    """Write a capture with 50 records a second and small random sums; return the number of records."""
    hello = records.Hello(1, "0.1.0", "bench", "00", 1, 0, 125_000_000, 2, 20, 0, records.LAYOUT)
    count = int(hours * 3600 / INTERVAL_S)
    seed = 1
    with CaptureWriter(path, Header(source="simulate", start_utc="2026-01-01T00:00:00Z", simulated=True)) as writer:
        writer.write(Line(0.0, records.write(hello)[:-1]))
        for k in range(count):
            seed = seed * 16807 % 2147483647  # the minimal standard generator
            s = (TICKS * (EDGES - 1)) // 2 + seed % 4000
            record = records.Interval(k % U16, k * EDGES % U32, EDGES, k * TICKS % U32, s, 2490, 2510, 0, 128)
            writer.write(Line((k + 1) * INTERVAL_S, records.write(record)[:-1]))
    return count


def long_log(path: Path, hours: float) -> int:
    """Write a CSV log with 50 random frequencies a second, as other counters do; return the number of rows."""
    count = int(hours * 3600 / INTERVAL_S)
    seed = 1
    with path.open("w", encoding="ascii") as file:
        file.write("time_s,frequency_hz\n")
        for k in range(count):
            seed = seed * 16807 % 2147483647
            file.write(f"{k * INTERVAL_S:.2f},{25_000 + seed % 4000 / 1e5:.5f}\n")
    return count


def long_table(hours: float) -> None:
    """Print time and peak memory of each command that reads a whole recording, for `hours` and a tenth of them."""
    with tempfile.TemporaryDirectory() as folder:
        capture, log, made = (Path(folder) / name for name in ("a.ccap", "a.csv", "b.ccap"))
        print("command    hours   records   wall s    CPU s  us/record  peak MB")
        for length in (hours / 10, hours):
            count = long_capture(capture, length)
            long_log(log, length)
            for words in (["noise"], ["import", str(log)], ["replay"], ["inspect"]):
                file = made if words[0] == "import" else capture
                wall, cpu, peak = run([*COILCOUNT, *words, str(file)])
                row = f"{length:5.1f} {count:9d} {wall:8.1f} {cpu:8.1f} {1e6 * cpu / count:10.1f} {peak:8.0f}"
                print(f"{words[0]:<10} {row}", flush=True)
            for path in (capture, log, made):
                path.unlink()


def run(command: list[str]) -> tuple[float, float, float]:
    """Run a command to its end; return wall seconds, CPU seconds and peak MB."""
    start = time.monotonic()
    with open(os.devnull, "wb") as sink:
        process = subprocess.Popen(command, stdout=sink)
        _, status, usage = os.wait4(process.pid, 0)
    process.returncode = os.waitstatus_to_exitcode(status)
    if process.returncode:
        raise SystemExit(f"{command} ended with exit code {process.returncode}")
    return time.monotonic() - start, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def median_wall(command: list[str], runs: int = 11) -> float:
    return statistics.median(run(command)[0] for _ in range(runs))


def on_a_terminal(command: list[str], seconds: float) -> tuple[float, float, float]:
    """Run a command on a pty; return the seconds to the first frequency on it, the CPU seconds and the peak MB."""
    start = time.monotonic()
    pid, terminal = pty.fork()
    if pid == 0:
        os.environ.update(TERM="xterm-256color", LINES="40", COLUMNS="120")
        os.execv(command[0], command)
    shown = float("nan")
    text = b""
    while time.monotonic() - start < seconds + 20:
        ready, _, _ = select.select([terminal], [], [], 0.02)
        if not ready:
            continue
        try:
            data = os.read(terminal, 65536)
        except OSError:  # the other end has closed
            break
        if shown != shown:  # still nan: no frequency was seen yet
            text += data
            if FREQUENCY.search(re.sub(rb"\x1b\[[0-9;?]*[a-zA-Z]", b"", text)):
                shown = time.monotonic() - start
    _, _, usage = os.wait4(pid, 0)
    os.close(terminal)
    return shown, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--hours", type=float, default=10.0, help="length of the long capture")
    parser.add_argument("--live-s", type=float, default=20.0, help="how long the live screen runs")
    parser.add_argument("--long", action="store_true", help="print only the table of the commands that read recordings")
    args = parser.parse_args()
    if args.long:
        long_table(args.hours)
        return

    print(f"help       {median_wall([*COILCOUNT, '--help']):.3f} s wall, median of 11 (aim: under 0.15)")

    with tempfile.TemporaryDirectory() as folder:
        sizes = {"short": args.hours / 20, "long": args.hours}
        peaks = {}
        for name, hours in sizes.items():
            path = Path(folder) / f"{name}.ccap"
            count = long_capture(path, hours)
            wall, cpu, peak = run([*COILCOUNT, "replay", str(path), "--json"])
            peaks[name] = peak
            print(
                f"replay     {hours:5.2f} h, {count} records: {wall:.1f} s wall, {cpu:.1f} s CPU, "
                f"{hours * 3600 / wall:.0f} x real time (aim: 300, better 1,000), "
                f"{1e6 * cpu / count:.1f} us a record, peak {peak:.0f} MB (aim: under 150)"
            )
            path.unlink()
        print(f"           ratio of the peaks, long capture to short capture: {peaks['long'] / peaks['short']:.2f}")

    board = subprocess.Popen([*COILCOUNT, "virtual", "--json"], stdout=subprocess.PIPE, text=True)
    try:
        import json

        port = json.loads(board.stdout.readline())["port"]
        time.sleep(3.0)
        shown, _, _ = on_a_terminal([*COILCOUNT, "live", "--port", port, "--for", "3"], 3.0)
        print(f"live       {shown:.2f} s from start to the first frequency, board already running (aim: under 1.5)")
        _, cpu, peak = on_a_terminal([*COILCOUNT, "live", "--port", port, "--for", str(args.live_s)], args.live_s)
        print(
            f"live       {cpu:.2f} s CPU in {args.live_s:.0f} s: {100 * cpu / args.live_s:.1f} % of one core "
            f"(aim: under 10), peak {peak:.0f} MB"
        )
    finally:
        board.terminate()
        board.wait()
    shown, _, _ = on_a_terminal([*COILCOUNT, "live", "--virtual", "--for", "4"], 4.0)
    print(f"live       {shown:.2f} s including the start of the virtual board")
    print(f"this run   peak {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024:.0f} MB (writing the captures)")


if __name__ == "__main__":
    piped.run(main)
