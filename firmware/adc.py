"""The coil's amplitude from a voltage on an ADC pin.

A first channel only: the mean of a rectified voltage drifts by some 1,000 ppm a kelvin and steps with the converter's
codes, so it tells a coil that is loaded, wet or unplugged, and not what metal is near.  Whatever reads the
amplitude better has the same two methods.
"""

FULL_SCALE = 33_000  # of the ADC, in 0.1 mV: 3.3 V


class Amplitude:
    """adc: read_u16() (machine.ADC; 0..65535)."""

    def __init__(self, adc):
        self._adc = adc
        self._total = 0
        self._count = 0

    def sample(self):
        """Take one reading; called every few milliseconds (a reading takes some 10 us)."""
        self._total += self._adc.read_u16()
        self._count += 1

    def mean(self):
        """Mean of the readings since the last call, in 0.1 mV; takes one where there was none."""
        if not self._count:
            self.sample()
        mean = self._total * FULL_SCALE // (65_535 * self._count)
        self._total = self._count = 0
        return mean
