"""`coilcount virtual`: a simulated board as a port that other programs can open, until Ctrl-C."""

import argparse
import sys
from typing import TYPE_CHECKING

from coilcount.commands.common_options import add_scene
from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.say import say, say_json

if TYPE_CHECKING:
    from coilcount.virtual.board import VirtualBoard

DEFAULT_SCENE = "demo"
_LOOK_S = 0.2  # s between two looks at the board's processes.  Chosen by hand

EXAMPLES = (
    ("coilcount virtual", "a serial port on this machine; its name is printed"),
    ("coilcount virtual --tcp 7000 --scene orchard-path", "a TCP port with another scene"),
    ("coilcount live --port socket://127.0.0.1:7000", "open it, in another terminal"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    way = parser.add_mutually_exclusive_group()
    way.add_argument("--pty", action="store_true", help="as a serial port on this machine (the default)")
    way.add_argument("--tcp", type=int, metavar="PORT", help="as a TCP port on 127.0.0.1; 0 takes a free one")
    add_scene(parser, DEFAULT_SCENE)
    parser.add_argument(
        "--pace", type=float, default=1.0, metavar="X", help="1 is real time, 10 ten times as fast (default 1)"
    )
    parser.add_argument("--json", action="store_true", help="print the port as one JSON object")


def make_board(
    scene: str = DEFAULT_SCENE, seed: int | None = None, pace: float = 1.0, seconds: float | None = None
) -> "VirtualBoard":
    """A virtual board, not yet started, over the physics of `scene` (a built-in name or a TOML file).

    seed: None for the scene's own; pace: times real time; seconds: how long the scene goes on, inf until stopped, None
    for its own duration.  Raises InputError for a pace or seed out of range.
    """
    from coilcount.deploy.firmware_files import firmware_folder
    from coilcount.virtual.board import VirtualBoard

    if not 0 <= pace < float("inf"):
        raise InputError(f"--pace is {pace:g}", remedy="Give 1 for real time, 10 for ten times as fast")
    feed = [sys.executable, "-m", "coilcount.simulate.feed", "--scene", scene, "--pace", repr(pace)]
    if seed is not None:
        if seed < 0:
            raise InputError(f"--seed is {seed}", remedy="Give 0 or more")
        feed += ["--seed", str(seed)]
    if seconds is not None:
        feed += ["--for", repr(seconds)]
    return VirtualBoard(firmware_folder(), feed)


def run(args: argparse.Namespace) -> int:
    """Serve the board until Ctrl-C (exit 0); raises the error that ends it earlier."""
    from coilcount.face.signals import interrupting
    from coilcount.simulate.load import load_scene

    load_scene(args.scene)  # a wrong scene is reported before a port is printed
    try:
        # A signal ends the board's processes and removes its folder, too.
        with interrupting(), make_board(args.scene, args.seed, args.pace, float("inf")) as board:
            if args.tcp is None:
                _print_port(board, board.port, args.json)
                while not board.wait(_LOOK_S):
                    pass
            else:
                from coilcount.virtual.tcp import Relay

                with Relay(board.port, args.tcp) as relay:
                    _print_port(board, relay.url, args.json)
                    while not board.ended:
                        relay.step(_LOOK_S)
            board.check()
    except KeyboardInterrupt:
        pass
    return EXIT_DONE


def _print_port(board: "VirtualBoard", port: str, as_json: bool) -> None:
    if as_json:
        say_json({"port": port, "interpreter": board.interpreter_name, "simulated": True})
        return
    say(
        port,
        f"A simulated board; its firmware runs in {board.interpreter_name}. Ctrl-C ends it.",
        f"Open it with `coilcount live --port {port}`, with any serial terminal (type ? there), or with pyserial.",
    )
