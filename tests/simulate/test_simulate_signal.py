"""The signal agrees with the physics: objects, noise, soil, temperature, and d' of a pass."""

from math import log, pi, sqrt

import numpy as np
import pytest
from coilcount.model import Line
from coilcount.physics.constants import MATERIALS
from coilcount.physics.noise import NOISE_CLASSES
from coilcount.physics.response import frequency_shift
from coilcount.schema.tables import read_table
from coilcount.simulate.coil import CoilModel
from coilcount.simulate.dprime import autocovariance, d_prime, readings, timing_covariance
from coilcount.simulate.edges import TICK_S, EdgeSource, joined, merge
from coilcount.simulate.lines import entries
from coilcount.simulate.passes import passes_of
from coilcount.simulate.scene import Scene
from coilcount.simulate.signal import components
from coilwire import frame, records
from dipole import target_response
from ring_circuits import coin

COIN = {
    "object": "coin 24 mm",
    "shape": "disc",
    "metal": "copper",
    "diameter_mm": 24,
    "thickness_mm": 1.75,
    "depth_cm": 5,
    "at_s": 4,
}
QUIET = {"oscillator": {"noise": "ideal", "jitter_ns": 4}}


def scene(**tables) -> Scene:
    return read_table(Scene, {"schema": 1, "duration_s": 8, **tables}, "test")


def frequency_of(a_scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    """Start of each interval in s, and the frequency from its first edge to the next one's, from the lines."""
    rows = []
    for entry in entries(a_scene):
        record = records.read(frame.parse(entry.data)) if isinstance(entry, Line) else None
        if isinstance(record, records.Interval):
            rows.append((record.first_edge, record.t_first))
    edge, tick = np.array(rows).T
    time_s = np.concatenate([[0], np.cumsum(np.diff(tick) % (1 << 32))]) * TICK_S
    return time_s[:-1], np.diff(edge) / np.diff(time_s)


def test_a_coin_in_the_lines_shifts_as_reciprocity_says():
    # Resting 8 cm over it, against the dipole of a ring model.  The simulation uses the uneven field over the coin.
    a_scene = scene(**QUIET, target=[{**COIN, "dwell_s": 3.0, "tilt_deg": 20, "turn_deg": 90, "offset_cm": 1.5}])
    model = CoilModel(a_scene)
    alpha = coin(0.012, 0.00175, MATERIALS["copper"].conductivity, model.f0_hz)
    tilt = np.radians(20)
    d_l, d_r = target_response(model.winding, alpha, [0, 0.015, -0.08], [0, np.sin(tilt), np.cos(tilt)], model.f0_hz)
    expected = frequency_shift(d_l, d_r, model.inductance_h, model.resistance_ohm, model.f0_hz)
    time_s, frequency = frequency_of(a_scene)
    resting = frequency[(time_s > 2.6) & (time_s < 5.4)].mean() / model.f0_hz - 1
    away = frequency[time_s < 1].mean() / model.f0_hz - 1
    assert resting == pytest.approx(expected, rel=0.015)
    assert expected > 2e-5
    assert abs(away) < 1e-3 * expected


def test_a_nail_and_soil_lower_the_frequency_and_lifting_raises_it():
    nail = {**COIN, "shape": "rod", "metal": "steel", "length_mm": 75, "diameter_mm": 3.5, "tilt_deg": 90}
    y = components(scene(target=[{**nail, "turn_deg": 90}]), 1)["target"]
    assert y.min() < -1e-6 and y.max() < 1e-8
    model = CoilModel(scene())
    soil = model.soil_shift(np.array([0.02, 0.03, 0.30]), np.full(3, 1e-3))
    assert soil[0] < soil[1] < soil[2] < 0


@pytest.mark.parametrize("name", ["careful", "typical"])
def test_a_still_coil_has_the_allan_deviation_of_its_noise_class(name):
    # sigma_y^2 = h0/(2 tau) + 2 ln2 h_-1 + (2 pi^2/3) tau h_-2: IEEE Std 1139, NIST SP 1065 (from memory)
    a_scene = scene(duration_s=240, oscillator={"noise": name, "jitter_ns": 4}, sweep={"kind": "still"}, seed=3)
    _, frequency = frequency_of(a_scene)
    y = frequency / frequency.mean() - 1
    h = NOISE_CLASSES[name]
    for tau_s in (0.2, 1.0, 4.0):
        m = round(tau_s / 0.02)
        means = np.convolve(y, np.full(m, 1 / m), "valid")
        measured = sqrt(0.5 * np.mean((means[m:] - means[:-m]) ** 2))
        expected = sqrt(h.h0 / (2 * tau_s) + 2 * log(2) * h.h_minus1 + 2 * pi**2 / 3 * tau_s * h.h_minus2)
        assert measured == pytest.approx(expected, rel=0.15), tau_s


def test_warmth_and_supply_move_the_frequency_as_their_coefficients_say():
    a_scene = scene(
        duration_s=60,
        weather={"warm_up_k": 10, "warm_up_s": 20},
        supply={"volt": 5, "sag_v_per_min": 0.5},
        oscillator={"temperature_ppm_per_k": -30, "loop_gain": 1.5, "q": 25},
    )
    parts = components(a_scene, 1)
    assert parts["temperature"][-1] == pytest.approx(-30e-6 * 10 * (1 - np.exp(-3)), rel=1e-3)
    # harmonic shift -r (r-1)/(8 Q^2) per relative change of the supply; 10 % less supply
    assert parts["supply"][-1] == pytest.approx(-1.5 * 0.5 / (8 * 25**2) * log(0.9), rel=1e-3)


def test_passes_go_to_and_fro_and_rest():
    a_scene = scene(target=[{**COIN, "at_s": [2.0, 5.0], "ahead_cm": 10, "dwell_s": 1.0}], sweep={"speed_m_s": 0.5})
    there, back = passes_of(a_scene)
    assert there.closest_s == pytest.approx(2.0 + 0.5 + 0.2) and back.closest_s == pytest.approx(5.0 - 0.5 - 0.2)
    for a_pass in (there, back):
        assert a_pass.along_m(np.array([a_pass.closest_s]))[0] == pytest.approx(0, abs=1e-12)
        assert a_pass.along_m(np.array([a_pass.at_s - 0.4, a_pass.at_s + 0.4])) == pytest.approx([0.1, 0.1])
    assert np.diff(there.along_m(np.array([0.5, 1.0])))[0] == pytest.approx(-0.25)
    assert np.diff(back.along_m(np.array([3.5, 4.0])))[0] == pytest.approx(0.25)


def test_events_are_repeated_if_a_run_is_longer_than_its_scene():
    from coilcount.simulate.signal import Signal

    signal = Signal(scene(**QUIET, target=[COIN]), 1)
    target = np.concatenate([signal.block().shift["target"] for _ in range(16)])
    np.testing.assert_allclose(target[:8000], target[8000:], atol=1e-12)


def test_d_prime_of_a_known_pass_in_white_noise():
    # white noise: d'^2 is the energy that a straight line leaves of the pass, over the variance
    x = np.linspace(-1, 1, 121)
    s = (1 + (x / 0.15) ** 2) ** -3.0 + 5 + 3 * x
    left = s - np.polynomial.Polynomial.fit(x, s, 1)(x)
    white = np.zeros(121)
    white[0] = 0.25
    assert d_prime(s, white) == pytest.approx(2 * np.linalg.norm(left), rel=1e-9)
    assert d_prime(5 + 3 * x, white) == pytest.approx(0, abs=1e-6)


def test_the_yardsticks_readings_are_those_of_counted_edges():
    rng = np.random.default_rng(2)
    y = 1e-5 * np.cumsum(rng.standard_normal(4000)) / 30
    source = EdgeSource(0.0, rng)
    sums = merge(joined([source.block(24_876.543 * (1 + part)) for part in y.reshape(4, 1000)]), 20)
    middle_edge = sums.first_edge + (sums.n - 1) / 2
    middle_s = (sums.t_first + sums.s / sums.n) * TICK_S
    counted = np.diff(middle_edge) / np.diff(middle_s) / 24_876.543 - 1
    # Only the tick's error is left.  A whole number of ticks a period is avoided: there it does not average out.
    tick_alone = sqrt(timing_covariance(24_876.543, 0.0, 20, 2)[0])
    assert np.std(counted - readings(y, 20)) < 1.2 * tick_alone
    assert np.std(y) > 100 * tick_alone


def test_timing_noise_of_the_readings_is_that_of_counted_edges():
    source = EdgeSource(100e-9, np.random.default_rng(4))
    sums = merge(joined([source.block(np.full(1000, 24_876.543)) for _ in range(120)]), 20)
    middle_edge = sums.first_edge + (sums.n - 1) / 2
    y = np.diff(middle_edge) / np.diff((sums.t_first + sums.s / sums.n) * TICK_S) / 24_876.543 - 1
    measured = autocovariance([y], 3, 500)
    expected = timing_covariance(24_876.543, 100e-9, 20, 3)
    assert measured[:2] == pytest.approx(expected[:2], rel=0.06)
    assert abs(measured[2]) < 0.06 * expected[0]
