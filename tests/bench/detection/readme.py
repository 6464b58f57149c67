"""Puts printed tables into the README: between `<!-- table: TITLE -->` and `<!-- end of table -->`."""

import re
from pathlib import Path

BLOCK = re.compile(r"(<!-- table: (?P<title>[^\n]*?) -->\n).*?(<!-- end of table -->)", re.DOTALL)


def fill(path: Path, shown: dict[str, str]) -> list[str]:
    """Replace the tables of a page by those that were printed; return the titles that the page has and that were not.

    shown: text of each table by its title.  A table that was not printed stays as it is.
    """
    missing = []

    def put(match: re.Match) -> str:
        title = match["title"]
        if title not in shown:
            missing.append(title)
            return match[0]
        return f"{match[1]}\n{shown[title]}\n\n{match[3]}"

    text = path.read_text()
    path.write_text(BLOCK.sub(put, text))
    return missing
