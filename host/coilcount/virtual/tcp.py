"""The virtual board's port over TCP, for programs that cannot open a pseudo-terminal."""

import contextlib
import os
import select
import socket

from coilcount.errors import DeviceError

# Bytes that one step takes from either side at most.  Chosen by hand.
_CHUNK_BYTES = 4096
# Bytes that one side sent and the other has not taken.  From here on the sender has to wait.  Chosen by hand.
_MOST_WAITING_BYTES = 65_536


class Relay:
    """Passes bytes both ways between a serial port and one client at a time on 127.0.0.1.

    port: path of the serial port; number: of the TCP port, 0 for any free one.
    While no client is connected, nothing is read from the board.  It then drops its oldest records, as on any port that
    is not read.  While the board is unplugged, the connection of a client is closed; it may connect again.
    Raises DeviceError if the TCP port cannot be opened.
    """

    def __init__(self, port: str, number: int) -> None:
        self._port = port
        self._client: socket.socket | None = None
        self._board: int | None = None
        self._to_client = b""
        self._to_board = b""
        self._listener = socket.socket()
        self._listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            self._listener.bind(("127.0.0.1", number))
            self._listener.listen(1)
        except (OSError, OverflowError) as error:
            self._listener.close()
            raise DeviceError(
                f"TCP port {number} cannot be opened", str(error), "Give another number, or 0 for any free one"
            ) from error

    @property
    def url(self) -> str:
        """The address for `--port`, and for pyserial's serial_for_url."""
        return f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def __enter__(self) -> "Relay":
        return self

    def __exit__(self, *_: object) -> None:
        self._disconnect()
        self._listener.close()

    def step(self, wait_s: float) -> None:
        """Wait at most wait_s seconds for bytes or a client, then pass on the bytes that have come."""
        if self._client is None:
            if select.select([self._listener], [], [], wait_s)[0]:
                self._accept_client()
            return
        assert self._board is not None
        reading: list = []
        writing: list = []
        if len(self._to_board) < _MOST_WAITING_BYTES:
            reading.append(self._client)
        if len(self._to_client) < _MOST_WAITING_BYTES:
            reading.append(self._board)
        if self._to_client:
            writing.append(self._client)
        if self._to_board:
            writing.append(self._board)
        readable, writable, _ = select.select(reading, writing, [], wait_s)
        try:
            if self._client in readable:
                received = self._client.recv(_CHUNK_BYTES)
                if not received:
                    raise ConnectionError
                self._to_board += received
            if self._board in readable:
                received = os.read(self._board, _CHUNK_BYTES)
                if not received:
                    raise ConnectionError
                self._to_client += received
            if self._client in writable:
                self._to_client = self._to_client[self._client.send(self._to_client) :]
            if self._board in writable:
                self._to_board = self._to_board[os.write(self._board, self._to_board) :]
        except BlockingIOError:
            pass
        except OSError:
            # The client disconnected, or the board was unplugged (EIO).
            self._disconnect()

    def _accept_client(self) -> None:
        client, _ = self._listener.accept()
        try:
            self._board = os.open(self._port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:
            client.close()
            return
        client.setblocking(False)
        self._client = client

    def _disconnect(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
        if self._board is not None:
            with contextlib.suppress(OSError):
                os.close(self._board)
            self._board = None
        self._to_client = self._to_board = b""
