"""Writes the parts of a line into a buffer, and copies words.  Allocates nothing.

The functions are compiled to machine code (viper).  in_place_plain.py has the same functions for an interpreter without
that compiler.  line.py chooses between the two.

Words are 32 bits, unsigned.  The small integers of a chip have 31 bits, so a larger word would need memory as a Python
integer.  Here it never becomes one.  Viper has signed integers of 32 bits on a chip and of 64 bits on a PC, and the
code must work with both.

No function checks that its buffers are long enough.
"""

# ruff: noqa: F821  (ptr8 and ptr32 are types of the viper compiler)

import micropython


@micropython.viper
def put_bytes(out, at: int, data, size: int) -> int:
    """Write the first `size` bytes of `data` into `out` from index `at` on.  Return the index after them."""
    target = ptr8(out)
    source = ptr8(data)
    i = 0
    while i < size:
        target[at + i] = source[i]
        i += 1
    return at + size


@micropython.viper
def put_words(value: int, power: int, digit: int, out, at: int, words, first: int, count: int, powers) -> int:
    """Write a comma and a decimal number for each of the words `first` to `first + count - 1`.

    value, power, digit: must be 0.  They are variables of the loop.  They are parameters because viper keeps the first
    parameters of a function in registers.
    powers: array of the words 10^9, 10^8, ... 10, 1.  Returns the index after the numbers.
    """
    target = ptr8(out)
    source = ptr32(words)
    tens = ptr32(powers)
    end = first + count
    while first < end:
        target[at] = 44
        at += 1
        value = source[first]
        first += 1
        k = 0
        if value >= 0:
            # Skip leading zeros.
            while k < 9:
                if value >= tens[k]:
                    break
                k += 1
        while k < 10:
            power = tens[k]
            digit = 48
            # On a chip a word of 2^31 or more is negative.  10^9 is subtracted until it is not.
            while value < 0:
                value -= power
                digit += 1
            while value >= power:
                value -= power
                digit += 1
            target[at] = digit
            at += 1
            k += 1
    return at


@micropython.viper
def put_check(crc: int, i: int, out, size: int, table) -> int:
    """Write "*", the CRC-32 of the bytes 1 to size - 1 of `out`, and a line feed.  Return the new size.

    crc, i: must be 0; they are variables as in put_words().
    table: array of 16 words, the CRC-32 steps of the numbers 0 to 15.
    """
    target = ptr8(out)
    steps = ptr32(table)
    crc = -1
    i = 1
    while i < size:
        crc = crc ^ target[i]
        crc = steps[crc & 15] ^ ((crc >> 4) & 0x0FFFFFFF)
        crc = steps[crc & 15] ^ ((crc >> 4) & 0x0FFFFFFF)
        i += 1
    target[size] = 42
    i = size + 1
    shift = 28
    while shift >= 0:
        # The CRC is inverted at the end; 15 - digit inverts four bits.
        digit = 15 - ((crc >> shift) & 15)
        if digit > 9:
            digit += 7
        target[i] = 48 + digit
        i += 1
        shift -= 4
    target[i] = 10
    return i + 1


@micropython.viper
def copy_words(out, at: int, words, first: int, count: int):
    """Copy `count` words from index `first` of `words` to index `at` of `out`."""
    target = ptr32(out)
    source = ptr32(words)
    i = 0
    while i < count:
        target[at + i] = source[first + i]
        i += 1


@micropython.viper
def set_word(words, index: int, low: int, turns: int):
    """Set words[index] to turns * 2^30 + low, modulo 2^32."""
    target = ptr32(words)
    target[index] = (turns << 30) + low
