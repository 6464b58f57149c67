"""The result of `coilcount noise` as text that fits 80 columns; takes the object that --json prints."""

import textwrap
from typing import Any, TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole
from coilcount.face.times import length

_COLUMNS = 80
_TAIL = {"z": "the score", "z squared": "the square of the score"}


def print_noise(noise: dict[str, Any], out: TextIO) -> None:
    """Print the table of deviations, drift, the noise of one reading, and the threshold."""
    console = SafeConsole(out, _COLUMNS)
    for line in _head(noise):
        _say(console, line)
    console.print(_table(noise))
    for line in [*_below(noise), *_threshold(noise)]:
        _say(console, line)


def _say(console: SafeConsole, text: str) -> None:
    console.print(textwrap.fill(text, _COLUMNS, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False))


def _head(noise: dict[str, Any]) -> list[str]:
    tau0_s = noise["tau0_s"]
    parts = [
        f"{noise['file']}{' (simulated)' if noise['simulated'] else ''}: {noise['readings']} readings "
        f"{1000 * tau0_s:.3f} ms apart ({1 / tau0_s:.2f} a second) over {length(noise['duration_s'])}, "
        f"{noise['frequency_hz']:.2f} Hz"
    ]
    if noise["segments"] > 1 or noise["lost"] or noise["miscounts"]:
        parts.append(
            f"{noise['segments']} segments, {noise['lost']} readings lost, {noise['miscounts']} miscounts; no "
            "average runs across a gap"
        )
    parts.append(
        "How much the mean frequency changes from one averaging time tau to the next (overlapping Allan deviation, in "
        "ppm with its 95 % interval and in Hz; modified Allan deviation). m: readings in tau. noise: the type that "
        "dominates at this tau."
    )
    return parts


def _table(noise: dict[str, Any]) -> Table:
    table = Table(box=None, padding=(0, 1, 0, 0), pad_edge=False, header_style="bold")
    for name in ("tau s", "m", "ppm", "95 % interval", "Hz", "modified"):
        table.add_column(name, justify="right", no_wrap=True)
    table.add_column("noise", no_wrap=True)
    for row in noise["stability"]:
        oadev, mdev = row["oadev"], row["mdev"]
        name = row["noise"] if row["noise_measured"] else f"({row['noise']})"
        table.add_row(
            f"{row['tau_s']:.3g}",
            str(row["m"]),
            _ppm(oadev["value"]),
            f"{_ppm(oadev['low'])} to {_ppm(oadev['high'])}",
            f"{oadev['value'] * noise['frequency_hz']:.2g}",
            "–" if mdev is None else _ppm(mdev["value"]),
            name,
        )
    return table


def _below(noise: dict[str, Any]) -> list[str]:
    lines = ["Types in brackets are those of a shorter tau: fewer than 30 averages are left."]
    drift = noise["drift"]
    if drift["ppm_per_minute"] is not None:
        lines.append(f"drift {_slope(drift['ppm_per_minute'])} ppm a minute (± standard error)")
    if drift["ppm_per_kelvin"] is not None:
        lines.append(
            f"  {_slope(drift['ppm_per_kelvin'])} ppm a kelvin, fitted together with the drift (the temperature "
            f"changed by {drift['temperature_range_k']:.1f} K)"
        )
    elif drift["temperature_range_k"] is not None:
        lines.append(f"  no figure per kelvin: the temperature changed by only {drift['temperature_range_k']:.2f} K")
    if noise["noise_ppm"] is not None:
        lines.append(f"noise of one reading {noise['noise_ppm']:.3g} ppm, {noise['noise_hz']:.2g} Hz")
    if noise["noise_class"] is not None:
        ratio = noise["noise_class"]["ratio"]
        lines.append(
            f'nearest noise class for a plan or a scene: "{noise["noise_class"]["name"]}". The deviation at tau 0.1 to '
            f"1.5 s is {ratio:.2g} times that of the class. If the coil was swept, it includes soil and hand."
        )
    return lines


def _threshold(noise: dict[str, Any]) -> list[str]:
    statistic, found = noise["statistic"], noise["threshold"]
    count, minutes = len(statistic["peaks"]), statistic["minutes"]
    if found is None:
        return [
            f"no threshold: {count} peaks above {statistic['peaks_from']:g} sigma in {minutes:.1f} minutes; "
            f"{statistic['fewest_peaks']} are needed. Record longer."
        ]
    wanted = found["false_alarms_per_minute"]
    here, low, high = found["alerts_here_per_minute"]
    bands = len(noise["learned"]["noise_ppm_rthz"])
    lines = [
        f"noise profile of this ground: measured in {bands} bands of a third of an octave"
        if bands
        else "no noise profile: at least a minute without a break is needed",
        f"threshold {found['threshold']:.2f} sigma for {_alarms(wanted)} (95 % interval of that rate "
        f"{found['rate_low']:.2g} to {found['rate_high']:.2g})",
        f"  computed from the highest {found['tail_peaks']} of {count} peaks in {minutes:.1f} minutes; their rate "
        f"falls exponentially with {_TAIL[found['tail']]}",
        f"  this recording itself has {_count(found['alerts_here'], 'alert')} at this threshold: {here:.2g} a minute "
        f"(95 % interval {low:.2g} to {high:.2g})",
    ]
    promised = found["promised_per_minute"]
    if promised is None or promised > wanted:
        can = "no rate yet" if promised is None else f"only rates of at least {promised:.2g} a minute"
        lines.append(
            f"  a recording of this length gives {can} within a factor of 3; for {wanted:g} a minute sweep for "
            f"{_minutes(found['minutes_needed'])}"
        )
    return lines


def _alarms(rate: float) -> str:
    return f"{rate:g} false alarm{'' if rate == 1 else 's'} a minute"


def _count(number: int, word: str) -> str:
    return f"{number} {word}{'' if number == 1 else 's'}"


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} minutes" if minutes >= 10 else f"{minutes:.1f} minutes"


def _slope(slope: dict[str, float]) -> str:
    return f"{slope['value']:+.2g} ± {slope['standard_error']:.2g}"


def _ppm(fraction: float) -> str:
    ppm = 1e6 * fraction
    return f"{ppm:.3f}" if ppm < 10 else f"{ppm:.3g}"
