"""`coilcount check --build`: the plan's expectations, the readings that a person takes, and the kept result."""

import argparse
import dataclasses
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from coilcount import __version__
from coilcount.errors import InputError
from coilcount.face.say import say, say_json, warn

# s.  Counting interval of the noise that is expected, as long as no board has said its own.
_USUAL_INTERVAL_S = 0.02


def add_build_arguments(parser: argparse.ArgumentParser) -> None:
    """The options that compare a build with its plan."""
    parser.add_argument(
        "--build", metavar="PLAN.toml",
        help="compare with this plan: asks for readings by meter and oscilloscope, keeps the result beside the plan",
    )  # fmt: skip
    parser.add_argument(
        "--answers", metavar="FILE.toml", help="with --build: the readings, or an earlier result; nothing is asked"
    )
    parser.add_argument("--bench", action="store_true", help="with --build: only the readings, without a board")
    parser.add_argument("--expect", action="store_true", help="with --build: print what is expected, and end")


class Build:
    """A plan, the readings of its build, and what is expected of it.

    Raises InputError if plan, answers or the latest result are wrong.
    """

    def __init__(self, args: argparse.Namespace) -> None:
        from coilcount.commands.kept_checks import read_latest
        from coilcount.commands.listening import read_build
        from coilcount.schema.build_check import Answers, read_answers
        from coilcount.schema.plan import plan_of

        self.path = args.build
        self._seconds = args.seconds
        kept = read_build(args.build)
        self._sha256 = kept["sha256"]
        self._plan = plan_of(kept["plan"], args.build)
        self._virtual = bool(args.virtual)
        last_path, self.last, _ = read_latest(args.build, self._sha256, self._virtual)
        if last_path is not None and self.last is None:
            warn(f"warning: {last_path} was made with another version of the plan and is not used")
        self.answers = read_answers(Path(args.answers)) if args.answers else Answers()
        self.asks = not (args.answers or args.json or args.expect) and sys.stdin.isatty() and sys.stdout.isatty()

    def expected(self, interval_s: float = _USUAL_INTERVAL_S) -> Any:
        """The BuildExpectations of this plan and oscillator.  interval_s: counting interval of the board."""
        from coilcount.plan.expected import expectations

        return expectations(self._plan, self.answers.oscillator, interval_s, max(self._seconds, 2 * interval_s))

    def numbers(self) -> dict[str, float]:
        """The readings that were taken, by the key of their question."""
        return {
            name: value
            for name, value in dataclasses.asdict(self.answers).items()
            if value is not None and not isinstance(value, str)
        }

    def usual_amplitude_v(self) -> float | None:
        """The amplitude that the board sent in the latest check in which nothing failed; None without one."""
        from coilcount.commands.kept_checks import usual_amplitude_v

        return usual_amplitude_v(self.path, self._sha256, self._virtual)

    def ask(self) -> None:
        """Ask for each reading; what a person does not give stays unknown."""
        from coilcount.check.build import range_text
        from coilcount.check.questions import QUESTIONS
        from coilcount.face.ask import NoMoreAnswers, ask_choice, ask_number
        from coilcount.schema.build_check import OPEN_OHM, OSCILLATORS, Answers
        from coilcount.schema.tables import read_table

        last = self.last.answers if self.last is not None else Answers()
        say(
            "Readings by hand, in the order of firmware/BUILD.md. Press Enter at each one that you did not take; "
            "Ctrl-D leaves out the rest."
        )
        try:
            word = ask_choice("Which oscillator did you build?", OSCILLATORS, last.oscillator)
            self.answers = dataclasses.replace(self.answers, oscillator=word)
            expected = self.expected()
            if expected.note:
                say(expected.note)
            for question in (question for question in QUESTIONS if question.key in expected.ranges):

                def check(value: float, key: str = question.key) -> None:
                    read_table(Answers, {key: value}, "")

                value = ask_number(
                    f"{question.how[0].upper()}{question.how[1:]} ({question.name})",
                    f"expected {range_text(expected.ranges[question.key], question.unit)}; by {question.tool}",
                    question.unit,
                    check,
                    getattr(last, question.key),
                    OPEN_OHM if question.unit == "ohm" else None,
                )
                self.answers = dataclasses.replace(self.answers, **{question.key: value})
        except NoMoreAnswers:
            pass
        say("")

    def print_expected(self, as_json: bool) -> None:
        """Print every expectation, for the person who is about to measure."""
        from coilcount.check.build import range_text
        from coilcount.check.questions import QUESTIONS

        expected = self.expected()
        frequency = expected.ranges["frequency_hz"]
        if as_json:
            ranges = {
                name: {"low": round(low, 6), "expected": round(value, 6), "high": round(high, 6)}
                for name, (low, value, high) in expected.ranges.items()
            }
            noise = {name: round(ppm, 6) for name, ppm in expected.noise_ppm.items()}
            say_json(
                {
                    "kind": "build expectations",
                    "basis": "computation",
                    "oscillator": self.answers.oscillator,
                    "ranges": ranges,
                    "noise_ppm": noise,
                    "drift_ppm_per_k": [round(ppm, 3) for ppm in expected.drift_ppm_per_k],
                    "note": expected.note,
                }
            )
            return
        say(
            f"Expected of a build of {self.path}, oscillator {self.answers.oscillator} (computed, not measured):",
            *([expected.note] if expected.note else []),
            "",
        )
        for question in (question for question in QUESTIONS if question.key in expected.ranges):
            say(
                f"{question.name:<11} {range_text(expected.ranges[question.key], question.unit)}",
                f"{'':<11} {question.tool}: {question.how}",
            )
        low, high = expected.drift_ppm_per_k
        say(
            "",
            "The board measures (coilcount check):",
            f"{'frequency':<11} {frequency.value / 1e3:.2f} kHz ({frequency.low / 1e3:.2f} to "
            f"{frequency.high / 1e3:.2f})",
            f"{'noise':<11} at most {expected.noise_ppm['typical']:.2f} ppm for one reading in "
            f"{self._seconds:g} s at rest; {expected.noise_ppm['careful']:.2f} ppm if carefully built",
            f"{'drift':<11} {low:.0f} to {high:.0f} ppm/K with {expected.dielectric}",
        )

    def keep(self, findings: list, evidence: Any, simulated: bool) -> Path:
        """Write the result beside the plan and return its path.  evidence: None without a board."""
        from coilcount.check.evidence import FAILED, NOT_CHECKED
        from coilcount.commands.kept_checks import save
        from coilcount.schema.build_check import BuildCheck, CheckRow
        from coilcount.text import printable

        hello = None if evidence is None else evidence.hello
        amplitude = next((f.figures.get("amplitude_v") for f in findings if f.name == "amplitude"), None)
        # A question without an answer says nothing about this build.
        said = [f for f in findings if not (f.verdict == NOT_CHECKED and "measured" in f.figures)]
        return save(
            self.path,
            BuildCheck(
                schema=1,
                plan=Path(self.path).name,
                plan_sha256=self._sha256,
                checked_utc=datetime.now(UTC).isoformat(timespec="seconds").replace("+00:00", "Z"),
                host_version=__version__,
                bench=evidence is None,
                simulated=simulated,
                board="" if hello is None else printable(f"{hello.board} {hello.uid}, firmware {hello.firmware}"),
                seconds=0.0 if evidence is None else round(evidence.seconds, 3),
                amplitude_v=amplitude,
                failed=sum(1 for finding in findings if finding.verdict == FAILED),
                answers=self.answers,
                check=tuple(
                    CheckRow(
                        name=finding.name,
                        verdict=finding.verdict,
                        text=printable(finding.text),
                        fault=finding.fault.id if finding.fault else "",
                    )
                    for finding in said
                ),
            ),
        )


def read_options(args: argparse.Namespace) -> Build | None:
    """The Build of --build; None without it.  Raises InputError if options do not go together."""
    if args.build is None:
        for name in ("answers", "bench", "expect"):
            if getattr(args, name):
                raise InputError(f"--{name} needs a plan", remedy="Add --build PLAN.toml")
        return None
    for name in ("lowest_hz", "highest_hz"):
        if getattr(args, name) is not None:
            option = f"--{name.replace('_', '-')}"
            raise InputError(f"{option} and --build are both given", remedy="Leave one out: the plan gives the range")
    return Build(args)
