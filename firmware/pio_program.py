"""The timestamper: the program of one PIO state machine, which pushes a timestamp at every rising edge.

Both the chip and the tests pass timestamper() to rp2.asm_pio(autopush=True, push_thresh=PUSH_BITS).  The names in it
are those of that assembler.  The register X falls by one every TICK_CYCLES clock cycles, whether the pin is high or
low.  At each rising edge X is pushed.

Arithmetic.  The waiting loops `high` and `low` take two cycles a turn, and X counts their turns.  Besides these turns,
each edge takes the following cycles, from the sample that saw the pin high to the next turn of `low`:

    jmp(pin) that leaves low    1       mov(y, osr)           1       mov(y, osr)           1
    in_(x, 32)                  1       jmp(y_dec)        H + 1       jmp(y_dec)        H + 1

H is the hold-off.  The sum is 2 H + 6 cycles, the same for every edge.  So X misses H + OVERHEAD_TICKS ticks for each
edge.  (The turn of `high` that finds the pin low has decremented X like any other turn.)  If the first word is number
0, word n was sampled at

    n (H + OVERHEAD_TICKS) - X_n    ticks, modulo 2^32,

after some fixed moment.  A sample sees an edge less than TICK_CYCLES cycles late.  These delays do not add up.
When X passes zero, jmp(x_dec) does not jump.  In `high` it continues at the same instruction, and in `low` it wraps to
the same instruction.  Both cost the same as a jump.

The pin is sampled again H + 3 cycles after a sample, and at most one turn later.  So an edge is certain to be seen if
the pin stays high, and then low, for at least H + BLIND_CYCLES cycles each.
Word 0 is pushed at the start and is no edge.
"""
# ruff: noqa: F821  (the names of the PIO assembler)

TICK_CYCLES = 2  # clock cycles in a tick
OVERHEAD_TICKS = 3  # ticks that X misses at each edge in addition to the hold-off; see Arithmetic
BLIND_CYCLES = 5  # clock cycles in addition to the hold-off, in which an edge can be missed; see Arithmetic
# Clock cycles after an edge in which the pin is ignored: 1.6 us at 125 MHz.  That is shorter than half a period at
# 200 kHz (2.5 us), and meant to be longer than the noise next to an edge.  Chosen by hand.
HOLD_OFF = 200
PUSH_BITS = 32  # X is pushed whole, so the shift direction does not matter


def timestamper():  # 10 instructions
    pull(block)  # 1: takes the hold-off H, which was put() before the start
    label("rise")
    in_(x, 32)  # 1, and pushes X
    mov(y, osr)  # 1
    label("hold_high")
    jmp(y_dec, "hold_high")  # H + 1
    label("high")
    jmp(x_dec, "still")  # 1, whether it jumps or not
    label("still")
    jmp(pin, "high")  # 1: two cycles a turn
    mov(y, osr)  # 1
    label("hold_low")
    jmp(y_dec, "hold_low")  # H + 1
    wrap_target()
    label("low")
    jmp(pin, "rise")  # 1
    jmp(x_dec, "low")  # 1: two cycles a turn; at zero it wraps to the same instruction
    wrap()
