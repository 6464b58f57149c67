"""Prints the wall time and CPU time of `coilcount plan` in a new process.  It checks nothing.

Run: python tests/bench/plan_time.py [RUNS]
"""

import os
import resource
import subprocess
import sys
import time

import piped


def main() -> None:
    runs = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    print(f"load average {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors; aim for the short answer: under 1 s")
    for words in (
        ["plan"],
        ["plan", "--frequency", "25k", "--drawer", "E12"],
        ["plan", "--all"],
        ["plan", "--json"],
        ["plan", "--compare", "diameter=10cm,15cm,20cm,30cm"],
    ):
        walls, used = [], []
        for _ in range(runs):
            before = resource.getrusage(resource.RUSAGE_CHILDREN)
            start = time.perf_counter()
            subprocess.run([sys.executable, "-m", "coilcount", *words], check=True, stdout=subprocess.DEVNULL)
            walls.append(time.perf_counter() - start)
            after = resource.getrusage(resource.RUSAGE_CHILDREN)
            used.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
        print(
            f"coilcount {' '.join(words):34} wall {min(walls):.2f} to {max(walls):.2f} s, CPU {min(used):.2f} s"
        )


if __name__ == "__main__":
    piped.run(main)
