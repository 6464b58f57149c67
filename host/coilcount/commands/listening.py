"""What `live`, `record` and `check` share: the source of the bytes, and the capture's header."""

import argparse
import contextlib
import math
import os
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from coilcount import __version__
from coilcount.commands.common_options import add_false_alarms, add_settings, add_source
from coilcount.errors import DeviceError, InputError
from coilcount.model import Header

# s, from the start of the virtual board to its first reading.  A slow machine takes less.  Chosen by hand.
FIRST_READING_S = 10.0


@dataclass
class Source:
    """A connected source of bytes.  clock: host seconds since the start; ended: whether nothing more will come."""

    link: object
    name: str  # "serial" or "virtual"
    title: str
    clock: Callable[[], float]
    start_utc: str
    ended: Callable[[], bool] = bool
    check: Callable[[], None] = lambda: None  # raises what went wrong with the board's own processes

    @property
    def simulated(self) -> bool:
        """True also if another program runs the virtual board and this one has opened its port."""
        hello = self.link.hello
        return self.name == "virtual" or (hello is not None and hello.board.startswith("virtual"))


def add_listening(parser: argparse.ArgumentParser) -> None:
    """The arguments of `live` and `record`: the source, the time, and what goes into the capture."""
    add_source(parser)
    parser.add_argument("--for", dest="seconds", type=float, metavar="SECONDS", help="stop after this time")
    add_settings(parser)
    add_false_alarms(parser)
    parser.add_argument(
        "--note", action="append", default=[], metavar="TEXT",
        help="coil, place, weather: kept in the capture; may be given several times",
    )  # fmt: skip
    parser.add_argument("--build", metavar="PLAN.toml", help="the plan of this coil, kept in the capture")
    parser.add_argument(
        "--fresh", action="store_true", help="start without the soil that was learned with this coil before"
    )
    parser.add_argument(
        "--sound", action="store_true",
        help="play the sweep on this computer's speaker, through paplay, pw-play or aplay",
    )  # fmt: skip
    parser.add_argument("--quiet", action="store_true", help="print only warnings and errors")
    parser.add_argument("--json", action="store_true", help="print alerts as JSON, one object a line, as replay does")


def check_source(args: argparse.Namespace) -> None:
    """Raises InputError if the arguments do not go together."""
    if not args.virtual and (args.scene is not None or args.seed is not None):
        raise InputError("--scene and --seed need the virtual board", remedy="Add --virtual")
    if args.seed is not None and args.seed < 0:
        raise InputError(f"--seed is {args.seed}", remedy="Give 0 or more")
    if args.seconds is not None and not (args.seconds > 0 and math.isfinite(args.seconds)):
        raise InputError(f"--for is {args.seconds:g}", remedy="Give a number of seconds above 0")
    # A wrong plan, and a wrong result beside it, are reported before a board is looked for.
    build_check(getattr(args, "build", None), True)


@contextlib.contextmanager
def open_source(args: argparse.Namespace, scene_repeats: bool) -> Iterator[Source]:
    """A connected Source; closed afterwards.  scene_repeats: a virtual scene starts again until it is stopped."""
    from coilcount.board.link import SerialLink

    begin = time.monotonic()
    start_utc = datetime.now(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")

    def clock() -> float:
        # Rounded as in the capture, so that a replay sees exactly the same times.
        return round(time.monotonic() - begin, 6)

    if not args.virtual:
        from coilcount.board import ports

        link = SerialLink(ports.choose(args.port or ""), clock)
        link.connect()
        hello = link.hello
        board = f"{hello.board} {hello.uid}, firmware {hello.firmware}" if hello else "a board that sends no hello"
        yield Source(link, "serial", f"{board} on {link.device}", clock, start_utc)
        return

    from coilcount.commands.virtual import DEFAULT_SCENE, make_board

    scene = args.scene or DEFAULT_SCENE
    seconds = math.inf if scene_repeats or args.seconds is not None else None
    with make_board(scene, args.seed, seconds=seconds) as board:
        link = SerialLink(board.port, clock)
        try:
            link.connect()
        except DeviceError:
            board.check()  # raises the board's own reason, which says more
            raise
        # The firmware sends its hello before the scene is read.  A misspelt scene must leave no file behind.
        while not link.await_record("I", 0.05) and not board.ended and clock() < FIRST_READING_S:
            board.check()
        board.check()
        title = f"scene {Path(scene).stem}; firmware in {board.interpreter_name}"
        yield Source(link, "virtual", title, clock, start_utc, lambda: board.ended, board.check)


def make_header(args: argparse.Namespace, source: Source, settings) -> Header:
    """The capture's first line."""
    hello = source.link.hello
    return Header(
        source=source.name,
        start_utc=source.start_utc,
        host_version=__version__,
        command=("coilcount", *sys.argv[1:]),
        board=hello._asdict() if hello else {},
        settings=settings.as_dict(),
        build=read_build(args.build),
        build_check=build_check(args.build, source.simulated),
        notes={"note": "; ".join(args.note)} if args.note else {},
        simulated=source.simulated,
    )


def read_build(path: str | None) -> dict | None:
    """{"file", "sha256", "plan"} of a plan file, None without one.  Raises InputError if it is no plan."""
    if path is None:
        return None
    import hashlib

    from coilcount.schema import toml_text
    from coilcount.schema.plan import plan_of

    data = toml_text.read_bytes(path, "plan")
    plan, _ = toml_text.parse(data, path, "plan")
    plan_of(plan, path)  # a sound plan holds only text, finite numbers and tables: the header's JSON takes them
    return {"file": os.path.basename(path), "sha256": hashlib.sha256(data).hexdigest(), "plan": plan}


def build_check(path: str | None, simulated: bool) -> dict | None:
    """{"file", "sha256", "check"} of the latest `check --build` of this very plan file, None without one.

    simulated: whether the recording is; only then may it carry a simulated check.
    Raises InputError if the plan or the result is wrong.
    """
    from coilcount.commands.kept_checks import read_latest

    build = read_build(path)
    return None if build is None else read_latest(path, build["sha256"], simulated)[2]
