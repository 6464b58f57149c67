"""`coilcount cache show|clear`: the results of replays that are kept, so that a second look is quick."""

import argparse
import os
import time

from coilcount.errors import EXIT_DONE, InputError, StorageError
from coilcount.face.say import say, say_json

EXAMPLES = (
    ("coilcount cache show", "where it is, and how much it holds"),
    ("coilcount cache clear", "remove everything in it; recordings and labels stay"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "action", choices=("show", "clear"), help="show: print place and size; clear: remove every kept result"
    )
    parser.add_argument("--json", action="store_true", help="one JSON object")
    parser.add_argument("--quiet", action="store_true", help="print nothing")


def run(args: argparse.Namespace) -> int:
    cache = open_cache()
    if cache is None:
        if args.json:
            say_json({"kind": "cache", "action": args.action, "folder": None})
        elif not args.quiet:
            say("no results are kept: COILCOUNT_CACHE is off, or the home folder is not known")
        return EXIT_DONE
    contents = cache.contents()
    value = {
        "kind": "cache",
        "action": args.action,
        "folder": str(contents.folder),
        "results": contents.files,
        "bytes": contents.bytes,
        "limit_bytes": contents.limit_bytes,
        "oldest_utc": None if contents.oldest_s is None else _utc(contents.oldest_s),
    }
    if args.action == "clear":
        try:
            removed = cache.clear()
        except OSError as error:
            raise StorageError(
                f"a kept result cannot be removed: {error.strerror}", str(error.filename), "Remove the file by hand"
            ) from None
        value |= {"results": removed}
        results = f"{removed} result{'' if removed == 1 else 's'}"
        lines = [f"removed {results}, {contents.bytes / 1e6:.1f} MB, from {contents.folder}"]
    else:
        lines = [
            f"place      {contents.folder}",
            f"results    {contents.files}, {contents.bytes / 1e6:.1f} MB of at most {contents.limit_bytes / 1e6:g} MB",
        ]
        if value["oldest_utc"]:
            lines.append(f"oldest     last used {value['oldest_utc']}")
    if args.json:
        say_json(value)
    elif not args.quiet:
        say(*lines)
    return EXIT_DONE


def open_cache():
    """The desk.cache.Cache at its place; None if there is none.  Raises InputError for a limit that is no number."""
    from coilcount.desk.cache import DEFAULT_LIMIT_MB, LIMIT_VARIABLE, Cache, cache_folder

    text = os.environ.get(LIMIT_VARIABLE, "")
    try:
        limit_mb = float(text) if text else DEFAULT_LIMIT_MB
    except ValueError:
        limit_mb = -1.0
    if not 0.0 <= limit_mb < 1e9:
        raise InputError(f'{LIMIT_VARIABLE} is "{text}"', remedy="Give a number of MB, for example 500")
    folder = cache_folder(os.environ)
    return None if folder is None else Cache(folder, limit_mb)


def _utc(time_s: float) -> str:
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(time_s))
