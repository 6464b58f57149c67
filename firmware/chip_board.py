"""The board's own sensors: temperature, supply and mark button.

This file has not run on hardware yet.  Its arithmetic was tested against a fake `machine` module.
"""

from binascii import hexlify

import machine
import pins
from board import Board
from counter import MS_MASK

# Readings in one mean.  A single reading of the temperature sensor scatters by several kelvin.  Chosen by hand.
READINGS = 16
# uV of a sum of READINGS readings.  3.3 V, the reference of the ADC, is 65,535 in each reading:
# 3,300,000 / (16 * 65,535) = 13,750 / 4,369.
SCALE_NUM = 13_750
SCALE_DEN = 4_369
# ms for which the button must stay changed before a press counts, longer than contacts bounce.  Chosen by hand.
DEBOUNCE_MS = 20


class ChipBoard(Board):
    """A Pico board.

    kind: pins.Kind; clock: an object with uptime_ms(); self_test: self_test.SelfTest, or None if no pin is free for it.
    """

    def __init__(self, kind, clock, self_test=None):
        self._clock = clock
        self._self_test = self_test
        self.name = kind.name
        self.uid = hexlify(machine.unique_id()).decode().upper()
        # CORE_TEMP is the right channel on every chip.  An older MicroPython does not have it.
        self._sensor = machine.ADC(getattr(machine.ADC, "CORE_TEMP", pins.TEMPERATURE_CHANNEL))
        if kind.wireless:
            # The pin keeps this level from now on.  The reason is in pins.py.
            machine.Pin(pins.WIRELESS_SELECT, machine.Pin.OUT, value=1)
        self._supply = machine.ADC(machine.Pin(pins.SUPPLY)) if kind.has_supply else None
        self._button = machine.Pin(pins.MARK, machine.Pin.IN, machine.Pin.PULL_UP)
        self._marks = 0
        self._down = False
        self._same_ms = clock.uptime_ms()  # when the button was last seen as in `_down`

    def temperature_mk(self):
        """T = 27 degC - (V - 0.706 V) / (1.721 mV/K); RP2040 and RP2350 data sheets, ADC, from memory."""
        return 300_150 - (self._microvolts(self._sensor) - 706_000) * 1000 // 1721

    def supply_mv(self):
        """Return the voltage of VSYS in mV, or 0 on a board that is not known to measure it."""
        if self._supply is None:
            return 0
        return 3 * self._microvolts(self._supply) // 1000

    def marks(self):
        now = self._clock.uptime_ms()
        if (self._button.value() == 0) == self._down:
            self._same_ms = now
        elif (now - self._same_ms) & MS_MASK >= DEBOUNCE_MS:
            self._same_ms = now
            self._down = not self._down
            self._marks += self._down
        return self._marks

    def begin_self_test(self):
        if self._self_test is None:
            return "no self-test: no pin is free for it (pins.py)"
        return self._self_test.start()

    def self_test(self):
        test = self._self_test
        return test.poll() if test else None

    def _microvolts(self, adc):
        total = 0
        for _ in range(READINGS):
            total += adc.read_u16()
        # total * 13750 // 4369, in steps that stay small integers on a chip.
        return total // SCALE_DEN * SCALE_NUM + total % SCALE_DEN * SCALE_NUM // SCALE_DEN
