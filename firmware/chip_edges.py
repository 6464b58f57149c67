"""The hardware under the counter: a PIO state machine timestamps edges, and DMA moves the timestamps into a ring.

Two DMA channels take turns.  The end of one starts the other.  Each moves CHANNEL_WORDS words, which is a multiple of
the ring's length, so both always begin at the ring's first word.  So no channel needs to be set up again while the
counter runs.  The FIFO of the state machine (4 words) bridges the few cycles of a change from one channel to the other.

RP2350 (from memory of its data sheet; this was not run on one): program and registers are the same, and the clock is
150 MHz.  There are two differences:
- The upper four bits of a transfer count select a mode; 0 is a plain count.  So a count must stay below 2^28, as
  CHANNEL_WORDS does.
- After a pin was high, its pad may hold itself near 2 V (erratum E9, stepping A2).  So an input needs a source or a
  pull-down of at most 8.2 kohm, and the internal pull-down does not help.  The Schmitt-trigger gate in WIRING.md
  drives the pin with a low resistance.
"""

import machine
import pio_program
import rp2
import uctypes

# Logarithm to base 2 of the ring's size in bytes: 32 kB, 8,192 words.  A DMA channel can wrap no larger ring.
RING_BITS = 15
# Words that a channel moves before the other one takes over: 89 minutes at 25 kHz.
CHANNEL_WORDS = 1 << 27

# RP2040 data sheet, PIO, from memory.  PIO_SIZE is the distance from one block to the next.  Bits 3 to 0 of FDEBUG are
# RXSTALL of the four state machines; writing 1 clears a bit.
PIO_BASE = 0x50200000
PIO_SIZE = 0x100000
FDEBUG = 0x008
RXF0 = 0x020
MACHINES = 4  # state machines in a block

WORD = 2  # code of the DMA transfer size of 4 bytes


class ChipEdges:
    """The timestamps of one pin.

    pin: GPIO number of the signal, 0 to 3.3 V; machine_id: state machine 0 to 7 (0 to 3 are in the first block);
    ring_bits: logarithm to base 2 of the ring's size in bytes.  No other program may be in the block.

    ring: the words that DMA moved, as bytes; word n is at index n modulo ring_words.
    """

    tick_cycles = pio_program.TICK_CYCLES
    missed_ticks = pio_program.HOLD_OFF + pio_program.OVERHEAD_TICKS
    moved_modulo = CHANNEL_WORDS

    def __init__(self, pin, machine_id=0, ring_bits=RING_BITS):
        self.clock_hz = machine.freq()
        self.ring_words = 1 << ring_bits - 2
        self._ring_bits = ring_bits
        self._pin = machine.Pin(pin, machine.Pin.IN)
        self._id = machine_id
        assemble = rp2.asm_pio(autopush=True, push_thresh=pio_program.PUSH_BITS)
        self._program = assemble(pio_program.timestamper)
        self._machine = None
        self._channels = []
        base = PIO_BASE + machine_id // MACHINES * PIO_SIZE
        number = machine_id % MACHINES
        self._fdebug = base + FDEBUG
        self._stall_bit = 1 << number
        self._fifo = base + RXF0 + 4 * number
        self._dreq = machine_id // MACHINES * 8 + MACHINES + number
        # DMA wraps at addresses that are multiples of the ring's size.  A buffer of twice that size contains one.
        size = 1 << ring_bits
        self._room = bytearray(2 * size)
        self._ring_address = (uctypes.addressof(self._room) + size - 1) & -size
        self.ring = uctypes.bytearray_at(self._ring_address, size)

    def start(self):
        """Start at word 0.

        Raises OSError or ValueError if another program uses a state machine, DMA channels or memory needed here.
        """
        try:
            self._start()
        except BaseException:
            self.stop()
            raise

    def _start(self):
        state_machine = rp2.StateMachine(self._id, self._program, jmp_pin=self._pin)
        self._machine = state_machine
        machine.mem32[self._fdebug] = self._stall_bit
        for _ in range(2):
            self._channels.append(rp2.DMA())
        first, second = self._channels
        self._set_up(first, second.channel)
        self._set_up(second, first.channel)
        first.active(1)
        state_machine.put(pio_program.HOLD_OFF)
        state_machine.active(1)

    def _set_up(self, channel, next_channel, enable=True):
        control = channel.pack_ctrl(
            enable=enable,
            size=WORD,
            inc_read=False,
            inc_write=True,
            ring_size=self._ring_bits,
            ring_sel=True,
            treq_sel=self._dreq,
            chain_to=next_channel,
            irq_quiet=True,
        )
        channel.config(read=self._fifo, write=self._ring_address, count=CHANNEL_WORDS, ctrl=control, trigger=False)

    def stop(self):
        """Stop state machine and DMA, which would go on after a soft reset.  Harmless if nothing runs.

        If Ctrl-C cuts this short, the next call does what is left (see certain.py).
        """
        state_machine = self._machine
        if state_machine:
            state_machine.active(0)
        for channel in self._channels:
            # First chain each channel to itself, so that the end of an aborted channel does not start the other.
            self._set_up(channel, channel.channel, enable=False)
        for channel in self._channels:
            channel.active(0)
        # Nothing writes into the ring from here on.
        while self._channels:
            self._channels.pop().close()
        if state_machine:
            self._machine = None
            rp2.PIO(self._id // MACHINES).remove_program(self._program)

    def moved(self):
        """Return the words moved since start(), modulo CHANNEL_WORDS (int).  It never counts a word too many.

        Only the count of the active channel is read.  The other one may still hold the count of an aborted transfer.
        """
        for channel in self._channels:
            if channel.active():
                return -channel.count & (CHANNEL_WORDS - 1)
        # Between the two channels the number of words is a multiple of CHANNEL_WORDS.
        return 0

    def stalled(self):
        """Return True if the state machine had to wait since start().  Then its time base is broken."""
        return machine.mem32[self._fdebug] & self._stall_bit != 0
