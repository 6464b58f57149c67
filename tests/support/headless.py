"""A real headless Chromium for the tests of the report page, driven by Playwright.

Needs a browser (Debian's package `chromium`, or the environment variable COILCOUNT_CHROMIUM) and the package
`playwright` of the test extra.
"""

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

BROWSER = os.environ.get("COILCOUNT_CHROMIUM") or shutil.which("chromium") or shutil.which("chromium-browser")
DESKTOP = {"width": 1280, "height": 900}
PHONE = {"width": 390, "height": 844}


def missing() -> str:
    """What is missing for the tests in a browser; "" if nothing is."""
    try:
        import playwright.sync_api  # noqa: F401
    except ImportError:
        return "the report page is not tested: the Python package playwright is missing"
    if BROWSER is None:
        return "the report page is not tested: there is no chromium (or name one in COILCOUNT_CHROMIUM)"
    return ""


@contextmanager
def launched() -> Iterator[Any]:
    """A running browser."""
    from playwright.sync_api import sync_playwright

    # Chromium refuses to run as root inside its sandbox; the pages are our own.
    root = hasattr(os, "geteuid") and os.geteuid() == 0
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=BROWSER, args=["--no-sandbox"] if root else [])
        yield browser
        browser.close()


class Opened:
    """A page in the browser that has drawn itself, and everything that it said and asked for meanwhile."""

    def __init__(self, browser: Any, path: Path, viewport: dict[str, int] = DESKTOP, **context: Any) -> None:
        self.complaints: list[str] = []
        self.requests: list[str] = []
        self.context = browser.new_context(viewport=viewport, **context)
        self.page = self.context.new_page()
        self.page.on("console", self._note)
        self.page.on("pageerror", lambda error: self.complaints.append(str(error)))
        self.page.on("request", lambda request: self.requests.append(request.url))
        self.page.set_default_timeout(15_000)
        self.page.goto(path.as_uri())
        assert self.complaints == []  # a script that cannot be read would never be ready
        self.page.wait_for_selector("html[data-ready]")

    def _note(self, message: Any) -> None:
        if message.type == "error":
            self.complaints.append(message.text)

    def state(self, name: str | None = None) -> Any:
        """The state of the page, or one part of it."""
        state = self.page.evaluate("coilcountReport.state()")
        return state if name is None else state[name]

    def to_threshold(self, position: int) -> None:
        """Move the slider as its keys do."""
        slider = self.page.locator("#threshold")
        slider.focus()
        self.page.keyboard.press("Home")
        for _ in range(position):
            self.page.keyboard.press("ArrowRight")

    def figure(self, name: str) -> str:
        """One of the figures under the slider, as it is written."""
        return self.page.locator(f"#figure-{name}").inner_text()

    def place(self, time_s: float, lane: str = "shift") -> tuple[float, float]:
        """Where a time lies in a lane of the plot, in pixels of the window."""
        self.page.locator("#plot").scroll_into_view_if_needed()
        x, y = self.page.evaluate(
            """([time, name]) => {
                const { plot } = coilcountReport;
                const lane = plot.lanes[name];
                const box = plot.canvas.getBoundingClientRect();
                const x = lane.left + ((time - plot.view.t0) / plot.view.span) * lane.width;
                return [box.left + x, box.top + (lane.top + lane.bottom) / 2];
            }""",
            [time_s, lane],
        )
        return x, y

    def settle(self) -> None:
        """Wait until what was asked for is drawn and the tables are filled."""
        # Waiting for a condition in JavaScript needs eval, which the page's own policy refuses.
        self.page.evaluate("new Promise((done) => requestAnimationFrame(() => setTimeout(done, 80)))")

    def close(self) -> None:
        """Close it; what it complained about or asked of a network is an error."""
        self.context.close()
        assert self.complaints == []
        assert [url for url in self.requests if not url.startswith(("file:", "data:", "blob:"))] == []
