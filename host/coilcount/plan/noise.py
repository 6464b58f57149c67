"""The noise of an oscillator over soil, and the least shift of a pass that can be found in it."""

from dataclasses import dataclass
from math import log, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from coilcount.physics.ground import soil_response
from coilcount.physics.noise import NOISE_CLASSES, NoiseClass
from coilcount.physics.tank import Tank
from coilcount.plan.detector import Detector, TestSoil
from coilcount.plan.pass_width import PassShape

SNR = 5.0  # signal-to-noise ratio at which a pass counts as found; chosen by hand
CLASSES = ("careful", "typical", "poor")
FWHM = 2 * sqrt(2 * log(2))  # of a Gaussian, in sigmas
SMALL_CHI = 1e-6  # a susceptibility so small that the response is proportional to it
HEIGHT_STEP = 0.01  # relative step of the height for a slope


def matched_amplitude(noise: NoiseClass, width_s: float, snr: float = SNR) -> float:
    """Compute the relative peak shift of a Gaussian pass that a matched filter finds with a given ratio `snr`.

    width_s: full width of the pass at half height.  Raises ValueError if width_s or snr is not positive.

    Formula: snr^2 = A^2 Int_0^inf 4 |S(f)|^2 / S_y(f) df (D. O. North 1943), with the one-sided S_y and
    |S|^2 = 2 pi s^2 e^{-(2 pi s f)^2}.  In pure flicker noise A = snr sqrt(pi h_minus1), whatever the speed.
    """
    if width_s <= 0 or snr <= 0:
        raise ValueError("width and snr must be positive")
    s = width_s / FWHM
    f = np.geomspace(1e-5, 6, 2000) / (2 * pi * s)
    power = 2 * pi * s**2 * np.exp(-((2 * pi * s * f) ** 2))
    return snr / sqrt(_integral(f, 4 * power / oscillator_density(noise, f)))


def thresholds(width_s: float) -> dict[str, float]:
    """Compute the least relative shift that can be found, by noise class."""
    return {name: matched_amplitude(NOISE_CLASSES[name], width_s) for name in CLASSES}


def oscillator_density(noise: NoiseClass, f: NDArray) -> NDArray:
    """Compute the one-sided spectral density of the relative frequency in 1/Hz."""
    return noise.h0 + noise.h_minus1 / f + noise.h_minus2 / f**2


def _integral(f: NDArray, value: NDArray) -> float:
    """Integrate over f by the trapezoid rule in log f."""
    integrand = value * f
    return float(np.sum(np.diff(np.log(f)) * (integrand[1:] + integrand[:-1]) / 2))


@dataclass(frozen=True)
class SoilGain:
    """How much a coil at its height feels the soil, compared with the benchmark's coil at its own height.

    hand: ratio of the shift by a change of height; patches: ratio of the shift by the soil itself; weather: ratio of
    the temperature coefficients.
    """

    hand: float
    patches: float
    weather: float


def soil_shift(tank: Tank, height_m: float, susceptibility: float = 1.0) -> float:
    """Compute the relative shift by level soil, to first order in its susceptibility."""
    return float(tank.shift(*soil_response(tank.winding, height_m, SMALL_CHI, tank.frequency_hz))) * (
        susceptibility / SMALL_CHI
    )


def soil_slope(tank: Tank, height_m: float) -> float:
    """Compute the change of `soil_shift` with height, in 1/m, for a susceptibility of 1."""
    step = height_m * HEIGHT_STEP
    return (soil_shift(tank, height_m + step) - soil_shift(tank, height_m - step)) / (2 * step)


def soil_gain(tank: Tank, height_m: float, wobble_ratio: float, weather: float, detector: Detector) -> SoilGain:
    """Compare a coil at height_m with the benchmark's coil.

    wobble_ratio: how far the height varies, over the benchmark's; weather: ratio of the temperature coefficients.
    """
    there = detector.height_cm / 100
    return SoilGain(
        hand=wobble_ratio * abs(soil_slope(tank, height_m) / soil_slope(detector.tank, there)),
        patches=abs(soil_shift(tank, height_m) / soil_shift(detector.tank, there)),
        weather=weather,
    )


SAME = SoilGain(1.0, 1.0, 1.0)  # the benchmark's own coil


def noise_parts(
    soil: TestSoil,
    detector: Detector,
    gain: SoilGain,
    noise: NoiseClass,
    shape: PassShape,
    speed_m_s: float,
    knows_soil: bool = True,
) -> dict[str, float]:
    """Compute the noise of a matched filter for a pass in one soil, as the variance of its peak shift, by part.

    shape: of the pass; speed_m_s: of the coil, which makes the patches of the soil quicker;
    knows_soil: whether the filter is matched to all of the noise, or to that of the oscillator alone.
    The parts "oscillator", "hand", "patches" and "weather" add up to the whole variance (relative shift squared).

    Formula: that of `matched_amplitude` with snr 1 and the spectrum S of the shape.  A part is the share of its density
    in the filter's output: Int 4 |S|^2 part / known^2 df / (Int 4 |S|^2 / known df)^2 with the density `known` to the
    filter.  The soil's densities are those of the benchmark, interpolated between their frequencies and multiplied by
    the gains.
    """
    f, power = shape.frequency_hz, shape.power_s2
    densities = {"oscillator": oscillator_density(noise, f)}
    for part, table, factor, speed in (
        ("hand", soil.hand_ppm_rthz, gain.hand, 1.0),
        ("patches", soil.patches_ppm_rthz, gain.patches, speed_m_s / soil.speed_m_s),
        ("weather", soil.weather_ppm_rthz, gain.weather, 1.0),
    ):
        # At another speed the same patches have other frequencies, and their variance is spread over another band.
        at_hz = np.log(detector.frequency_hz * speed)
        value = np.exp(np.interp(np.log(f), at_hz, np.log(table)))
        densities[part] = (value * factor * 1e-6) ** 2 / speed
    known = sum(densities.values()) if knows_soil else densities["oscillator"]
    information = _integral(f, 4 * power / known)
    return {
        part: _integral(f, 4 * power * density / known**2) / information**2 for part, density in densities.items()
    }
