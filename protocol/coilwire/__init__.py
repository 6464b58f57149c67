"""coilwire: the lines between a counting board and its host.

The same files run under CPython and MicroPython.  `frame` turns records into lines and lines
into frames; `records` knows the kinds, their fields, units and moduli.  PROTOCOL.md beside this
package is the specification; vectors.jsonl holds examples that both interpreters must pass.
"""

PROTOCOL = 1
