"""Preferred values (IEC 60063), and combinations of one, two or three of them that make a capacitance."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coilcount.errors import InputError, did_you_mean
from coilcount.plan.quantity import quantity

# A table, because eight of these values differ from the rounded powers of ten that make up the finer series.
E24 = (
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0,
    3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6, 6.2, 6.8, 7.5, 8.2, 9.1,
)  # fmt: skip
SERIES = ("E3", "E6", "E12", "E24", "E48", "E96", "E192")
SMALLEST_F, LARGEST_F = 1e-9, 10e-6  # the capacitors of a drawer


def series(name: str) -> tuple[float, ...]:
    """List one decade of an E-series, from 1.00 to below 10.  Raises InputError for an unknown name."""
    word = name.strip().upper()
    if word not in SERIES:
        raise InputError(f'there is no series "{name}"', remedy=did_you_mean(word, SERIES))
    n = int(word[1:])
    if n <= 24:
        return E24[:: 24 // n]
    # All values follow the rule, apart from one entry in the table of the standard.
    return tuple(9.20 if (n, i) == (192, 185) else round(10 ** (i / n), 2) for i in range(n))


def drawer(text: str) -> NDArray:
    """List the available capacitances in F in rising order.

    text: an E-series, or a list such as "100n, 68n, 47 nF".  Raises InputError.
    """
    words = [word for word in text.split(",") if word.strip()]
    if words and all(word.strip()[:1].isdigit() or word.strip()[:1] == "." for word in words):
        return np.unique([quantity(word, "F", "a value of the drawer", 1e-12, 1e-3, "100n") for word in words])
    decade = np.array(series(text))
    values = np.concatenate([decade * 10.0**power for power in range(-9, -4)])
    return values[(values >= SMALLEST_F * 0.999) & (values <= LARGEST_F * 1.001)]


@dataclass(frozen=True, slots=True)
class Combination:
    """Capacitors that make one capacitance.  how: "one", "parallel" or "series"; parts_f: their values, rising."""

    how: str
    parts_f: tuple[float, ...]
    total_f: float


def combinations(wanted_f: float, values_f: NDArray) -> list[Combination]:
    """Find the combinations nearest to a capacitance.

    First the nearest single value.  Then two in parallel, two in series and three in parallel, each only if it at least
    halves the error.
    """
    if wanted_f <= 0:
        raise ValueError("the wanted capacitance must be positive")
    v = np.sort(values_f)
    single = v[_nearest(v, np.array([wanted_f]))[0]]
    found = [Combination("one", (float(single),), float(single))]
    i, j = np.triu_indices(len(v))
    for how, total in (("parallel", v[i] + v[j]), ("series", v[i] * v[j] / (v[i] + v[j]))):
        best = int(np.argmin(np.abs(total - wanted_f)))
        found.append(Combination(how, (float(v[i[best]]), float(v[j[best]])), float(total[best])))
    pair = v[i] + v[j]
    third = _nearest(v, wanted_f - pair)
    best = int(np.argmin(np.abs(pair + v[third] - wanted_f)))
    parts = sorted(float(value) for value in (v[i[best]], v[j[best]], v[third[best]]))
    found.append(Combination("parallel", tuple(parts), sum(parts)))
    kept: list[Combination] = []
    for way in found:
        if not kept or abs(way.total_f - wanted_f) < 0.5 * min(abs(simpler.total_f - wanted_f) for simpler in kept):
            kept.append(way)
    return kept


def _nearest(values: NDArray, wanted: NDArray) -> NDArray:
    """Index of the value nearest to each wanted value; `values` are in rising order."""
    right = np.clip(np.searchsorted(values, wanted), 1, max(len(values) - 1, 1))
    right = np.minimum(right, len(values) - 1)
    left = np.maximum(right - 1, 0)
    return np.where(np.abs(values[left] - wanted) <= np.abs(values[right] - wanted), left, right)
