"""The bound: each pass has its own matched filter, which knows its shape and the noise spectrum of the condition.

The false alarms of a sample of these filters are counted on the runs without objects.  The false-alarm rate of the
bound is the mean rate of the sample.
"""

import numpy as np
from score import NEAR_S, Found, counts, peaks
from series import INTERVAL_S, Data, Pass, Run
from spectrum import matched

SAMPLE = 12  # filters for the false alarms of a test condition; chosen by hand


def filtered(y: np.ndarray, shape: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """Return the filter's output for a pass whose middle is at each reading; zero near the ends of the run."""
    h, _ = matched(shape, covariance)
    out = np.zeros(len(y))
    n = len(h)
    out[n // 2 : n // 2 + len(y) - n + 1] = np.correlate(y, h, "valid")
    return out


def clean_peaks(data: Data) -> tuple[np.ndarray, float]:
    """Return the peak heights in the runs without objects, largest first, and the length of these runs in minutes."""
    passes = [pass_ for run in data.swept for pass_ in run.passes if counts(pass_)]
    sample = passes[:: max(1, len(passes) // SAMPLE)][:SAMPLE]
    sizes = []
    for pass_ in sample:
        for run in data.clean:
            z = filtered(run.y, pass_.shape, data.covariance * 1e18)
            sizes.append(np.abs(z[peaks(z, 1.0)]))
    minutes = len(sample) * sum(len(run.y) for run in data.clean) * INTERVAL_S / 60
    return np.sort(np.concatenate(sizes))[::-1], minutes


def strength(run: Run, pass_: Pass, covariance: np.ndarray) -> tuple[float, int]:
    """Return the largest output of the pass's own filter near the pass, and the sign that it reports."""
    n = len(pass_.shape)
    reach = max(NEAR_S, pass_.width_s)
    first = round((pass_.at_s - reach - run.first_s) / INTERVAL_S) - n // 2
    last = round((pass_.at_s + reach - run.first_s) / INTERVAL_S) - n // 2 + n
    if first < 0 or last > len(run.y):
        return 0.0, 0
    h, _ = matched(pass_.shape, covariance * 1e18)
    z = np.correlate(run.y[first:last], h, "valid")
    best = z[np.argmax(np.abs(z))]
    return float(abs(best)), pass_.sign if best > 0 else -pass_.sign


def alerts(run: Run, strengths: list[tuple[float, int]], threshold: float) -> list[Found | None]:
    """Return for each pass the alert of its own filter, or None."""
    return [
        Found(pass_.at_s, pass_.at_s + n_after(pass_), sign, z) if z >= threshold else None
        for pass_, (z, sign) in zip(run.passes, strengths, strict=True)
    ]


def n_after(pass_: Pass) -> float:
    """Return the delay of the alert in s: the filter needs the whole pass, so half its length."""
    return len(pass_.shape) / 2 * INTERVAL_S
