"""The timestamper: one PIO state machine that tells the time of every rising edge.

timestamper() is handed to rp2.asm_pio(autopush=True, push_thresh=PUSH_BITS), on the chip and in the tests alike; the
names in it are that assembler's.  X falls by one every TICK_CYCLES clock cycles, whether the pin is high or low, and is
pushed on each rising edge.

Arithmetic.  The waiting loops `high` and `low` take two cycles a turn and X counts their turns.  What each
edge takes besides, between the sample that saw the pin high and the next turn of `low`:

    jmp(pin) that leaves low    1       mov(y, osr)           1       mov(y, osr)           1
    in_(x, 32)                  1       jmp(y_dec)        H + 1       jmp(y_dec)        H + 1

together 2 H + 6 cycles, for every edge the same, hold-off H: H + OVERHEAD_TICKS ticks that X misses.  (The turn
that finds the pin low again has counted its x_dec like any other.)  So word n, the first being 0, was sampled at

    n (H + OVERHEAD_TICKS) - X_n    ticks, modulo 2^32,

since some fixed moment.  A sample sees an edge up to TICK_CYCLES cycles late (less than), and never adds up.
When X passes zero jmp(x_dec) does not jump: in `high` it goes on to the same instruction, in `low` it wraps to the
same place, at the same cost.

The pin is next looked at H + 3 cycles after a sample, and at most one turn later: an edge is seen for certain
when the pin stays high, and low, for H + BLIND_CYCLES cycles or more.
Word 0 is pushed at once and is no edge.
"""
# ruff: noqa: F821  (the names of the PIO assembler)

TICK_CYCLES = 2
OVERHEAD_TICKS = 3
BLIND_CYCLES = 5
# 1.6 us at 125 MHz: longer than the noise beside an edge, shorter than half a period at 200 kHz (2.5 us).
HOLD_OFF = 200
# X is pushed whole, so the shift direction does not matter.
PUSH_BITS = 32


def timestamper():  # 10 instructions
    pull(block)  # 1: the hold-off H, put() before the start
    label("rise")
    in_(x, 32)  # 1, and the push
    mov(y, osr)  # 1
    label("hold_high")
    jmp(y_dec, "hold_high")  # H + 1
    label("high")
    jmp(x_dec, "still")  # 1, taken or not
    label("still")
    jmp(pin, "high")  # 1: two cycles a turn
    mov(y, osr)  # 1
    label("hold_low")
    jmp(y_dec, "hold_low")  # H + 1
    wrap_target()
    label("low")
    jmp(pin, "rise")  # 1
    jmp(x_dec, "low")  # 1: two cycles a turn; at zero it wraps to the same place
    wrap()
