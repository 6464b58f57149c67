"""The silicon under the counter: a PIO state machine that timestamps, and DMA that keeps its FIFO empty.

Two DMA channels take turns, each started by the end of the other.  Each moves CHANNEL_WORDS words, a multiple of
the ring, so that both always begin at the ring's first word and neither ever needs to be set up again:
there is nothing to re-arm, and the FIFO (4 words) bridges the few cycles of a change.

RP2350 (from memory of its datasheet, not run there): the same program and registers, clock 150 MHz.  The upper
four bits of a transfer count are a mode there, 0 for a plain count, so a count must stay below 2^28; CHANNEL_WORDS
does.  A pad may hold itself near 2 V once it was high (erratum E9, stepping A2): an input needs a source, or a
pull-down, of 8.2 kohm or less, and the internal pull-down is no help; the Schmitt gate before the pin drives it hard.
"""

import machine
import pio_program
import rp2
import uctypes

RING_BITS = 15  # of the ring's size in bytes, 8,192 words; the most that a channel can wrap
# Per turn of a channel: 89 minutes at 25 kHz.
CHANNEL_WORDS = 1 << 27

# Datasheet, PIO: the blocks lie 0x100000 apart; FDEBUG, bits 3:0 RXSTALL of each machine, cleared by writing 1.
PIO_BASE = 0x50200000
PIO_SIZE = 0x100000
FDEBUG = 0x008
RXF0 = 0x020
MACHINES = 4  # to a block

WORD = 2  # DMA transfer size: 4 bytes


class ChipEdges:
    """pin: GPIO number of the signal, 0 to 3.3 V; machine_id: state machine 0..7, 4 to a block; ring_bits: of the
    ring's size in bytes.  The program has a block of its own.
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
        # DMA wraps at addresses that are multiples of the ring's size: of twice the room one part fits.
        size = 1 << ring_bits
        self._room = bytearray(2 * size)
        self._ring_at = (uctypes.addressof(self._room) + size - 1) & -size
        self.ring = uctypes.bytearray_at(self._ring_at, size)

    def start(self):
        """Start from word 0.  Raises OSError or ValueError where another program holds what it needs."""
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

    def _set_up(self, channel, then, enable=True):
        control = channel.pack_ctrl(
            enable=enable,
            size=WORD,
            inc_read=False,
            inc_write=True,
            ring_size=self._ring_bits,
            ring_sel=True,
            treq_sel=self._dreq,
            chain_to=then,
            irq_quiet=True,
        )
        channel.config(read=self._fifo, write=self._ring_at, count=CHANNEL_WORDS, ctrl=control, trigger=False)

    def stop(self):
        """Stop both; harmless when nothing runs.  They would outlive a soft reset."""
        state_machine = self._machine
        if state_machine:
            state_machine.active(0)
        for channel in self._channels:
            # Chained to itself first: the end of an aborted channel must not start the other.
            self._set_up(channel, channel.channel, enable=False)
        for channel in self._channels:
            channel.active(0)
            channel.close()
        self._channels = []
        if state_machine:
            self._machine = None
            rp2.PIO(self._id // MACHINES).remove_program(self._program)

    def moved(self):
        """Words moved since start(), modulo CHANNEL_WORDS; never more than there are.

        Only the count of a channel at work is read: one at rest may still hold what an aborted transfer left.
        """
        for channel in self._channels:
            if channel.active():
                return -channel.count & (CHANNEL_WORDS - 1)
        # In the change from one channel to the other, where the count is a multiple.
        return 0

    def stalled(self):
        """Whether the state machine had to wait since start(): its time base is broken."""
        return machine.mem32[self._fdebug] & self._stall_bit != 0
