"""Prints what the tracker finds, next to other methods and an upper bound.  It checks nothing.

    python tests/bench/detection [--long] [--kinds bench,garden] [--minutes 30] [--tuning] [--only detect]

All data are simulated.  README.md in this folder has the rules of scoring.  They were written before any constant was
chosen.
"""

import argparse
import multiprocessing
import time
from functools import partial
from pathlib import Path

import again
import answers
import depth
import dwell
import picture
import tables
from kinds import KINDS
from study import study

QUICK = (20, 16)  # minutes without objects and minutes with objects, for each test condition; chosen by hand
LONG = (120, 60)
PARTS = ("detect", "depth", "answers", "again", "dwell")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python tests/bench/detection", description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true",
                        help="120 minutes without objects and 60 with, for each condition: about an hour on two cores")
    parser.add_argument("--kinds", default=",".join(KINDS), help="test conditions, any of: " + ", ".join(KINDS))
    parser.add_argument("--minutes", type=float,
                        help="minutes without objects for each condition; 0.8 times as many with")
    parser.add_argument("--tuning", action="store_true",
                        help="use the scenes and objects that the constants were chosen with")
    parser.add_argument("--only", choices=PARTS, help="run only this part")
    parser.add_argument("--no-rivals", action="store_true", help="run only the tracker and the bound")
    parser.add_argument("--cache", type=Path,
                        help="store the simulated data in this folder and use it again in the next run")
    parser.add_argument("--picture", type=Path, metavar="DIR",
                        help="draw the pictures in this folder and write their numbers to figures.json")
    parser.add_argument("--draw", type=Path, metavar="FILE",
                        help="run nothing; draw the pictures of this figures.json next to it")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    if options.draw:
        if not options.draw.is_file():
            parser.error(f"there is no file {options.draw}; --picture DIR writes DIR/{picture.FILE}")
        picture.draw(picture.read(options.draw), options.picture or options.draw.parent)
        return
    names = options.kinds.split(",")
    for name in names:
        if name not in KINDS:
            parser.error(f"there is no test condition {name}; use {', '.join(KINDS)}")
    clean, swept = LONG if options.long else QUICK
    if options.minutes:
        clean, swept = options.minutes, 0.8 * options.minutes
    clean, swept = 2 * max(1, round(clean / 2)), 2 * max(1, round(swept / 2))
    began = time.monotonic()
    figures = {}
    with multiprocessing.Pool(options.processes) as pool:
        if options.only in (None, "detect"):
            run_study = partial(study, tuning=options.tuning, clean_minutes=clean, swept_minutes=swept,
                                cache=options.cache, with_rivals=not options.no_rivals)  # fmt: skip
            results = pool.map(run_study, names, chunksize=1)
            tables.detection(results, clean)
            figures["detection"] = picture.of_detection(results, clean, swept)
        if options.only in (None, "depth"):
            run_study = partial(depth.study, tuning=options.tuning, clean_minutes=clean, swept_minutes=swept,
                                cache=options.cache)  # fmt: skip
            results = pool.map(run_study, depth.GROUNDS, chunksize=1)
            tables.depth(results)
            figures["depth"] = picture.of_depth(results, clean, swept)
        if options.only in (None, "answers"):
            grounds = pool.map(partial(answers.study, tuning=options.tuning, minutes=3 * swept), answers.GROUNDS)
            tables.answers([result for results in grounds for result in results])
        if options.only in (None, "again"):
            run_study = partial(again.study, tuning=options.tuning, minutes=3 * swept, cache=options.cache)
            tables.again(pool.map(run_study, again.GROUNDS, chunksize=1))
        if options.only in (None, "dwell"):
            tables.dwell(pool.map(partial(dwell.study, tuning=options.tuning, minutes=swept), dwell.GROUNDS))
    if options.picture:
        picture.draw(figures, options.picture)
    print(f"\n{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
