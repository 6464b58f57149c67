"""Phases and drift from captures: exact to the tick, and never across a gap."""

from dataclasses import replace

import numpy as np
import pytest
from capture_samples import HEADER, HELLO
from coilcount.desk import stability
from coilcount.desk.drift import drift
from coilcount.desk.phases import PhaseReader, Phases, Segment
from coilcount.desk.quiet import allan_deviation
from coilcount.model import Gap, Header, Imported, Line
from coilcount.physics.noise import NOISE_CLASSES, PowerLawNoise
from coilcount.simulate.lines import entries
from coilcount.simulate.scene import Oscillator, Scene, Sweep, Weather
from coilwire import records

EDGES = 500


def lines(edge_ticks, first_index=0, sequence=0):
    """Entries of intervals of 500 edges each at the given ticks, as a board would send them."""
    out = []
    for i in range(len(edge_ticks) // EDGES):
        t = edge_ticks[EDGES * i : EDGES * (i + 1)]
        record = records.Interval(
            sequence + i, first_index + EDGES * i, EDGES, int(t[0]), int((t - t[0]).sum()), 2499, 2501, 0, 128
        )
        out.append(Line(0.02 * (i + 1), records.write(record)[:-1]))
    return out


def read(*parts) -> Phases:
    reader = PhaseReader()
    for part in parts:
        for entry in part if isinstance(part, list) else [part]:
            reader.feed(entry)
    return reader.result()


START = [HEADER, Line(0.0, records.write(HELLO)[:-1])]


def test_phase_is_exact_to_the_tick():
    """Edges are 2,500 ticks apart, then 2,501.  The phase shows that step of -1/2501 and nothing else."""
    ticks = np.concatenate([2500 * np.arange(5000), 2500 * 5000 + 2501 * np.arange(5000)])
    found = read(START, lines(ticks))
    (segment,) = found.segments
    assert found.frequency_hz == pytest.approx(25_000, rel=1e-12)
    assert found.tau0_s == pytest.approx(0.02, rel=1e-3)
    y = np.diff(segment.x) / found.tau0_s
    assert y[:9] == pytest.approx(np.zeros(9), abs=1e-12)
    # x is taken each 500 edges, which then last 500 * 2501 ticks.
    assert np.diff(segment.x)[11:] == pytest.approx(-EDGES * 16e-9 * np.ones(8), rel=1e-9)


def test_lost_records_leave_nan_and_keep_the_phase():
    ticks = 2500 * np.arange(20_000)
    sent = lines(ticks)
    found = read(START, sent[:10], sent[13:])
    (segment,) = found.segments
    assert np.flatnonzero(np.isnan(segment.x)).tolist() == [10, 11, 12]
    assert np.nanmax(np.abs(np.diff(segment.x))) < 1e-12


def test_a_gap_and_a_miscount_end_a_segment():
    ticks = 2500 * np.arange(30_000)
    sent = [*lines(ticks[:10_000]), Gap(0.5, 0.4, "unplugged"), *lines(ticks[10_000:20_000], 10_000, 20)]
    found = read(START, sent, lines(ticks[20_000:], 20_001, 40))
    assert len(found.segments) == 3
    assert found.miscounts == 1
    assert max(np.nanmax(np.abs(np.diff(segment.x))) for segment in found.segments) < 1e-12
    assert found.segments[1].start_s == pytest.approx(found.segments[0].start_s + 0.4, abs=1e-6)


def test_imported_readings_are_summed_and_a_missing_row_ends_the_segment():
    rng = np.random.default_rng(1)
    hz = 25_000 * (1 + 1e-6 * rng.normal(size=60))
    rows = [Imported(0.1 * i, hz[i], 20 + 0.01 * i) for i in range(60) if i != 30]
    found = read(Header("import", "", interval_s=0.1), rows)
    assert [len(segment.x) for segment in found.segments] == [31, 30]
    assert found.irregular == 0
    assert np.diff(found.segments[1].x) / 0.1 == pytest.approx(hz[31:] / hz[0] - 1, abs=1e-14)
    assert found.temperature.shape == (59, 2)
    shaken = [replace(row, time_s=row.time_s + 0.04 * (i % 2)) for i, row in enumerate(rows)]
    assert read(Header("import", "", interval_s=0.1), shaken).irregular > 0.9


def test_the_oscillator_of_a_simulated_board_shows_its_own_noise():
    """The lines of the board give sigma_y (IEEE Std 1139) of the scene's noise class within 10 %.

    tau is 0.16 to 1.3 s of 100 s.  Each has more than 90 degrees of freedom: 7 % at one sigma, less for their mean.
    """
    scene = Scene(
        schema=1, duration_s=100, oscillator=Oscillator(noise="typical"), sweep=Sweep(kind="still", height_cm=80),
        weather=Weather(swing_k=0),
    )  # fmt: skip
    found = read(list(entries(scene, 4)))
    rows = [row for row in stability.table(found.x, found.tau0_s) if 0.1 < row.tau_s < 1.5]
    ratios = [row.oadev.value / allan_deviation(NOISE_CLASSES["typical"], row.tau_s) for row in rows]
    assert np.mean(ratios) == pytest.approx(1, abs=0.1)
    assert {row.noise for row in rows} == {"flicker FM"}


def test_drift_and_its_errors():
    """Known slopes with random-walk noise are found within 3 standard errors."""
    rng = np.random.default_rng(2)
    tau0_s, n = 0.1, 6000
    t = (np.arange(n) + 0.5) * tau0_s
    warmth = 20 + np.sin(t / 40)
    y = 1e-6 * (0.5 * t / 60 - 8 * (warmth - 20) + 0.02 * np.cumsum(rng.normal(size=n)))
    x = stability.phase(y, tau0_s)
    # Half a minute is missing, and the level after it differs.
    parts = (Segment(0.0, x[:3000]), Segment(330.0, x[3300:] + 4e-5 * np.arange(len(x) - 3300)))
    measured = np.column_stack([t[::10], warmth[::10] + 0.02 * rng.normal(size=n // 10)])
    found = drift(Phases(parts, tau0_s, 25e3, measured, n, 0, 0.0))
    assert found.per_kelvin.value == pytest.approx(-8, abs=3 * found.per_kelvin.error)
    assert found.per_kelvin.error < 0.6
    assert found.range_k == pytest.approx(2, abs=0.1)


def test_the_standard_error_of_a_drift_is_the_scatter_of_many_runs():
    """200 runs without drift: the scatter of the slopes over the mean standard error is near 1."""
    for levels in ((1e-12, 0.0, 0.0), (0.0, 1e-12, 0.0), (0.0, 0.0, 1e-12)):
        rng = np.random.default_rng(3)
        found = [
            drift(Phases((Segment(0.0, stability.phase(PowerLawNoise(rng, 1.0, *levels).block(1200), 1.0)),), 1.0, 25e3,
                         np.empty((0, 2)), 1201, 0, 0.0)).per_minute
            for _ in range(200)
        ]  # fmt: skip
        ratio = np.std([slope.value for slope in found]) / np.mean([slope.error for slope in found])
        assert 0.75 < ratio < 1.33
