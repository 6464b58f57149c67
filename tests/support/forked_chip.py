"""Copies of a booted chip.  Each runs in a process of its own (os.fork), with a serial port of its own.

A boot and an install take minutes of emulation.  A copy takes milliseconds, so a set of scenarios boots only once.
"""

import json
import os
import signal
import socket
import tty


class ForkedChip:
    """A copy of `chip`, from the `with` statement on.  The chip itself does not change.

    chip: a whole_chip.WholeChip that does not run in a thread.
    port: the name of the copy's serial port.
    """

    def __init__(self, chip):
        self._chip = chip

    def __enter__(self):
        master, slave = os.openpty()
        tty.setraw(slave)
        self.port = os.ttyname(slave)
        self._orders, orders = socket.socketpair()
        self._pid = os.fork()
        if self._pid == 0:
            # This process must never return to the test runner.
            code = 1
            try:
                self._orders.close()
                _serve(self._chip, (master, slave), orders)
                code = 0
            finally:
                os._exit(code)
        orders.close()
        os.close(master)
        # The slave stays open here, so that the port survives a close by the test.
        self._slave = slave
        self._answers = self._orders.makefile("r", encoding="utf-8")
        return self

    def __exit__(self, *_):
        self._answers.close()
        self._orders.close()
        os.close(self._slave)
        _, status = os.waitpid(self._pid, 0)
        assert status == 0, f"the chip's process ended with {os.waitstatus_to_exitcode(status)}"

    def order(self, method, *arguments):
        """Call a method of the copied chip and return what it returns (a value of JSON)."""
        self._orders.sendall(json.dumps([method, *arguments]).encode() + b"\n")
        answer = self._answers.readline()
        assert answer, "the chip's process has ended"
        return json.loads(answer)


def _serve(chip, pty, orders):
    """Run the chip until the other end of the socket `orders` is closed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the test ends this process by closing the socket
    chip.connect(pty)
    orders.setblocking(False)
    received = b""
    while True:
        chip.run_some()
        try:
            data = orders.recv(4096)
        except BlockingIOError:
            continue
        if not data:
            return
        received += data
        *lines, received = received.split(b"\n")
        for line in lines:
            method, *arguments = json.loads(line)
            orders.sendall(json.dumps(getattr(chip, method)(*arguments)).encode() + b"\n")
