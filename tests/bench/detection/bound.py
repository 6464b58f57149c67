"""The bound: a matched filter for each single pass, which knows its shape and the noise spectrum of the condition.

The false alarms of a sample of these filters are counted separately, on the runs without objects.  Their mean rate
counts.
"""

import numpy as np
from score import NEAR_S, Found, counts, peaks
from series import INTERVAL_S, Data, Pass, Run
from spectrum import matched

SAMPLE = 12  # filters for the false alarms of a kind


def filtered(y: np.ndarray, shape: np.ndarray, covariance: np.ndarray) -> np.ndarray:
    """z with the pass's middle at each reading; zero where the filter does not fit."""
    h, _ = matched(shape, covariance)
    out = np.zeros(len(y))
    n = len(h)
    out[n // 2 : n // 2 + len(y) - n + 1] = np.correlate(y, h, "valid")
    return out


def clean_peaks(data: Data) -> tuple[np.ndarray, float]:
    """Sizes of the peaks on the clean series, largest first, and the minutes they come from."""
    passes = [one for run in data.swept for one in run.passes if counts(one)]
    some = passes[:: max(1, len(passes) // SAMPLE)][:SAMPLE]
    sizes = []
    for one in some:
        for run in data.clean:
            z = filtered(run.y, one.shape, data.covariance * 1e18)
            sizes.append(np.abs(z[peaks(z, 1.0)]))
    minutes = len(some) * sum(len(run.y) for run in data.clean) * INTERVAL_S / 60
    return np.sort(np.concatenate(sizes))[::-1], minutes


def strength(run: Run, one: Pass, covariance: np.ndarray) -> tuple[float, int]:
    """The largest |z| of the pass's own filter near the pass, where an alert would count as found, and its sign."""
    n = len(one.shape)
    reach = max(NEAR_S, one.width_s)
    first = round((one.at_s - reach - run.first_s) / INTERVAL_S) - n // 2
    last = round((one.at_s + reach - run.first_s) / INTERVAL_S) - n // 2 + n
    if first < 0 or last > len(run.y):
        return 0.0, 0
    h, _ = matched(one.shape, covariance * 1e18)
    z = np.correlate(run.y[first:last], h, "valid")
    best = z[np.argmax(np.abs(z))]
    return float(abs(best)), one.sign if best > 0 else -one.sign


def alerts(run: Run, strengths: list[tuple[float, int]], threshold: float) -> list[Found | None]:
    """For each pass its own filter's answer."""
    return [
        Found(one.at_s, one.at_s + n_after(one), sign, z) if z >= threshold else None
        for one, (z, sign) in zip(run.passes, strengths, strict=True)
    ]


def n_after(one: Pass) -> float:
    """A filter of the whole pass answers when the pass is over: half its length."""
    return len(one.shape) / 2 * INTERVAL_S
