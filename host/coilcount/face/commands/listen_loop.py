"""The run of `live` and `record`: joins link, capture, chain and views, and closes everything in order."""

import argparse
import contextlib
import os
import signal
import sys
from pathlib import Path

from coilcount.errors import EXIT_DONE, InputError
from coilcount.face.commands.listening import Source, check_source, make_header, open_source

STEP_S = 0.1


def listen(args: argparse.Namespace, screen: bool, scene_repeats: bool) -> int:
    """Run until the time is over, the scene ends, `q` or Ctrl-C; returns the exit code."""
    from coilcount.settings import load_settings

    check_source(args)
    settings = load_settings(args.settings)
    file = args.file
    if file is not None and Path(file).exists():
        raise InputError("the file exists", file, "Nothing is ever overwritten: give another name")
    # Until something is safe a signal interrupts (exit 130), but in order, so that no process stays behind.
    interrupt = _signals(lambda *_: signal.default_int_handler(signal.SIGINT, None))
    with interrupt, open_source(args, scene_repeats) as source:
        return _run(args, source, settings, screen and _draws())


def _run(args: argparse.Namespace, source: Source, settings, screen: bool) -> int:
    from coilcount.chain import Chain
    from coilcount.face.commands.kept import Kept
    from coilcount.face.keys import Keyboard
    from coilcount.face.plain import summary_line
    from coilcount.face.readout import Readout
    from coilcount.face.session import Session

    file = args.file
    screen = screen and not (args.json or args.quiet)
    readout = Readout()
    facts = readout.facts
    facts.title, facts.simulated, facts.file = source.title, source.simulated, file or ""
    facts.noise_learned = bool(settings.tracker["noise_ppm_rthz"])
    warnings: list[str] = []

    def warn(text: str) -> None:
        warnings.append(text)
        facts.warning = text
        if not screen:
            print(f"coilcount: warning: {text}", file=sys.stderr, flush=True)

    kept = Kept()
    header = make_header(args, source, settings)
    with contextlib.ExitStack() as stack:
        keyboard = stack.enter_context(Keyboard())
        # The capture first: what a view does wrong costs no data.
        writer = _writer(file, header, settings, warn)
        views = _views(args, settings, readout, stack, screen)
        session = Session(
            link=source.link,
            chain=Chain(settings, points=True),
            readout=readout,
            views=views,
            clock=source.clock,
            header=header,
            writer=writer,
            keep=kept.append if screen else None,
            keys=keyboard.pressed,
            ended=source.ended,
            for_s=args.seconds,
        )
        stack.enter_context(_signals(lambda *_: session.stop()))
        try:
            while session.step(STEP_S):
                source.check()
        finally:
            summary = session.close()
    if screen:
        from coilcount.face.tables import print_table

        # The screen is gone with its alternate buffer; what it told stays.
        print_table(kept.outputs, sys.stdout, kept.left_out)
        for text in warnings:
            print(f"coilcount: warning: {text}", file=sys.stderr)
    if summary and not (args.json or args.quiet):
        print(f"summary: {summary_line(summary)}")
        if file:
            print(f"recorded: {file}")
    return EXIT_DONE


def _draws() -> bool:
    return sys.stdout.isatty() and os.environ.get("TERM") not in ("dumb", "unknown")


def _writer(file: str | None, header, settings, warn):
    if file is None:
        return None
    from coilcount.capture.writer import CaptureWriter

    capture = settings.capture
    return CaptureWriter(
        file,
        header,
        rotate_bytes=round(capture["rotate_mb"] * 1e6),
        rotate_s=60 * capture["rotate_minutes"],
        min_free_bytes=round(capture["warn_free_mb"] * 1e6),
        on_warning=warn,
    )


def _views(args: argparse.Namespace, settings, readout, stack: contextlib.ExitStack, screen: bool) -> list:
    from coilcount.face.plain import JsonLines, PlainLines
    from coilcount.face.readout import noise_words

    if screen:
        from rich.console import Console

        from coilcount.face.live import Screen
        from coilcount.face.sound import Bell

        views = [stack.enter_context(Screen(readout, Console(highlight=False), settings.live["redraw_hz"]))]
        return [*views, Bell(sys.stdout)] if settings.live["sound"] else views
    if args.json:
        return [JsonLines(sys.stdout, args.file or ""), PlainLines(readout, sys.stderr, quiet=True)]
    if args.quiet:
        return [PlainLines(readout, sys.stderr, quiet=True)]
    simulated = "SIMULATED, " if readout.facts.simulated else ""
    print(f"live: {simulated}{readout.facts.title}")
    print(f"live: {noise_words(readout.facts.noise_learned)}", flush=True)
    return [PlainLines(readout, sys.stdout)]


@contextlib.contextmanager
def _signals(handler):
    """Ctrl-C, an ordinary kill and a closed terminal end the run in order."""
    numbers = [getattr(signal, name) for name in ("SIGINT", "SIGTERM", "SIGHUP") if hasattr(signal, name)]
    # What is ignored stays so: under nohup a recording goes on when its terminal closes.
    numbers = [number for number in numbers if signal.getsignal(number) != signal.SIG_IGN]
    before = {number: signal.signal(number, handler) for number in numbers}
    try:
        yield
    finally:
        for number, old in before.items():
            signal.signal(number, old)
