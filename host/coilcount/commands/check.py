"""`coilcount check`: tests a board, its crystal, its link and its coil (exit 1 if a check failed)."""

import argparse
import contextlib
import math
import sys
from collections.abc import Callable, Iterator
from typing import Any

from coilcount import __version__
from coilcount.commands.check_build import add_build_arguments, read_options
from coilcount.commands.common_options import add_source
from coilcount.errors import EXIT_DONE, EXIT_NO, DeviceError, InputError
from coilcount.face.say import say, say_json, warn
from coilcount.face.times import length

# All four chosen by hand.
SECONDS = 60.0  # s of listening
DRIFT_MINUTES = 10.0
_READ_S = 0.1  # s, the longest wait for bytes
_PLAIN_EVERY_S = 15.0  # s between two lines of progress if the output is no terminal
SCENE = "quiet-bench"
CLOCK_NOTE = (
    "The crystal is compared with this computer's clock. Kept by NTP, that clock is good to about 1 ppm over minutes; "
    "without NTP only to 10 to 50 ppm (common practice, no source)."
)

EXAMPLES = (
    ("coilcount check", "one minute, with the coil at rest and away from metal"),
    ("coilcount check --capacitor-nf 180 --drift-minutes", "also the inductance, and ten minutes of drift"),
    ("coilcount check --build plan.toml", "compare with the plan, with the readings of meter and oscilloscope"),
    ("coilcount check --virtual --for 10", "how it looks, without a board"),
)


def add_arguments(parser: argparse.ArgumentParser) -> None:
    add_source(parser)
    parser.add_argument(
        "--for", dest="seconds", type=float, default=SECONDS, metavar="SECONDS", help="how long to listen (%(default)g)"
    )
    parser.add_argument(
        "--drift-minutes", type=float, nargs="?", const=DRIFT_MINUTES, metavar="M",
        help=f"also measure the coil's drift over M minutes ({DRIFT_MINUTES:g} without M)",
    )  # fmt: skip
    add_build_arguments(parser)
    parser.add_argument("--capacitor-nf", type=float, metavar="C", help="the coil's capacitor: gives the inductance")
    parser.add_argument(
        "--capacitor-tolerance",
        type=float,
        default=5.0,
        metavar="PERCENT",
        help="of the capacitor (default %(default)g)",
    )
    parser.add_argument("--amplitude-v", type=float, metavar="V", help="the calibrated amplitude, to compare with")
    parser.add_argument("--lowest-hz", type=float, metavar="HZ", help="your coil's lowest frequency (default 20000)")
    parser.add_argument("--highest-hz", type=float, metavar="HZ", help="your coil's highest frequency (default 35000)")
    form = parser.add_mutually_exclusive_group()
    form.add_argument("--json", action="store_true", help="one JSON object for each check, and one for all")
    form.add_argument("--quiet", action="store_true", help="print only the checks that failed")


def run(args: argparse.Namespace) -> int:
    from coilcount.check.build import compare_build
    from coilcount.check.evidence import FAILED, NOT_CHECKED
    from coilcount.readings.hello import mismatches

    _check_numbers(args)
    build = read_options(args)
    if build is not None and args.expect:
        build.print_expected(args.json)
        return EXIT_DONE
    asked = _asked(args, build)
    if build is not None and build.asks:
        build.ask()
    evidence, simulated, findings, amplitude_share = None, False, [], None
    if not args.bench:
        evidence, simulated, findings, amplitude_share = _listen(args, asked)
        for text in mismatches(evidence.hello, __version__):
            warn(f"warning: {text}")
    if build is not None:
        expected = build.expected() if evidence is None else build.expected(evidence.hello.interval_ms / 1000)
        findings = compare_build(findings, evidence, expected, build.numbers(), amplitude_share)
    failed = sum(1 for finding in findings if finding.verdict == FAILED)
    if args.json:
        for finding in findings:
            say_json(_object(finding))
    else:
        for finding in findings:
            if finding.verdict == FAILED or not args.quiet:
                say(*_lines(finding))
    # Kept after it was shown: if the disk is full, the person has read the result.
    kept = None if build is None else build.keep(findings, evidence, simulated)
    if args.json:
        seconds = 0.0 if evidence is None else round(evidence.seconds, 3)
        summary = {"kind": "check summary", "ok": not failed, "failed": failed, "seconds": seconds}
        if kept is not None:
            summary["kept"] = str(kept)
        say_json({**summary, "simulated": simulated, "host_clock": CLOCK_NOTE})
    elif not args.quiet:
        if evidence is not None:
            say(CLOCK_NOTE)
        if kept is not None:
            say(f"kept in {kept}; record --build and live --build carry it")
        if all(finding.verdict == NOT_CHECKED for finding in findings):
            result = "nothing was checked: no reading was given"
        else:
            result = f"{failed} failed" if failed else "nothing failed"
        say(result + ("; the coil is simulated" if simulated else ""))
    return EXIT_NO if failed else EXIT_DONE


def _asked(args: argparse.Namespace, build: Any) -> Any:
    """What the operator knows about the coil.  Raises InputError if the range of frequencies is empty."""
    from coilcount.check.evidence import Asked

    given = {"lowest_hz": args.lowest_hz, "highest_hz": args.highest_hz}
    amplitude_v = args.amplitude_v
    if amplitude_v is None and build is not None:
        amplitude_v = build.usual_amplitude_v()
    asked = Asked(
        args.capacitor_nf,
        args.capacitor_tolerance,
        amplitude_v,
        drift_minutes=args.drift_minutes,
        **{name: value for name, value in given.items() if value is not None},
    )
    if asked.lowest_hz >= asked.highest_hz:
        raise InputError(f"--lowest-hz {asked.lowest_hz:g} is not below --highest-hz {asked.highest_hz:g}")
    return asked


def _listen(args: argparse.Namespace, asked: Any) -> tuple:
    """(Evidence, whether the coil is simulated, findings, amplitude as a share of the calibrated one or None)."""
    from coilcount.check.verdicts import evaluate

    evidence, simulated = _gather(args)
    findings = evaluate(evidence, asked)
    amplitude_v = next((found.figures.get("amplitude_v") for found in findings if found.name == "amplitude"), None)
    share = None if amplitude_v is None or asked.amplitude_v is None else amplitude_v / asked.amplitude_v
    return evidence, simulated, findings, share


def _check_numbers(args: argparse.Namespace) -> None:
    from coilcount.commands.listening import check_source

    check_source(args)
    for name in ("capacitor_nf", "capacitor_tolerance", "amplitude_v", "lowest_hz", "highest_hz", "drift_minutes"):
        value = getattr(args, name)
        if value is not None and not (value > 0 and math.isfinite(value)):
            raise InputError(f"--{name.replace('_', '-')} is {value:g}", remedy="Give a number above 0")
    args.scene = args.scene or (SCENE if args.virtual else None)
    args.seconds = max(args.seconds, 60 * (args.drift_minutes or 0))


def _gather(args: argparse.Namespace) -> tuple:
    """(Evidence, whether the coil is simulated), after listening for args.seconds."""
    from coilcount.board.configure import Conversation
    from coilcount.chain import Chain
    from coilcount.check.evidence import Evidence
    from coilcount.check.verdicts import SELFTEST
    from coilcount.commands.listening import open_source
    from coilcount.face.signals import interrupting
    from coilcount.model import Line, Point, Summary
    from coilcount.readings.decode import Decoder
    from coilcount.settings import defaults

    chain, decoder = Chain(defaults(), points=True), Decoder()
    heard, readings = [], []

    def hear(entry) -> None:
        if isinstance(entry, Line):
            record = decoder.line(entry.data)
            if record is not None:
                heard.append((entry.host_s, record))
        for output in chain.feed(entry):
            if isinstance(output, Point):
                readings.append((output.time_s, output.frequency_hz))

    with interrupting(), open_source(args, True) as source, _progress(args) as progress:
        link = source.link
        selftest = None
        begin = source.clock()
        if link.hello and not link.newer_protocol:
            with contextlib.suppress(DeviceError):
                selftest = Conversation(link, __version__, hear).ask(SELFTEST)
        while (waited := source.clock() - begin) < args.seconds and not source.ended():
            source.check()
            for entry in link.read(_READ_S):
                hear(entry)
            progress(min(waited, args.seconds), chain.noise.recent_ppm)
        for entry in link.close():
            hear(entry)
        hello = chain.board or link.hello
        if hello is None:
            raise DeviceError("the board has not sent its hello", link.device, "Reset it and try again")
    outputs = chain.finish()
    readings += [(output.time_s, output.frequency_hz) for output in outputs if isinstance(output, Point)]
    summary = next(output for output in outputs if isinstance(output, Summary))
    evidence = Evidence(
        hello=hello,
        seconds=waited,
        heard=heard,
        readings=readings,
        frequency_hz=summary.baseline_hz,
        noise_ppm=summary.noise_ppm,
        intervals=summary.records,
        lost=summary.lost,
        damaged=summary.damaged,
        dropped=summary.dropped,
        selftest=selftest,
    )
    return evidence, source.simulated


def _lines(finding) -> Iterator[str]:
    yield f"{finding.verdict:<12} {finding.name:<11} {finding.text}"
    if finding.fault:
        yield f"{'':<12} likely      {finding.fault.cause}"
        yield f"{'':<12} remedy      {finding.fault.remedy}"


def _object(finding) -> dict:
    fault = finding.fault
    return {
        "kind": "check",
        "name": finding.name,
        "verdict": finding.verdict,
        "text": finding.text,
        "fault": fault.id if fault else None,
        "cause": fault.cause if fault else None,
        "remedy": fault.remedy if fault else None,
        **{key: round(value, 6) if isinstance(value, float) else value for key, value in finding.figures.items()},
    }


@contextlib.contextmanager
def _progress(args: argparse.Namespace) -> Iterator[Callable[[float, float | None], None]]:
    """Shows the time that is left: a bar on a terminal, otherwise a plain line every 15 s."""
    if args.json or args.quiet:
        yield lambda waited_s, noise_ppm: None
        return
    if not sys.stdout.isatty():
        say(f"listening for {length(args.seconds)}: leave the coil at rest, away from metal")
        next_s = _PLAIN_EVERY_S

        def line(waited_s: float, noise_ppm: float | None) -> None:
            nonlocal next_s
            if waited_s >= next_s:
                next_s += _PLAIN_EVERY_S
                say(f"{length(waited_s)} of {length(args.seconds)}")

        yield line
        return
    from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("{task.description}"), BarColumn(), TimeRemainingColumn())
    with Progress(*columns, transient=True) as bar:
        task = bar.add_task("leave the coil at rest", total=args.seconds)

        def draw(waited_s: float, noise_ppm: float | None) -> None:
            noise = "" if noise_ppm is None else f", noise {noise_ppm:.3f} ppm"
            bar.update(task, completed=waited_s, description=f"leave the coil at rest, away from metal{noise}")

        yield draw
