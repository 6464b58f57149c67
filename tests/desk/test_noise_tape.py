"""The bounded memory of `noise`.

A run from the tape equals a run of the chain.  Sums over pieces equal sums over the whole.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from coilcount.capture.reader import read_capture
from coilcount.chain import Chain
from coilcount.desk import confidence, exceedance, quiet, spectrum, stability
from coilcount.desk.tape import Tape
from coilcount.model import Alert, Gap, Header, Imported, Operator, Point
from coilcount.settings import defaults
from desk_recordings import learned_from
from scipy.signal import welch

CAPTURES = Path(__file__).parents[2] / "captures"
NOISE = tuple(0.3 * 0.85**i for i in range(25))


def imported():
    hz = 25_000 * (1 + 2e-6 * np.random.default_rng(7).normal(size=1500))
    rows = [
        Imported(0.05 * i, float(frequency_hz)) for i, frequency_hz in enumerate(hz) if i % 400 and not 900 < i < 1050
    ]
    return [Header("import", "", interval_s=0.05), *rows]


def frozen():
    """A capture that lost records, with keys and an unplugged board added between its readings."""
    entries = list(read_capture(CAPTURES / "warm-up-unplug.ccap.gz"))
    for share, what in ((0.2, "freeze"), (0.3, "freeze"), (0.5, "thaw"), (0.7, "threshold")):
        position = int(share * len(entries))
        entries.insert(position, Operator(entries[position].host_s, what, 9.0 if what == "threshold" else None))
    position = int(0.8 * len(entries))
    entries.insert(position, Gap(entries[position].host_s, entries[position - 1].host_s, "unplugged"))
    return entries


def learned():
    """A recording whose tracker begins with what an earlier session learned."""
    header, *rest = imported()
    return [replace(header, learned=learned_from([header, *rest])), *rest]


RECORDINGS = {
    "mineral-soil": lambda: list(read_capture(CAPTURES / "mineral-soil.ccap.gz")),
    "imported": imported,
    "frozen": frozen,
    "begun with what was learned": learned,
}


def by_the_chain(recording, settings):
    """(peaks, number of readings that had a statistic) of the chain without a tape."""
    chain = Chain(settings, points=True, follow_operator=False)
    outputs = [output for entry in recording for output in chain.feed(entry)] + chain.finish()
    finals = [output for output in outputs if type(output) is Alert and output.stage == "final"]
    ready = sum(type(output) is Point and output.ready for output in outputs)
    return [(alert.peak_s, alert.score * (alert.sign or 1), alert.peak_shift_hz) for alert in finals], ready


@pytest.mark.parametrize("name", RECORDINGS)
def test_a_run_from_the_tape_equals_a_run_of_the_chain(name):
    recording = RECORDINGS[name]()
    least = quiet._with(defaults(), threshold=2.5, scale_floor_ppm=0.001)
    first = quiet._First(least)
    for entry in recording:
        first.feed(entry)
    first.finish()
    peaks = [(peak.time_s, peak.z, peak.shift_hz) for peak in first.peaks]
    assert (peaks, first.watch.ready) == by_the_chain(recording, least)
    for other in ({"scale_floor_ppm": 0.2}, {"noise_ppm_rthz": NOISE}, {"threshold": 5.0, "hold": False}):
        settings = quiet._with(least, **other)
        peaks, ready = first.again(settings)
        assert ([(peak.time_s, peak.z, peak.shift_hz) for peak in peaks], ready) == by_the_chain(recording, settings)
        threshold = settings.tracker["threshold"]
        assert quiet.alerts_at(lambda: recording, settings, threshold, {}) == len(peaks)


@pytest.mark.parametrize("name", ["quiet-bench", "mineral-soil", "orchard-path", "warm-up-unplug"])
def test_both_runs_find_the_same_passes_in_a_recording(name):
    """The first run has the lowest scale floor.  `examine` makes the second run only if the first found something."""
    recording = list(read_capture(CAPTURES / f"{name}.ccap.gz"))
    found = quiet.examine(lambda: recording, defaults(), name)
    floor = {"threshold": 2.5, "scale_floor_ppm": found.statistic.learned["scale_floor_ppm"]}
    peaks, ready = by_the_chain(recording, quiet._with(defaults(), **floor))
    minutes = ready * found.phases.tau0_s / 60
    assert list(found.statistic.strange) == exceedance.strange([quiet.Peak(*peak) for peak in peaks], minutes)


def test_the_tape_returns_the_rows_that_were_stored():
    rng = np.random.default_rng(1)
    rows = [tuple(int(number) for number in rng.integers(-(1 << 62), 1 << 62, 7)) for _ in range(20_000)]
    tape = Tape()
    for row in rows:
        tape.add(*row)
    assert list(tape.rows()) == list(tape.rows()) == rows


# ---------------------------------------------------------------- sums in pieces


def some_phases(seed=3):
    rng = np.random.default_rng(seed)
    long = stability.phase(rng.normal(size=3000) + np.cumsum(0.1 * rng.normal(size=3000)), 0.5)
    long[rng.integers(0, 500, 40)] = np.nan
    return [long, stability.phase(rng.normal(size=211), 0.5), stability.phase(rng.normal(size=7), 0.5)]


def direct(kind, x, m):
    """The differences of one segment by SP 1065, all at once."""
    if kind == "mdev":
        if len(x) < 3 * m:
            return x[:0]
        x = np.convolve(x, np.ones(m) / m, "valid")
    if len(x) <= (3 if kind == "hdev" else 2) * m:
        return x[:0]
    if kind == "hdev":
        return x[3 * m :] - 3 * x[2 * m : -m] + 3 * x[m : -2 * m] - x[: -3 * m]
    second = x[2 * m :] - 2 * x[m:-m] + x[: -2 * m]
    return second[::m] if kind == "adev" else second


@pytest.mark.parametrize("block", [7, 100, 1 << 16])
@pytest.mark.parametrize("m", [1, 3, 64, 700])
@pytest.mark.parametrize("kind", ["adev", "oadev", "mdev", "hdev"])
def test_deviations_from_pieces_equal_those_of_the_whole(monkeypatch, kind, m, block):
    monkeypatch.setattr(stability, "BLOCK", block)
    parts = [direct(kind, x, m) for x in some_phases()]
    found = getattr(stability, kind)(some_phases(), 0.5, m)
    known = [part[~np.isnan(part)] for part in parts]
    assert found.counts == tuple(len(part) for part in known)
    divisor = (6 if kind == "hdev" else 2) * (0.5 * m) ** 2
    # The order of the sums differs, so only rounding may differ.
    assert found.variance == pytest.approx(np.mean(np.concatenate(known) ** 2) / divisor, rel=1e-9)


@pytest.mark.parametrize("block", [2, 7, 100])
def test_the_noise_type_and_its_degrees_of_freedom_do_not_depend_on_the_pieces(monkeypatch, block):
    segments = some_phases()
    parts = [confidence._Averages(x) for x in segments]
    r = [confidence._lag_1(parts, differences) for differences in (False, True)]
    kinds = [confidence.noise_exponent(segments, m) for m in (1, 2, 8)]
    freedom = [confidence.degrees_of_freedom("mdev", -1, m, 3001) for m in (1, 8, 500)]
    # Without pieces: subtract the line through the known averages, then take the lag 1 autocorrelation of the rest.
    left = []
    for x in segments:
        y = np.diff(x)
        t = np.linspace(-1, 1, len(y))
        known = ~np.isnan(y)
        left.append(y - np.polyval(np.polyfit(t[known], y[known], 1), t))
    for value, whole in zip(r, (left, [np.diff(series) for series in left]), strict=True):
        whole = [series - np.nanmean(series) for series in whole]
        above = sum(np.nansum(series[1:] * series[:-1]) for series in whole)
        assert value == pytest.approx(above / sum(np.nansum(series**2) for series in whole), rel=1e-9)
    monkeypatch.setattr(confidence, "_BLOCK", block)
    parts = [confidence._Averages(x) for x in segments]
    again = [confidence._lag_1(parts, differences) for differences in (False, True)]
    assert again == pytest.approx(r, rel=1e-9)
    assert [confidence.noise_exponent(segments, m) for m in (1, 2, 8)] == kinds
    assert [confidence.degrees_of_freedom("mdev", -1, m, 3001) for m in (1, 8, 500)] == pytest.approx(freedom, rel=1e-9)


@pytest.mark.parametrize("size", [300, 301])
@pytest.mark.parametrize("together", [1, 3, 256])
def test_the_density_equals_that_of_scipy(monkeypatch, size, together):
    monkeypatch.setattr(spectrum, "_TOGETHER", together)
    x = stability.phase(1e-6 * np.random.default_rng(2).normal(size=5000), 0.02)
    hz, power = welch(1e6 * np.diff(x) / 0.02, 50, nperseg=size, nfft=2 * size, detrend="linear")
    made = np.concatenate([spectrum._periodograms(piece, 0.02) for piece in spectrum._segments(x, 0.02, size)])
    assert made.mean(axis=0) == pytest.approx(power, rel=1e-9)
    assert np.fft.rfftfreq(2 * size, 0.02) == pytest.approx(hz)
