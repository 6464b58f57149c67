"""The host's side of the emulated USB: rp2040py's own, corrected in two points.

1. rp2040py answers an OUT transfer at once, with no bytes if there are none.  The chip then asks again 10 us later, and
   its CPU does little else.  Here a transfer waits until there are bytes, as on a real bus.
2. rp2040py takes all that the chip sends.  Here the host can stop reading: the chip's transfers then stay unfinished.
"""

from rp2040py.usb.cdc import USBCDC


class UsbHost(USBCDC):
    """The host of a serial port.  Call offer() after send_serial_byte().

    reads: False while the host takes no bytes from the chip; set it with read_on().
    """

    def __init__(self, usb):
        super().__init__(usb)
        self.reads = True
        self._waiting = []  # sizes of OUT transfers for which there were no bytes
        self._unfinished = 0  # IN transfers that the host has not taken
        self._untaken = []  # their bytes
        self._answer_read, self._take_write = usb.on_endpoint_read, usb.on_endpoint_write
        self._finish_write = usb._indicate_buffer_ready
        usb.on_endpoint_read = self._read
        usb.on_endpoint_write = self._write
        usb._indicate_buffer_ready = self._ready

    def offer(self):
        """Answer the transfers that wait, while there are bytes for them."""
        while self._waiting and not self.tx_fifo.empty:
            self._answer_read(self._out_endpoint, self._waiting.pop(0))

    def read_on(self, on):
        """Stop to read, or read again, with everything that the chip has offered meanwhile."""
        self.reads = on
        if not on:
            return
        untaken, self._untaken = self._untaken, []
        for data in untaken:
            self._take_write(self._in_endpoint, data)
        unfinished, self._unfinished = self._unfinished, 0
        for _ in range(unfinished):
            self._finish_write(self._in_endpoint, False)

    def _read(self, endpoint, size):
        if endpoint == self._out_endpoint and self.tx_fifo.empty:
            self._waiting.append(size)
        else:
            self._answer_read(endpoint, size)

    def _write(self, endpoint, data):
        if endpoint == self._in_endpoint and not self.reads:
            self._untaken.append(data)
        else:
            self._take_write(endpoint, data)

    def _ready(self, endpoint, out):
        if endpoint == self._in_endpoint and not out and not self.reads:
            self._unfinished += 1
        else:
            self._finish_write(endpoint, out)

    def _on_controller_reset(self):
        # The chip has left the bus, and its transfers with it.
        self._waiting.clear()
        self._untaken.clear()
        self._unfinished = 0
        super()._on_controller_reset()
