"""What `coilcount noise` found, as text that fits 80 columns; takes the object that --json prints."""

import textwrap
from typing import Any, TextIO

from rich.table import Table

from coilcount.face.console import SafeConsole

_COLUMNS = 80


def print_noise(noise: dict[str, Any], out: TextIO) -> None:
    """The table of deviations, drift, the noise of one reading, and the threshold."""
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
        f"{1000 * tau0_s:.3f} ms apart ({1 / tau0_s:.2f} a second) over {noise['duration_s'] / 60:.1f} minutes, "
        f"{noise['frequency_hz']:.2f} Hz"
    ]
    if noise["segments"] > 1 or noise["lost"] or noise["miscounts"]:
        parts.append(
            f"{noise['segments']} segments, {noise['lost']} readings lost, {noise['miscounts']} miscounts; nothing is "
            "taken across a gap"
        )
    parts.append(
        "Deviation of the mean frequency over tau (m readings, tau = m / rate), overlapping Allan, with its 95 % "
        "interval; modified Allan; the noise that dominates there:"
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
    lines = ["In brackets: taken over from a shorter tau, fewer than 30 averages are left."]
    drift = noise["drift"]
    if drift["ppm_per_minute"] is not None:
        lines.append(f"drift {_slope(drift['ppm_per_minute'])} ppm a minute")
    if drift["ppm_per_kelvin"] is not None:
        lines.append(
            f"  {_slope(drift['ppm_per_kelvin'])} ppm a kelvin, the time beside it (it moved by "
            f"{drift['temperature_range_k']:.1f} K)"
        )
    elif drift["temperature_range_k"] is not None:
        lines.append(f"  none told by the kelvin: the temperature moved by {drift['temperature_range_k']:.2f} K only")
    if noise["noise_ppm"] is not None:
        lines.append(f"noise of one reading {noise['noise_ppm']:.3g} ppm, {noise['noise_hz']:.2g} Hz")
    if noise["noise_class"] is not None:
        ratio = noise["noise_class"]["ratio"]
        lines.append(
            f'nearest noise class for a plan or a scene: "{noise["noise_class"]["name"]}" ({ratio:.2g} times it, '
            "0.1 to 1.5 s; ground and hand are in it where the coil was swept)"
        )
    return lines


def _threshold(noise: dict[str, Any]) -> list[str]:
    statistic, found = noise["statistic"], noise["threshold"]
    count, minutes = len(statistic["peaks"]), statistic["minutes"]
    if found is None:
        return [
            f"no threshold: {count} peaks beyond {statistic['peaks_from']:g} in {minutes:.1f} minutes, and "
            f"{statistic['fewest_peaks']} are needed; record longer"
        ]
    wanted = found["false_alarms_per_minute"]
    here, low, high = found["alerts_here_per_minute"]
    bands = len(noise["learned"]["noise_ppm_rthz"])
    lines = [
        f"noise of this ground learned in {bands} bands of a third of an octave"
        if bands
        else "too short to learn the noise of this ground: a minute and more without a break is needed",
        f"threshold {found['threshold']:.2f} for {_alarms(wanted)} (95 % interval "
        f"{found['rate_low']:.2g} to {found['rate_high']:.2g}), from {found['tail_peaks']} of {count} peaks in "
        f"{minutes:.1f} minutes, tail exponential in {found['tail']}",
        f"  with it this recording has {found['alerts_here']} of its own, {here:.2g} a minute ({low:.2g} to "
        f"{high:.2g})",
    ]
    promised = found["promised_per_minute"]
    if promised is None or promised > wanted:
        can = "nothing yet" if promised is None else f"{promised:.2g} a minute and more"
        lines.append(
            f"  so short a recording promises {can} within a factor of 3; for {wanted:g} a minute sweep "
            f"{_minutes(found['minutes_needed'])}"
        )
    return lines


def _alarms(rate: float) -> str:
    return f"{rate:g} false alarm{'' if rate == 1 else 's'} a minute"


def _minutes(minutes: float) -> str:
    return f"{minutes:.0f} minutes" if minutes >= 10 else f"{minutes:.1f} minutes"


def _slope(slope: dict[str, float]) -> str:
    return f"{slope['value']:+.2g} ± {slope['standard_error']:.2g}"


def _ppm(fraction: float) -> str:
    ppm = 1e6 * fraction
    return f"{ppm:.3f}" if ppm < 10 else f"{ppm:.3g}"
