"""One line for every event, plain or JSON, for pipes, files and logs; flushed line by line."""

from typing import TextIO

from coilcount.face.json_out import as_line
from coilcount.face.say import say
from coilcount.face.score import beside_a_step, score_words
from coilcount.face.times import instant, length
from coilcount.live import readout as r
from coilcount.live.rate_words import asked_words, dip_words, rarity_words, threshold_words
from coilcount.model import Alert, Hold, MarkMade, Notice, Output, Point, Silence, Summary, Thresholds

STATUS_EVERY_S = 10.0
_TIME_COLUMNS = 9  # of the instant in front of a line: room for nine hours
NOT_KNOWN = Thresholds(0.0, 0.0)


class PlainLines:
    """A view of the session that prints.  quiet: only warnings."""

    part = "the output"

    def __init__(self, readout: r.Readout, out: TextIO, quiet: bool = False) -> None:
        self._readout = readout
        self._out = out
        self._quiet = quiet
        self._problem = ""
        self._first = True
        self._next_status_s = STATUS_EVERY_S

    def show(self, output: Output) -> None:
        """Print an event; a point prints nothing, but for the first one."""
        if self._first and isinstance(output, Point):
            self._first = False
            self._print(timed_line(output.time_s, f"first frequency {r.frequency(output.frequency_hz)}"))
        event = event_line(output, self._readout.chain.thresholds)
        if event is not None:
            self._print(timed_line(*event), always=isinstance(output, Notice) and output.level == "warning")

    def tick(self, host_s: float) -> None:
        """Print a change of the link at once, and a status line every ten seconds."""
        facts = self._readout.facts
        if facts.problem and not self._problem:
            self._print(f"link: {facts.problem}; waiting for the board", always=True)
        elif self._problem and not facts.problem:
            self._print("link: the board is back", always=True)
        self._problem = facts.problem
        if host_s >= self._next_status_s:
            self._next_status_s += STATUS_EVERY_S
            self._print(status_line(self._readout))

    def _print(self, text: str, always: bool = False) -> None:
        if self._quiet and not always:
            return
        say(text, out=self._out)


class JsonLines:
    """A view of the session that prints the objects of `replay --json`, each when it is final."""

    part = "the output"

    def __init__(self, out: TextIO, file: str) -> None:
        self._out = out
        self._file = file

    def show(self, output: Output) -> None:
        line = as_line(output, self._file)
        if line is not None:
            self._out.write(line + "\n")
            self._out.flush()

    def tick(self, host_s: float) -> None:
        """Nothing happens between the objects."""


def timed_line(time_s: float | None, text: str) -> str:
    """A line that begins with its instant; None leaves the place empty."""
    return f"{'' if time_s is None else instant(time_s):>{_TIME_COLUMNS}} {text}"


def event_line(output: Output, thresholds: Thresholds = NOT_KNOWN) -> tuple[float | None, str] | None:
    """(time_s, text) of an event, None for an output that is none.

    thresholds: those in force, sigma.
    """
    if isinstance(output, Alert):
        return _alert_line(output, thresholds.of(output.sign))
    if isinstance(output, Hold):
        if output.stage == "start":
            return output.start_s, "baseline held: something rests under the coil"
        return output.end_s, "baseline tracks again"
    if isinstance(output, Silence):
        bridged = ", measured by the host's clock" if output.bridged else ""
        return output.start_s, f"gap of {length(output.end_s - output.start_s)}: {output.reason}{bridged}"
    if isinstance(output, MarkMade):
        return output.time_s, f"mark {output.text}".rstrip()
    if isinstance(output, Notice):
        return output.time_s, f"{output.level}: {output.text}"
    return None


def _alert_line(alert: Alert, threshold: float) -> tuple[float | None, str] | None:
    name = f"alert {alert.id}"
    if alert.stage == "raised":
        return alert.raised_s, f"{name} raised, settling"
    confidence = "" if alert.confidence is None else f", sign confidence {alert.confidence:.0%}"
    seen = f", {r.seen_words(alert)}" if alert.seen > 1 else ""
    step = ", beside a sudden change" if beside_a_step(alert) else ""
    what = (
        f"{r.GLYPH[alert.sign]} {r.WENT[alert.sign]} {alert.peak_shift_ppm:+.2f} ppm ({alert.peak_shift_hz:+.3f} Hz), "
        f"{r.response_words(alert)}{confidence}{seen}{step}"
    )
    if alert.stage == "settled":
        return alert.settled_s, f"{name} settled: {what}"
    if alert.stage == "final":
        until = "still open" if alert.released_s is None else f"until {instant(alert.released_s)}"
        score = score_words(alert.score, threshold) if threshold else f"{alert.score:.1f} sigma"
        rarity = f", {words}" if (words := rarity_words(alert)) else ""
        return alert.peak_s, f"{name} final: {what}, score {score}{rarity}, {until}"
    return None


def status_line(readout: r.Readout) -> str:
    """The state of link and coil in one line."""
    facts, chain = readout.facts, readout.chain
    parts = [
        f"status {instant(facts.host_s)}",
        f"{facts.rate_hz:.1f} records/s",
        f"lost {chain.lost}",
        f"damaged {chain.damaged}",
        f"dropped {chain.dropped}",
        f"mended {chain.mended}",
        f"repaired {chain.repaired}",
        *(f"{word} {count}" for word, count in chain.faults.items()),
        readout.coil(),
        f"drift {r.optional(readout.drift_ppm_per_min(), '+.2f', 'ppm/min')}",
        f"noise {r.optional(chain.noise_ppm, '.3f', 'ppm')}",
        r.optional(chain.temperature_c, ".1f", "°C"),
        asked_words(chain.false_alarms_per_minute),
        *([threshold_words(chain.thresholds)] if chain.thresholds.least else []),
        *filter(None, [dip_words(chain.broad_dips)]),
        r.noise_words(facts.noise_profile).partition(":")[0],
        *([f"disk {facts.disk_late_s:.0f} s late"] if facts.disk_late_s > r.DISK_LATE_S else []),
        *filter(None, [r.rougher_words(chain.roughness), readout.hold_words()]),
    ]
    return ", ".join(parts)


def summary_line(summary: Summary) -> str:
    """A whole run in one line."""
    noise = r.optional(summary.noise_ppm, ".3f", "ppm")
    return (
        f"{length(summary.duration_s)}, {summary.records} records, lost {summary.lost}, damaged {summary.damaged}, "
        f"dropped {summary.dropped}, mended {summary.mended}, repaired {summary.repaired}, "
        f"baseline {r.frequency(summary.baseline_hz)}, noise {noise}, "
        f"{summary.alerts} alert{'' if summary.alerts == 1 else 's'}{_dips(summary)}, "
        f"{asked_words(summary.false_alarms_per_minute)}"
    )


def _dips(summary: Summary) -> str:
    words = dip_words(summary.broad_dips)
    return f", {words}" if words else ""
