"""How a writer is left as a context manager: closed in order, or with the status "aborted" after an exception."""

from typing import Self

from coilcount.errors import CoilcountError


class ClosedOnExit:
    """For writers with close(status) and on_warning, which takes a sentence for a person."""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, kind: type[BaseException] | None, *_: object) -> None:
        if kind is None:
            self.close()
            return
        try:
            self.close("aborted")
        except CoilcountError as error:  # the exception that left the block matters more
            self._on_warning(str(error))
