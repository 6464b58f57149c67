"""`noise` in bounded memory: runs from the tape equal runs of the chain, and sums in pieces equal whole sums."""

from pathlib import Path

import numpy as np
import pytest
from coilcount.capture.reader import read_capture
from coilcount.chain import Chain
from coilcount.desk import confidence, exceedance, quiet, spectrum, stability
from coilcount.desk.tape import Tape
from coilcount.model import Alert, Gap, Header, Imported, Operator, Point
from coilcount.settings import defaults
from scipy.signal import welch

CAPTURES = Path(__file__).parents[2] / "captures"
NOISE = tuple(0.3 * 0.85**i for i in range(25))


def imported():
    hz = 25_000 * (1 + 2e-6 * np.random.default_rng(7).normal(size=1500))
    rows = [Imported(0.05 * i, float(one)) for i, one in enumerate(hz) if i % 400 and not 900 < i < 1050]
    return [Header("import", "", interval_s=0.05), *rows]


def frozen():
    """Keys and an unplugged board between the readings of a capture that lost some of its own accord."""
    entries = list(read_capture(CAPTURES / "warm-up-unplug.ccap.gz"))
    for share, what in ((0.2, "freeze"), (0.3, "freeze"), (0.5, "thaw"), (0.7, "threshold")):
        at = int(share * len(entries))
        entries.insert(at, Operator(entries[at].host_s, what, 9.0 if what == "threshold" else None))
    at = int(0.8 * len(entries))
    entries.insert(at, Gap(entries[at].host_s, entries[at - 1].host_s, "unplugged"))
    return entries


RECORDINGS = {
    "mineral-soil": lambda: list(read_capture(CAPTURES / "mineral-soil.ccap.gz")),
    "imported": imported,
    "frozen": frozen,
}


def by_the_chain(recording, settings):
    """(peaks, readings for which the statistic was there) as the chain alone gives them."""
    chain = Chain(settings, points=True, follow_threshold=False)
    outputs = [output for entry in recording for output in chain.feed(entry)] + chain.finish()
    finals = [output for output in outputs if type(output) is Alert and output.stage == "final"]
    ready = sum(type(output) is Point and output.ready for output in outputs)
    return [(one.peak_s, one.score * (one.sign or 1), one.peak_shift_hz) for one in finals], ready


@pytest.mark.parametrize("name", RECORDINGS)
def test_a_run_from_the_tape_is_the_run_of_the_chain(name):
    recording = RECORDINGS[name]()
    least = quiet._with(defaults(), threshold=2.5, scale_floor_ppm=0.001)
    first = quiet._First(least)
    for entry in recording:
        first.feed(entry)
    first.finish()
    peaks = [(one.time_s, one.z, one.shift_hz) for one in first.peaks]
    assert (peaks, first.watch.ready) == by_the_chain(recording, least)
    for other in ({"scale_floor_ppm": 0.2}, {"noise_ppm_rthz": NOISE}, {"threshold": 5.0, "hold": False}):
        settings = quiet._with(least, **other)
        peaks, ready = first.again(settings)
        assert ([(one.time_s, one.z, one.shift_hz) for one in peaks], ready) == by_the_chain(recording, settings)
        threshold = settings.tracker["threshold"]
        assert quiet.alerts_at(lambda: recording, settings, threshold, {}) == len(peaks)


@pytest.mark.parametrize("name", ["quiet-bench", "mineral-soil", "orchard-path", "warm-up-unplug"])
def test_the_run_with_the_right_floor_agrees_with_the_first_run_on_what_is_clean(name):
    """The first run has the least floor; `examine` makes the second only where the first found something."""
    recording = list(read_capture(CAPTURES / f"{name}.ccap.gz"))
    found = quiet.examine(lambda: recording, defaults(), name)
    floor = {"threshold": 2.5, "scale_floor_ppm": found.statistic.learned["scale_floor_ppm"]}
    peaks, ready = by_the_chain(recording, quiet._with(defaults(), **floor))
    minutes = ready * found.phases.tau0_s / 60
    assert list(found.statistic.strange) == exceedance.strange([quiet.Peak(*one) for one in peaks], minutes)


def test_the_tape_returns_the_rows_that_were_stored():
    rng = np.random.default_rng(1)
    rows = [tuple(int(one) for one in rng.integers(-(1 << 62), 1 << 62, 7)) for _ in range(20_000)]
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
def test_deviations_in_pieces_are_those_of_the_whole(monkeypatch, kind, m, block):
    monkeypatch.setattr(stability, "BLOCK", block)
    parts = [direct(kind, x, m) for x in some_phases()]
    found = getattr(stability, kind)(some_phases(), 0.5, m)
    known = [part[~np.isnan(part)] for part in parts]
    assert found.counts == tuple(len(part) for part in known)
    divisor = (6 if kind == "hdev" else 2) * (0.5 * m) ** 2
    # Another order of the same sums: rounding alone.
    assert found.variance == pytest.approx(np.mean(np.concatenate(known) ** 2) / divisor, rel=1e-9)


@pytest.mark.parametrize("block", [2, 7, 100])
def test_the_noise_type_and_its_degrees_of_freedom_do_not_depend_on_the_pieces(monkeypatch, block):
    segments = some_phases()
    parts = [confidence._Averages(x) for x in segments]
    r = [confidence._lag_1(parts, differences) for differences in (False, True)]
    kinds = [confidence.noise_exponent(segments, m) for m in (1, 2, 8)]
    freedom = [confidence.degrees_of_freedom("mdev", -1, m, 3001) for m in (1, 8, 500)]
    # All at once: the line through the known averages out, then the lag 1 autocorrelation of what is left.
    left = []
    for x in segments:
        y = np.diff(x)
        t = np.linspace(-1, 1, len(y))
        known = ~np.isnan(y)
        left.append(y - np.polyval(np.polyfit(t[known], y[known], 1), t))
    for value, whole in zip(r, (left, [np.diff(one) for one in left]), strict=True):
        whole = [one - np.nanmean(one) for one in whole]
        above = sum(np.nansum(one[1:] * one[:-1]) for one in whole)
        assert value == pytest.approx(above / sum(np.nansum(one**2) for one in whole), rel=1e-9)
    monkeypatch.setattr(confidence, "_BLOCK", block)
    parts = [confidence._Averages(x) for x in segments]
    again = [confidence._lag_1(parts, differences) for differences in (False, True)]
    assert again == pytest.approx(r, rel=1e-9)
    assert [confidence.noise_exponent(segments, m) for m in (1, 2, 8)] == kinds
    assert [confidence.degrees_of_freedom("mdev", -1, m, 3001) for m in (1, 8, 500)] == pytest.approx(freedom, rel=1e-9)


@pytest.mark.parametrize("size", [300, 301])
@pytest.mark.parametrize("together", [1, 3, 256])
def test_the_density_is_that_of_scipy(monkeypatch, size, together):
    monkeypatch.setattr(spectrum, "_TOGETHER", together)
    x = stability.phase(1e-6 * np.random.default_rng(2).normal(size=5000), 0.02)
    hz, power = welch(1e6 * np.diff(x) / 0.02, 50, nperseg=size, nfft=2 * size, detrend="linear")
    made = np.concatenate([spectrum._periodograms(one, 0.02) for one in spectrum._segments(x, 0.02, size)])
    assert made.mean(axis=0) == pytest.approx(power, rel=1e-9)
    assert np.fft.rfftfreq(2 * size, 0.02) == pytest.approx(hz)
