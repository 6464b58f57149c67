"""Scores the alerts by the rules of the README.  They were written before any constant was chosen."""

from dataclasses import dataclass

import numpy as np
from series import INTERVAL_S, Pass

NEAR_S = 0.3  # an alert belongs to a pass if their times differ by at most this, or by the width of the pass
LEAST_D = 4.0  # passes with a smaller d' against the oscillator noise do not count
APART_S = 0.6  # a rival gives at most one alert in this time, at its largest peak


@dataclass
class Found:
    """One alert of any method.

    seen: number of this pass, of several passes over one object.  rarity_min: noise alone gives such a score about once
    in this many minutes.
    """

    peak_s: float
    raised_s: float
    sign: int
    score: float
    response: str = ""
    confidence: float | None = None
    reasons: tuple[str, ...] = ()
    seen: int = 1
    rarity_min: float | None = None


def peaks(z: np.ndarray, least: float) -> np.ndarray:
    """Return the indices of the peaks of |z| that are at least `least` high and APART_S apart, largest first."""
    size = np.abs(z)
    order = np.flatnonzero((size >= least) & (size >= np.roll(size, 1)) & (size > np.roll(size, -1)))
    order = order[np.argsort(-size[order], kind="stable")]
    apart = round(APART_S / INTERVAL_S)
    taken = np.zeros(len(z) + 2 * apart, dtype=bool)
    out = []
    for index in order.tolist():
        if not taken[index + apart]:
            out.append(index)
            taken[index : index + 2 * apart + 1] = True
    return np.array(out, dtype=int)


def alerts_of(z: np.ndarray, first_s: float, lag_s: float, threshold: float) -> list[Found]:
    """Return the alerts of a rival.

    z: its statistic, one value a reading; first_s: time of z[0]; lag_s: delay of the statistic behind the signal.
    """
    out = []
    size = np.abs(z)
    for index in peaks(z, threshold):
        start = index
        while start > 0 and size[start - 1] >= threshold:
            start -= 1
        known_s = first_s + index * INTERVAL_S
        raised_s = first_s + start * INTERVAL_S + INTERVAL_S
        out.append(Found(known_s - lag_s, raised_s, 1 if z[index] > 0 else -1, float(size[index])))
    return out


def counts(pass_: Pass) -> bool:
    """Return whether the pass is strong enough to count in the results."""
    return pass_.d >= LEAST_D


def belongs(alert: Found, pass_: Pass) -> bool:
    """Return whether an alert peaks near enough to a pass to belong to it."""
    return abs(alert.peak_s - pass_.at_s) <= max(NEAR_S, pass_.width_s)


def match(passes: list[Pass], alerts: list[Found]) -> tuple[list[Found | None], int]:
    """Return the strongest alert of each pass, or None, and the number of alerts that belong to no pass."""
    used = set()
    out: list[Found | None] = []
    for pass_ in passes:
        near = [i for i, alert in enumerate(alerts) if belongs(alert, pass_)]
        used.update(near)
        out.append(max((alerts[i] for i in near), key=lambda alert: alert.score) if near else None)
    return out, len(alerts) - len(used)


def threshold_for(clean: list[np.ndarray], minutes: float, rate: float) -> float:
    """Return the threshold that gives `rate` peaks a minute in the series without objects."""
    sizes = np.sort(np.concatenate([np.abs(z[peaks(z, 0.0)]) for z in clean]))[::-1]
    allowed = round(rate * minutes)
    if allowed >= len(sizes):
        return float(sizes[-1])
    return float(sizes[allowed]) * (1 + 1e-9)
