"""A list that stays short, however many items are appended."""

from typing import Any


class Ends(list):
    """Keeps the first `each` and the last `each` of the items; left_out: number of items between that were dropped."""

    def __init__(self, each: int) -> None:
        super().__init__()
        self.each = each
        self.left_out = 0

    def append(self, item: Any) -> None:
        super().append(item)
        if len(self) > 2 * self.each:
            del self[self.each]
            self.left_out += 1
