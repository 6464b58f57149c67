"""The use of each pin, and the differences between the boards.  Edit this file for another wiring.

The pins are the same for Pico, Pico W, Pico 2 and Pico 2 W, because their headers agree.  The facts about the boards
are from memory of their data sheets.  They were not tried on hardware.
"""

from collections import namedtuple

# GPIO number of the squared coil signal, 0 to 3.3 V (see WIRING.md).  PIO can read any pin, so this one is free to
# choose.
COIL = 15
MARK = 22  # GPIO number of the mark button, which connects the pin to ground
# GPIO number (26, 27 or 28) of a voltage that follows the coil's amplitude.  None: nothing is wired.
AMPLITUDE = None
# GPIO number for the self-test, which puts a square wave of 20 kHz on it.  Nothing may be wired to this pin.
# It is far from the coil's pin on the header.  None: no self-test.
SELF_TEST = 2

SUPPLY = 29  # GPIO number; on the board it is connected to VSYS / 3
# GPIO number of the chip select of the wireless chip.  On the wireless boards GP29 is also the clock line of that chip.
# While the chip select is high the wireless chip ignores GP29, so VSYS / 3 can be read there.  This firmware does not
# use the wireless chip.  (On the other boards GP25 is the LED.)
WIRELESS_SELECT = 25
# ADC channel of the temperature sensor in the chip (RP2040, and the 60-pin RP2350 of the Pico 2), for a MicroPython
# without machine.ADC.CORE_TEMP.
TEMPERATURE_CHANNEL = 4

# Clock rates in Hz for which the chips are made.  Both run the same PIO program: a tick is 16 ns on the RP2040 and
# 13.3 ns on the RP2350.
RP2040_CLOCK_HZ = 125_000_000
RP2350_CLOCK_HZ = 150_000_000

# name: of the board, for a person; chip: "RP2040" or "RP2350"; clock_hz: the clock to set; has_supply: VSYS / 3 is on
# GP29; wireless: the board has a wireless chip (see WIRELESS_SELECT).
Kind = namedtuple("Kind", "name chip clock_hz has_supply wireless")


def kind_of(machine):
    """Return the Kind of a board.

    machine: MicroPython's sys.implementation._machine, for example "Raspberry Pi Pico W with RP2040".
    """
    name, _, chip = machine.partition(" with ")
    pico = name.find("Pico") >= 0
    wireless = pico and name.endswith(" W")
    if chip.find("RP2350") >= 0:
        return Kind(name, "RP2350", RP2350_CLOCK_HZ, pico, wireless)
    return Kind(name, "RP2040", RP2040_CLOCK_HZ, pico, wireless)
