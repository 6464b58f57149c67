"""The sign of a whole pass by the noise that was learned: where its height says too little, the late filters decide.

On smooth, rich soil the height of a pass over the line beside it is mostly ground.  The filters of the statistic see
through that, but look on by a third of a second only; those here look as far on as back, and are asked once the pass is
over.
Runs under both interpreters.
"""

from .filters import learned_covariance, taps

# Chosen on the tuning scenes of tests/bench/detection: heights of fewer sigmas are no better than the filters.
CLEAR = 2.5
REACH_S = 0.3


class Judge:
    """height_sigma: of the heights of the tracker's boxes, by width, in 1e-9."""

    def __init__(self, boxes, interval_s, noise_ppm_rthz):
        self._boxes = boxes
        self._filters = [taps(width / interval_s, interval_s, noise_ppm_rthz, True) for width in boxes.widths_s]
        self._reach = int(REACH_S / interval_s + 0.5)
        self.height_sigma = []
        for at in range(len(boxes.widths_s)):
            edges = []
            row = []
            for newest, oldest, weight in boxes.height_boxes(at):
                each = weight / (oldest - newest + 1)
                edges.extend((-newest, -oldest - 1))
                row.extend((each, -each))
            self.height_sigma.append(learned_covariance(edges, [row], noise_ppm_rthz, interval_s)[0][0] ** 0.5)

    def unclear(self, height, width):
        """Whether a height (1e-9) of width number `width` is too little to tell the sign by."""
        return -CLEAR * self.height_sigma[width] < height < CLEAR * self.height_sigma[width]

    def look(self, back):
        """The best rise and the best fall around the reading `back` readings ago: (|z|, height in 1e-9, readings ago).

        Only where lobes.measure() reaches.
        """
        rise = fall = (0.0, 0.0, back)
        for lags, gains, newest, sigma in self._filters:
            for middle in range(back - self._reach, back + self._reach + 1):
                a = self._boxes.answer(lags, gains[0], middle - newest)
                z = a / sigma
                if z > rise[0]:
                    rise = (z, a, middle)
                elif -z > fall[0]:
                    fall = (-z, a, middle)
        return rise, fall
