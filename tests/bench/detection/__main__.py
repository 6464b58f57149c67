"""Prints what the tracker finds, next to other methods and an upper bound.  It checks nothing.

    python tests/bench/detection [--long] [--conditions bench,garden] [--minutes 30] [--tuning] [--only detect]

All data are simulated.  README.md in this folder has the rules of scoring.  They were written before any constant was
chosen.  The tables are printed in Markdown.
"""

import argparse
import multiprocessing
import sys
import tempfile
import time
from collections.abc import Iterable, Iterator
from functools import partial
from pathlib import Path
from typing import Any

import again
import answers
import change
import depth
import dwell
import picture
import readme
import table
import tables
import tables_alarms
import tables_found
import tables_sign
from conditions import CONDITIONS, Condition
from study import OTHERS, Job, Result, assemble, prepare, run
from trackers import EXTRA, METHODS, WARM_PROFILE

QUICK = (20, 16)  # minutes without objects and minutes with objects, for each test condition; chosen by hand
LONG = (120, 60)
MOST_ELSEWHERE = (40, 32)  # the same at most for the parts after detect and change; keeps --long within the hour
PARTS = ("detect", "change", "depth", "answers", "again", "dwell")


def main() -> None:
    parser = parser_of()
    options = parser.parse_args()
    folder = options.picture or (options.draw and options.draw.parent)
    for name in picture.PICTURES:
        if folder and (folder / name).exists():
            parser.error(f"{folder / name} exists; remove it, or give another folder to --picture")
    if options.draw:
        if not options.draw.is_file():
            parser.error(f"there is no file {options.draw}; --picture DIR writes DIR/{picture.FILE}")
        picture.draw(picture.read(options.draw), folder)
        return
    if options.readme and not options.readme.is_file():
        parser.error(f"there is no file {options.readme}")
    names = options.conditions.split(",")
    for name in names:
        if name not in CONDITIONS:
            parser.error(f"there is no test condition {name}; use {', '.join(CONDITIONS)}")
    known = [method.name for method in (*METHODS, *EXTRA)] + [OTHERS]
    methods = [name for name in known if name != WARM_PROFILE.name]
    if options.methods:
        methods = options.methods.split(";")
    for name in methods:
        if name not in known:
            parser.error(f"there is no method {name}; use any of {'; '.join(known)}, separated by semicolons")
    clean, swept = LONG if options.long else QUICK
    if options.minutes:
        clean, swept = options.minutes, 0.8 * options.minutes
    clean, swept = 2 * max(1, round(clean / 2)), 2 * max(1, round(swept / 2))
    began = time.monotonic()
    with tempfile.TemporaryDirectory() as folder, multiprocessing.Pool(options.processes) as pool:
        bench = Bench(pool, options.tuning, clean, swept, options.cache or Path(folder))
        figures = bench.run([options.only] if options.only else PARTS, names, methods)
    if options.picture:
        picture.draw(figures, options.picture)
    if options.readme:
        for title in readme.fill(options.readme, table.SHOWN):
            print(f"{options.readme}: this run has no table: {title}", file=sys.stderr)
    print(f"\n{time.monotonic() - began:.0f} s")


def parser_of() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser(prog="python tests/bench/detection", description=__doc__.splitlines()[0])
    parser.add_argument("--long", action="store_true",
                        help="120 minutes without objects and 60 with, for each condition")
    parser.add_argument("--conditions", default=",".join(CONDITIONS), metavar="NAMES",
                        help="test conditions, any of: " + ", ".join(CONDITIONS))
    parser.add_argument("--minutes", type=float,
                        help="minutes without objects for each condition; 0.8 times as many with")
    parser.add_argument("--tuning", action="store_true",
                        help="use the scenes and objects that the constants were chosen with")
    parser.add_argument("--only", choices=PARTS, help="run only this part")
    parser.add_argument("--methods", metavar="NAMES",
                        help="for detect and depth, only these methods, separated by semicolons: "
                        + "; ".join([*(method.name for method in (*METHODS, *EXTRA)), OTHERS]))
    parser.add_argument("--cache", type=Path,
                        help="store the simulated data in this folder and use them again in the next run")
    parser.add_argument("--picture", type=Path, metavar="DIR",
                        help="draw the pictures in this folder and write their numbers to figures.json")
    parser.add_argument("--draw", type=Path, metavar="FILE",
                        help="run nothing; draw the pictures of this figures.json next to it")
    parser.add_argument("--readme", type=Path, metavar="FILE",
                        help="put the tables into the marked places of this page")
    parser.add_argument("--processes", type=int, default=2)
    return parser


class Bench:
    """Runs the parts.  The work goes to processes in small jobs; the progress goes to standard error."""

    def __init__(self, pool: Any, tuning: bool, clean: float, swept: float, cache: Path) -> None:
        self._pool = pool
        self._tuning = tuning
        self._clean = clean
        self._swept = swept
        self._cache = cache

    def run(self, parts: Iterable[str], names: list[str], methods: list[str]) -> dict[str, Any]:
        """Run the parts and print their tables; return the numbers of the pictures."""
        figures = {}
        common = {"tuning": self._tuning, "cache": self._cache}
        minutes = {"clean_minutes": self._clean, "swept_minutes": self._swept}
        if "detect" in parts:
            results = self.detect({name: CONDITIONS[name] for name in names}, methods, "detect")
            print(f"\n{len(results)} test conditions, for each {self._clean:g} minutes without objects and "
                  f"{self._swept:g} minutes with objects.")  # fmt: skip
            tables_found.show(results)
            tables_alarms.show(results)
            tables_sign.show(results)
            figures["detection"] = picture.of_detection(results, self._clean, self._swept)
        if "change" in parts:
            rows = self.all(partial(change.study, **common, **minutes), change.CHANGES, "change")
            tables.change([row for onto, _ in rows for row in onto], change.BANDS)
            tables.back([row for _, back in rows for row in back])
        self._clean = min(self._clean, MOST_ELSEWHERE[0])
        self._swept = min(self._swept, MOST_ELSEWHERE[1])
        if "depth" in parts:
            conditions = {ground: depth.condition_of(ground) for ground in depth.GROUNDS}
            results = self.detect(conditions, [name for name in methods if name in depth.METHODS], "depth")
            depths = [depth.depths(ground, result) for ground, result in zip(conditions, results, strict=True)]
            tables.depth(depths)
            figures["depth"] = picture.of_depth(depths, self._clean, self._swept)
        if "answers" in parts:
            rows = self.all(partial(answers.study, minutes=3 * self._swept, **common), answers.GROUNDS, "answers")
            tables.answers([row for ground in rows for row in ground])
        if "again" in parts:
            tables.again(self.all(partial(again.study, minutes=3 * self._swept, **common), again.GROUNDS, "again"))
        if "dwell" in parts:
            tables.dwell(self.all(partial(dwell.study, minutes=self._swept, **common), dwell.GROUNDS, "dwell"))
        return figures

    def detect(self, conditions: dict[str, Condition], methods: list[str], word: str) -> list[Result]:
        """Run methods over conditions; return the results in the order of the conditions."""
        jobs = [
            Job(condition, method, self._tuning, self._clean, self._swept, self._cache)
            for condition in conditions.values()
            for method in methods
        ]
        first = [Job(condition, OTHERS, self._tuning, self._clean, self._swept, self._cache)
                 for condition in conditions.values()]  # fmt: skip
        results = {result.name: result for result in self.all(prepare, first, f"{word}, data")}
        assemble(results, self.all(run, jobs, word))
        return list(results.values())

    def all(self, function: Any, items: Iterable[Any], word: str) -> list[Any]:
        """Return function(item) of all items, in their order."""
        items = list(items)
        return list(progress(self._pool.imap(function, items, chunksize=1), len(items), word))


def progress(done: Iterable[Any], count: int, word: str) -> Iterator[Any]:
    """Pass on what is done, and print how far the work is."""
    began = time.monotonic()
    for number, item in enumerate(done, 1):
        print(f"{word}: {number} of {count}, {time.monotonic() - began:.0f} s", file=sys.stderr, flush=True)
        yield item


if __name__ == "__main__":
    main()
