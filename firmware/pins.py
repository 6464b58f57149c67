"""Which pin does what, and how the boards differ.  The one file to edit for another wiring.

The same for Pico, Pico W, Pico 2 and Pico 2 W, whose headers agree.  Facts of the boards: from memory of their
datasheets, not tried on hardware.
"""

from collections import namedtuple

COIL = 15  # the squared coil signal, 0 to 3.3 V (see WIRING.md); PIO reads any pin
MARK = 22  # a button to ground
# A voltage that follows the coil's amplitude, on GP26, GP27 or GP28; None where nothing is wired.
AMPLITUDE = None
# Nothing must be wired here: the self-test puts a square wave of 20 kHz on it.  Far from the coil's on the header;
# None for no self-test.
SELF_TEST = 2

SUPPLY = 29  # on the board: VSYS / 3
# On the wireless boards GP29 is also the clock line to the wireless chip.  While its chip select, GP25, is high that
# chip does not listen and VSYS / 3 can be read; this firmware never uses it.  (On the others GP25 is the LED.)
WIRELESS_SELECT = 25
TEMPERATURE_CHANNEL = 4  # of the ADC, in the chip (RP2040 and the 60-pin RP2350 of Pico 2)

# name: of the board, for a person; clock_hz: to run at; has_supply: VSYS / 3 is on GP29; wireless: as above.
Kind = namedtuple("Kind", "name clock_hz has_supply wireless")


def kind_of(machine):
    """The Kind for `machine`: sys.implementation._machine of MicroPython ("Raspberry Pi Pico W with RP2040")."""
    name, _, chip = machine.partition(" with ")
    pico = name.find("Pico") >= 0
    # The rates that the chips are made for; RP2350 runs the same program with a tick of 13.3 ns instead of 16.
    clock_hz = 150_000_000 if chip.find("RP2350") >= 0 else 125_000_000
    return Kind(name, clock_hz, pico, pico and name.endswith(" W"))
