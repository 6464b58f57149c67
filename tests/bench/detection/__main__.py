"""Prints what the tracker finds, beside other methods and an upper bound.  Nothing here passes or fails.

    python tests/bench/detection [--long] [--kinds bench,garden] [--minutes 30] [--tuning] [--only detect]

All of it is simulation.  README.md in this folder has the rules, which were written before any constant was chosen.
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

QUICK = (20, 16)  # minutes of clean ground, and of ground with objects, for each kind
LONG = (120, 60)
PARTS = ("detect", "depth", "answers", "again", "dwell")


def main() -> None:
    parser = argparse.ArgumentParser(prog="python tests/bench/detection", description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true", help="six times the minutes: about an hour on two cores")
    parser.add_argument("--kinds", default=",".join(KINDS), help="some of: " + ", ".join(KINDS))
    parser.add_argument("--minutes", type=float, help="of clean ground for each kind; with objects 0.8 of that")
    parser.add_argument("--tuning", action="store_true", help="the scenes and objects that constants are chosen by")
    parser.add_argument("--only", choices=PARTS, help="one part alone")
    parser.add_argument("--no-rivals", action="store_true", help="the tracker and the bound alone")
    parser.add_argument("--cache", type=Path, help="keep the series in this folder, to try another tracker on them")
    parser.add_argument("--picture", type=Path, metavar="DIR", help="draw the figures there; figures.json keeps them")
    parser.add_argument("--draw", type=Path, metavar="FILE", help="no run: draw such a figures.json again, beside it")
    parser.add_argument("--processes", type=int, default=2)
    options = parser.parse_args()
    if options.draw:
        if not options.draw.is_file():
            parser.error(f"no file {options.draw}; --picture DIR writes DIR/{picture.FILE}")
        picture.draw(picture.read(options.draw), options.picture or options.draw.parent)
        return
    names = options.kinds.split(",")
    for name in names:
        if name not in KINDS:
            parser.error(f"no kind {name}; there are {', '.join(KINDS)}")
    clean, swept = LONG if options.long else QUICK
    if options.minutes:
        clean, swept = options.minutes, 0.8 * options.minutes
    clean, swept = 2 * max(1, round(clean / 2)), 2 * max(1, round(swept / 2))
    began = time.monotonic()
    figures = {}
    with multiprocessing.Pool(options.processes) as pool:
        if options.only in (None, "detect"):
            one = partial(study, tuning=options.tuning, clean_minutes=clean, swept_minutes=swept, cache=options.cache,
                          with_rivals=not options.no_rivals)  # fmt: skip
            results = pool.map(one, names, chunksize=1)
            tables.detection(results, clean)
            figures["detection"] = picture.of_detection(results, clean, swept)
        if options.only in (None, "depth"):
            one = partial(depth.study, tuning=options.tuning, clean_minutes=clean, swept_minutes=swept,
                          cache=options.cache)  # fmt: skip
            results = pool.map(one, depth.GROUNDS, chunksize=1)
            tables.depth(results)
            figures["depth"] = picture.of_depth(results, clean, swept)
        if options.only in (None, "answers"):
            grounds = pool.map(partial(answers.study, tuning=options.tuning, minutes=3 * swept), answers.GROUNDS)
            tables.answers([one for both in grounds for one in both])
        if options.only in (None, "again"):
            one = partial(again.study, tuning=options.tuning, minutes=3 * swept, cache=options.cache)
            tables.again(pool.map(one, again.GROUNDS, chunksize=1))
        if options.only in (None, "dwell"):
            tables.dwell(pool.map(partial(dwell.study, tuning=options.tuning, minutes=swept), dwell.GROUNDS))
    if options.picture:
        picture.draw(figures, options.picture)
    print(f"\n{time.monotonic() - began:.0f} s")


if __name__ == "__main__":
    main()
