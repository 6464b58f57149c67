"""Scores the alerts by the rules of the README, which were written before any constant was chosen."""

from dataclasses import dataclass

import numpy as np
from scipy import stats
from series import INTERVAL_S, Pass

NEAR_S = 0.3
LEAST_D = 4.0
APART_S = 0.6  # at most one alert of a rival in this time: its largest peak


@dataclass
class Found:
    """One alert of any method."""

    peak_s: float
    raised_s: float
    sign: int
    score: float
    response: str = ""
    confidence: float | None = None
    reasons: tuple[str, ...] = ()
    seen: int = 1


def peaks(z: np.ndarray, least: float) -> np.ndarray:
    """Indices of the largest |z| within APART_S of themselves, from `least` on, largest first."""
    size = np.abs(z)
    order = np.flatnonzero((size >= least) & (size >= np.roll(size, 1)) & (size > np.roll(size, -1)))
    order = order[np.argsort(-size[order], kind="stable")]
    apart = round(APART_S / INTERVAL_S)
    taken = np.zeros(len(z) + 2 * apart, dtype=bool)
    out = []
    for at in order.tolist():
        if not taken[at + apart]:
            out.append(at)
            taken[at : at + 2 * apart + 1] = True
    return np.array(out, dtype=int)


def alerts_of(z: np.ndarray, first_s: float, lag_s: float, threshold: float) -> list[Found]:
    """A rival's alerts; lag_s: from what the statistic looks at to when it is known."""
    out = []
    size = np.abs(z)
    for at in peaks(z, threshold):
        start = at
        while start > 0 and size[start - 1] >= threshold:
            start -= 1
        known_s = first_s + at * INTERVAL_S
        raised_s = first_s + start * INTERVAL_S + INTERVAL_S
        out.append(Found(known_s - lag_s, raised_s, 1 if z[at] > 0 else -1, float(size[at])))
    return out


def counts(one: Pass) -> bool:
    return one.d >= LEAST_D


def match(passes: list[Pass], alerts: list[Found]) -> tuple[list[Found | None], int]:
    """For each pass its alert (of several the strongest), and how many alerts belong to none."""
    used = set()
    out: list[Found | None] = []
    for one in passes:
        reach = max(NEAR_S, one.width_s)
        near = [i for i, alert in enumerate(alerts) if abs(alert.peak_s - one.at_s) <= reach]
        used.update(near)
        out.append(max((alerts[i] for i in near), key=lambda alert: alert.score) if near else None)
    return out, len(alerts) - len(used)


def threshold_for(clean: list[np.ndarray], minutes: float, rate: float) -> float:
    """The threshold at which the peaks of the clean series come `rate` times a minute."""
    sizes = np.sort(np.concatenate([np.abs(z[peaks(z, 0.0)]) for z in clean]))[::-1]
    allowed = round(rate * minutes)
    if allowed >= len(sizes):
        return float(sizes[-1])
    return float(sizes[allowed]) * (1 + 1e-9)


def interval(count: int, minutes: float) -> tuple[float, float]:
    """Exact 95 % Poisson interval of a rate a minute (Garwood 1936)."""
    low = stats.chi2.ppf(0.025, 2 * count) / 2 / minutes if count else 0.0
    return float(low), float(stats.chi2.ppf(0.975, 2 * count + 2) / 2 / minutes)


def share_interval(hits: int, n: int) -> tuple[float, float]:
    """Wilson's 95 % interval of a share."""
    if not n:
        return 0.0, 1.0
    low, high = stats.binomtest(hits, n).proportion_ci(method="wilson")
    return float(low), float(high)
