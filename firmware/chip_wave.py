"""A square wave on a pin of its own, from the chip's PWM."""

import machine

HALF = 32_768  # of duty_u16


class ChipWave:
    """pin: GPIO number; from stop() on, and before start(), it is an input."""

    def __init__(self, pin):
        self._pin = pin
        self._pwm = None

    def start(self, hertz):
        """A whole number of clock cycles a period, where the clock is a multiple of `hertz` (below 65,536 times)."""
        pwm = machine.PWM(machine.Pin(self._pin))
        self._pwm = pwm
        pwm.freq(hertz)
        pwm.duty_u16(HALF)

    def stop(self):
        """Harmless when nothing runs.  It would outlive a soft reset."""
        pwm = self._pwm
        if pwm:
            self._pwm = None
            pwm.deinit()
            machine.Pin(self._pin, machine.Pin.IN)
