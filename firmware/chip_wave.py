"""A square wave on a pin of its own, made by the chip's PWM.  The self-test counts it."""

import machine

HALF_DUTY_U16 = 32_768  # half of the 65,536 steps of duty_u16()


class ChipWave:
    """pin: GPIO number.  The pin is an input before start() and after stop()."""

    def __init__(self, pin):
        self._pin = pin
        self._pwm = None

    def start(self, hertz):
        """Start the wave.

        Every period has the same whole number of clock cycles if the clock is a multiple of `hertz`, and the factor
        is below 65,536.
        """
        pwm = machine.PWM(machine.Pin(self._pin))
        self._pwm = pwm
        pwm.freq(hertz)
        pwm.duty_u16(HALF_DUTY_U16)

    def stop(self):
        """Stop the wave, which would go on after a soft reset.  Harmless if there is none."""
        pwm = self._pwm
        if pwm:
            self._pwm = None
            pwm.deinit()
            machine.Pin(self._pin, machine.Pin.IN)
