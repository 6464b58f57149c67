"""The browser for the tests of the report page: one for all of them, because it takes a second to start."""

from collections.abc import Callable, Iterator
from pathlib import Path

import headless
import pytest
from coilcount.face.page import page_html
from headless import Opened


@pytest.fixture(scope="session")
def browser() -> Iterator[object]:
    if headless.missing():
        pytest.skip(headless.missing())
    with headless.launched() as browser:
        yield browser


@pytest.fixture
def show(browser, tmp_path) -> Iterator[Callable[..., Opened]]:
    """Opens recordings, or the file of a page, in the browser; each page must stay silent until the end."""
    opened: list[Opened] = []

    def show(*recordings, **options) -> Opened:
        path = tmp_path / f"page-{len(opened)}.html"
        if isinstance(recordings[0], Path):
            path = recordings[0]
        else:
            path.write_text(page_html(recordings), encoding="utf-8")
        opened.append(Opened(browser, path, **options))
        return opened[-1]

    yield show
    for page in opened:
        page.close()
