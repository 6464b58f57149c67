"""One module a command: its arguments and what it does; wires the rooms together."""
