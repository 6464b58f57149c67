"""A build against itself and against one that is much noisier, on a few seeds.  All are simulated.

tests/bench/compare_seeds.py does the same with 20 seeds.
"""

import pytest
from coilcount.desk.compare import compare
from coilcount.desk.compare_sides import Given
from coilcount.desk.recordings import Recording
from coilcount.model.compare import FOUND
from coilcount.settings import defaults
from compare_course import course, truth, write_capture

RECORDINGS = 3  # of each build


@pytest.fixture(scope="module")
def labels():
    return truth(course("lawn", 1))


def build(folder, name: str, noise: float, seed: int, labels) -> Given:
    paths = [folder / f"{name}-{noise}-{seed}-{i}.ccap" for i in range(RECORDINGS)]
    scene = course("lawn", 1, noise)
    written = [write_capture(path, scene, 10 * seed + i, labels) for i, path in enumerate(paths)]
    return Given(name, tuple(Recording((path,)) for path in written), defaults(), "defaults")


@pytest.mark.parametrize("seed", [1, 2])
def test_only_the_noisier_build_differs(tmp_path, labels, seed):
    a = build(tmp_path, "A", 1.0, seed, labels)
    for noise, different in ((1.0, False), (4.0, True)):
        b = build(tmp_path, "B", noise, 100 + seed, labels)
        report = compare(a, b, same_recordings=False)
        assert report.different == different
        assert len(report.passes) == report.visits == 14 * RECORDINGS and report.objects == 14
        assert report.p_passes == pytest.approx(report.test(FOUND).p)  # one pass in a visit: the exact McNemar test
        if different:
            assert report.test(FOUND).higher == "A"
            assert report.a.noise_ppm.high < report.b.noise_ppm.low
            # Few passes are found by both builds, so the interval of the ratio is wide and may hold 1.
            assert 0.15 < report.score_ratio.value < 0.5 and report.score_ratio.low < 0.5
