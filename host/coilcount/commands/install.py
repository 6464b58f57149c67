"""`coilcount install`: puts the firmware on a board, resets it, and prints both versions."""

import argparse
import contextlib
import sys
from collections.abc import Callable, Iterator

from coilcount import __version__
from coilcount.errors import EXIT_DONE
from coilcount.face.say import say, say_json, warn

EXAMPLES = (
    ("coilcount install", "onto the one board that is plugged in"),
    ("coilcount install --port /dev/ttyACM1", "onto one of several"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--port", default="", help="device, or a board's serial number; needed if several boards are plugged in"
    )
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="one JSON object")
    form.add_argument("--quiet", action="store_true", help="print only errors and warnings")


def run(args: argparse.Namespace) -> int:
    from coilcount.deploy import install
    from coilcount.deploy.board_modules import board_files
    from coilcount.deploy.compiled import find_compiler
    from coilcount.deploy.prompt import interrupted
    from coilcount.readings.hello import mismatches

    files = board_files()
    device = install.choose(args.port)
    with interrupted(device) as repl:
        with _progress(args) as progress:
            done = install.install(repl, files, progress, find_compiler())
        install.reset(repl)
    hello = install.await_hello(device)
    for text in mismatches(hello, __version__):
        warn(f"warning: {text}")
    if args.json:
        say_json(_object(device, done, hello))
    elif not args.quiet:
        if done.kept:
            say(f"the main.py that was on the board is kept there as {done.kept}")
        removed = f", {len(done.removed)} of an earlier install removed" if done.removed else ""
        say(f"{len(done.written)} files written, {done.skipped} were there already (same SHA-256){removed}")
        if done.sources:
            say(f"source files, which the board compiles at each start: {done.sources}")
        say(f"firmware {hello.firmware} on {hello.board} {hello.uid}, MicroPython {done.micropython}")
        say(f"coilcount {__version__} here; the board answers on {device}")
    return EXIT_DONE


def _object(device, done, hello) -> dict:
    return {
        "kind": "install",
        "port": device,
        "written": list(done.written),
        "skipped": done.skipped,
        "kept": done.kept or None,
        "removed": list(done.removed),
        "compiled": not done.sources,
        "why_sources": done.sources or None,
        "micropython": done.micropython,
        "firmware": hello.firmware,
        "coilcount": __version__,
        "board": hello.board,
        "uid": hello.uid,
    }


@contextlib.contextmanager
def _progress(args: argparse.Namespace) -> Iterator[Callable[[str, int, int], None]]:
    """A bar on a terminal, otherwise one plain line a file."""
    if args.json or args.quiet:
        yield lambda path, done, total: None
        return
    if not sys.stdout.isatty():
        printed: set[str] = set()

        def line(path: str, done: int, total: int) -> None:
            if path and path not in printed:
                printed.add(path)
                say(f"{100 * done // total:3d} %  {path}")

        yield line
        return
    from rich.console import Console
    from rich.progress import BarColumn, DownloadColumn, Progress, TextColumn

    columns = (TextColumn("{task.description:<28}"), BarColumn(), DownloadColumn())
    # Named here, because mpremote replaces sys.stdout while it works.
    console = Console(file=sys.stdout)
    with Progress(*columns, console=console, transient=True) as bar:
        task = bar.add_task("comparing files")
        yield lambda path, done, total: bar.update(task, description=path or "done", completed=done, total=total)
