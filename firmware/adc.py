"""The coil's amplitude, read as a voltage on an ADC pin.

This is a simple first channel.  It shows whether the coil is loaded, wet or unplugged.  It does not show which metal
is near, because the mean of a rectified voltage drifts by about 1,000 ppm/K and the converter reads in coarse steps.
(The drift is an estimate from the temperature coefficient of a diode; it was not measured.)

A better amplitude channel can replace this class if it has the same two methods.
"""

# 3.3 V, in 0.1 mV, over what read_u16() returns at full scale: 33,000 / 65,535 = 2,200 / 4,369.  The reference of the
# ADC is 3.3 V (RP2040 data sheet, from memory).
SCALE_NUM = 2_200
SCALE_DEN = 4_369


class Amplitude:
    """The mean voltage between two records.

    adc: an object with read_u16(), such as machine.ADC; it returns 0 to 65535.
    """

    def __init__(self, adc):
        self._adc = adc
        self._total = 0
        self._count = 0

    def sample(self):
        """Take one ADC reading, in about 10 us.  The counter calls this every few milliseconds."""
        self._total += self._adc.read_u16()
        self._count += 1

    def mean(self):
        """Return the mean since the last call in 0.1 mV (int).  If there was no reading since then, take one."""
        if not self._count:
            self.sample()
        # total * 2200 // (4369 * count), in steps that stay small integers on a chip for up to 100 readings.
        unit = SCALE_DEN * self._count
        mean = self._total // unit * SCALE_NUM + self._total % unit * SCALE_NUM // unit
        self._total = self._count = 0
        return mean
