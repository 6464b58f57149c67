"""coilwire: the lines between a counting board and its host.

The same files run under CPython and MicroPython.  `frame` converts between lines and frames and checks the CRC.
`records` converts between frames and records; it has the kinds, their fields, units and moduli.

PROTOCOL.md in the folder above is the specification.  vectors.jsonl beside it holds examples that both interpreters
must pass.
"""

PROTOCOL = 1  # number of the protocol; PROTOCOL.md, "Versions", says when it is raised
