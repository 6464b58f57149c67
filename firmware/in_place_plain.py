"""The functions of in_place.py in plain Python, for interpreters without the viper compiler.

These are CPython, and MicroPython on a PC whose processor it cannot compile for.  in_place.py describes the functions.
"""

from binascii import crc32


def put_bytes(out, at, data, size):
    out[at : at + size] = data[:size]
    return at + size


def put_words(value, power, digit, out, at, words, first, count, powers):
    for i in range(first, first + count):
        text = b",%d" % words[i]
        at = put_bytes(out, at, text, len(text))
    return at


def put_check(crc, i, out, size, table):
    text = b"*%08X\n" % (crc32(bytes(out[1:size])) & 0xFFFFFFFF)
    return put_bytes(out, size, text, len(text))


def copy_words(out, at, words, first, count):
    for i in range(count):
        out[at + i] = words[first + i]


def set_word(words, index, low, turns):
    words[index] = ((turns << 30) + low) & 0xFFFFFFFF
