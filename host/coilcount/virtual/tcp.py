"""The virtual board's port over TCP, for programs that cannot open a pseudo-terminal."""

import contextlib
import os
import select
import socket

from coilcount.errors import DeviceError

_CHUNK = 4096
# What one side sent and the other has not taken; past it the sender has to wait.
_MOST_WAITING = 65536


class Relay:
    """Bytes both ways between the serial port `port` and one client at a time on 127.0.0.1.

    While nobody is connected nothing is read from the board, which then drops its oldest records, as on any
    port that is not read.  While the board is unplugged a client is sent away, and may come back.
    number: of the TCP port; 0 takes a free one.
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
        """For pyserial's serial_for_url, and for `--port`."""
        return f"socket://127.0.0.1:{self._listener.getsockname()[1]}"

    def __enter__(self) -> "Relay":
        return self

    def __exit__(self, *_: object) -> None:
        self._part()
        self._listener.close()

    def step(self, wait_s: float) -> None:
        """Move what there is to move, after waiting for it at most wait_s seconds."""
        if self._client is None:
            if select.select([self._listener], [], [], wait_s)[0]:
                self._meet()
            return
        assert self._board is not None
        reading: list = []
        writing: list = []
        if len(self._to_board) < _MOST_WAITING:
            reading.append(self._client)
        if len(self._to_client) < _MOST_WAITING:
            reading.append(self._board)
        if self._to_client:
            writing.append(self._client)
        if self._to_board:
            writing.append(self._board)
        readable, writable, _ = select.select(reading, writing, [], wait_s)
        try:
            if self._client in readable:
                heard = self._client.recv(_CHUNK)
                if not heard:
                    raise ConnectionError
                self._to_board += heard
            if self._board in readable:
                told = os.read(self._board, _CHUNK)
                if not told:
                    raise ConnectionError
                self._to_client += told
            if self._client in writable:
                self._to_client = self._to_client[self._client.send(self._to_client) :]
            if self._board in writable:
                self._to_board = self._to_board[os.write(self._board, self._to_board) :]
        except BlockingIOError:
            pass
        except OSError:
            # The client left, or the plug was pulled (EIO): either way they part.
            self._part()

    def _meet(self) -> None:
        client, _ = self._listener.accept()
        try:
            self._board = os.open(self._port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        except OSError:
            client.close()
            return
        client.setblocking(False)
        self._client = client

    def _part(self) -> None:
        if self._client is not None:
            self._client.close()
            self._client = None
        if self._board is not None:
            with contextlib.suppress(OSError):
                os.close(self._board)
            self._board = None
        self._to_client = self._to_board = b""
