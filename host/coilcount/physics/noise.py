"""Power-law noise of an oscillator's frequency, generated block by block: S_y(f) = h0 + h_minus1/f + h_minus2/f^2."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class NoiseClass:
    """Coefficients of the one-sided spectral density of the fractional frequency."""

    h0: float  # 1/Hz, white FM
    h_minus1: float  # 1, flicker FM
    h_minus2: float  # Hz, random-walk FM


# Engineering estimates: no published Allan deviation of a free-running LC oscillator near 25 kHz was found.
NOISE_CLASSES = {
    "ideal": NoiseClass(0.0, 0.0, 0.0),
    "careful": NoiseClass(2e-16, 7e-15, 1e-16),  # regulated supply, C0G, shielded, gain just above start
    "typical": NoiseClass(2e-14, 7e-13, 1e-14),
    "poor": NoiseClass(5e-13, 2e-11, 5e-13),  # polyester or X7R, unregulated 9 V, in the sun
}

POLE_RATIO = 4.0  # ratio of neighbouring relaxation rates; computed: the spectrum then has 0.6 % ripple


class PowerLawNoise:
    """A stream of fractional frequency samples, dt_s apart.  Memory is needed only for one block at a time.

    h0, h_minus1, h_minus2: as in `NoiseClass`; longest_s: period below whose frequency the flicker noise is flat.
    Raises ValueError for a negative density, or if dt_s is not between 0 and longest_s.

    White FM: independent samples of variance h0/(2 dt).  Random walk FM: a sum of independent steps of variance
    2 pi^2 h_minus2 dt.  Flicker FM: a sum of stationary relaxation processes of equal variance h_minus1 ln(ratio),
    with rates in a geometric series (J. Bernamont, 1937), each with its exact discrete step.  Apart from rounding the
    stream is the same however it is cut into blocks.  The h are those of IEEE Std 1139 and NIST SP 1065.
    """

    def __init__(
        self,
        rng: np.random.Generator,
        dt_s: float,
        h0: float = 0.0,
        h_minus1: float = 0.0,
        h_minus2: float = 0.0,
        longest_s: float = 1e5,
    ) -> None:
        if dt_s <= 0 or longest_s <= dt_s:
            raise ValueError("dt_s must be positive and below longest_s")
        if min(h0, h_minus1, h_minus2) < 0:
            raise ValueError("a spectral density cannot be negative")
        self._rng = rng
        self._white = np.sqrt(h0 / (2 * dt_s))
        self._step = np.sqrt(2 * np.pi**2 * h_minus2 * dt_s)
        self._walk = 0.0
        rates = flicker_rates(dt_s, longest_s)
        self._keep = np.exp(-rates * dt_s)
        self._sigma = np.sqrt(h_minus1 * np.log(POLE_RATIO))
        self._fresh = self._sigma * np.sqrt(-np.expm1(-2 * rates * dt_s))
        self._state = self._sigma * rng.standard_normal(len(rates))

    def block(self, n: int) -> NDArray:
        """Return the next n samples, shape (n,)."""
        draw = self._rng.standard_normal((n, len(self._keep) + 2))
        y = self._white * draw[:, 0]
        if self._step:
            walk = self._walk + np.cumsum(self._step * draw[:, 1])
            y += walk
            self._walk = walk[-1]
        if self._sigma:
            relaxing = self._fresh * draw[:, 2:]
            relaxing[0] += self._keep * self._state
            _relax(relaxing, self._keep)
            y += relaxing.sum(axis=1)
            self._state = relaxing[-1]
        return y


def flicker_rates(dt_s: float, longest_s: float) -> NDArray:
    """Compute the relaxation rates in 1/s, a factor `POLE_RATIO` apart, from below 1/longest_s to near 1/dt_s.

    The highest rate is chosen for the spectrum of the samples, where aliasing makes up for the rates that are left
    out.  Computed: the spectrum is within 1 % of 1/f up to 1/20 of the sampling rate, 2 % at 1/10, 7 % at 1/4.
    """
    lowest, highest = np.pi / 2 / longest_s, 0.6 * np.pi / dt_s
    return highest / POLE_RATIO ** np.arange(np.ceil(np.log(highest / lowest) / np.log(POLE_RATIO)) + 1)


def _relax(x: NDArray, keep: NDArray) -> None:
    """Compute y[t] = keep y[t-1] + x[t] down each column, in place.  Doubling takes log2(n) passes, not n steps."""
    power, shift = keep.copy(), 1
    while shift < len(x):
        x[shift:] += power * x[:-shift]
        power, shift = power * power, 2 * shift

