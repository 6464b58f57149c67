"""A list that stays small, however much is appended."""

from typing import Any


class Ends(list):
    """Keeps the first and the last `each` of what is appended; left_out: how many in between are gone."""

    def __init__(self, each: int) -> None:
        super().__init__()
        self.each = each
        self.left_out = 0

    def append(self, one: Any) -> None:
        super().append(one)
        if len(self) > 2 * self.each:
            del self[self.each]
            self.left_out += 1
