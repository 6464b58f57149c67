"""The plot of the report page in a real browser: zoom, pan, spikes, gaps, themes, a phone, the content policy."""

import random
from dataclasses import replace

import pytest
from coilcount.face.page import page_html
from coilcount.model import BROAD_DIP, Header, Label, MarkMade, Silence
from headless import PHONE
from page_samples import alert, page_of

MINUTE = [0.0] * 3000


def test_mouse_and_wheel_move_the_window(show):
    page = show(page_of(MINUTE))
    whole = page.state("window")
    x, y = page.place(20.0)
    page.page.mouse.move(x, y)
    page.page.mouse.wheel(0, -600)
    page.settle()
    start, end = zoomed = page.state("window")
    assert end - start < 0.6 * (whole[1] - whole[0])
    assert page.place(20.0)[0] == pytest.approx(x, abs=1)  # the time under the pointer stays
    page.page.mouse.down()
    page.page.mouse.move(x - 150, y, steps=5)
    page.page.mouse.up()
    page.settle()
    assert page.place(20.0)[0] == pytest.approx(x - 150, abs=1)
    assert page.state("window")[0] > zoomed[0]
    page.page.mouse.move(*page.place(20.0))
    scrolled = page.page.evaluate("scrollY")
    page.page.mouse.wheel(0, 5000)
    page.settle()
    assert page.state("window") == pytest.approx(whole)
    assert page.page.evaluate("scrollY") == scrolled


def test_the_overview_moves_and_resizes_the_window(show):
    page = show(page_of(MINUTE))
    for _ in range(3):
        page.page.locator("#zoom-in").click()
    page.page.locator("#overview").scroll_into_view_if_needed()
    box = page.page.locator("#overview").bounding_box()

    def at(time_s: float) -> float:
        return box["x"] + time_s / 60 * box["width"]

    page.page.mouse.click(at(45.0), box["y"] + 20)
    start, end = page.state("window")
    assert (start + end) / 2 == pytest.approx(45.0, abs=0.2)
    page.page.mouse.move(at(end), box["y"] + 20)
    page.page.mouse.down()
    page.page.mouse.move(at(57.0), box["y"] + 20, steps=4)
    page.page.mouse.up()
    assert page.state("window") == pytest.approx([start, 57.0], abs=0.2)


def test_keys_move_the_window_and_step_through_the_alerts(show):
    dip = replace(alert(2, 30.0, -1), response="uncertain", reasons=(BROAD_DIP,))
    alerts = [alert(1, 10.0), dip, alert(3, 50.0)]
    page = show(page_of(MINUTE, [(4.0, alerts), (4.8, alerts)]))
    press = page.page.keyboard.press
    page.page.locator("#plot").focus()
    whole = page.state("window")
    for _ in range(4):
        press("+")
    start, end = page.state("window")
    assert end - start == pytest.approx((whole[1] - whole[0]) / 1.5**4, rel=1e-3)
    press("Home")
    assert page.state("window")[0] == pytest.approx(whole[0])
    press("ArrowRight")
    assert page.state("window")[0] == pytest.approx(whole[0] + 0.2 * (end - start))
    press("End")
    assert page.state("window")[1] == pytest.approx(whole[1])
    press("0")
    assert page.state("window") == pytest.approx(whole)
    seen = []
    for key in "nnnnp":
        press(key)
        seen.append(page.state("picked")["peak"])
    assert seen == [10.0, 30.0, 50.0, 50.0, 30.0]
    said = page.page.locator("#spoken")
    assert not said.inner_text().startswith("Alert")  # it waits until the keys rest
    page.page.wait_for_timeout(700)
    assert said.inner_text().startswith("Alert 2 of 3 at 0:30.0: fell") and "rarity" not in said.inner_text()
    press("n")
    page.page.wait_for_timeout(700)
    assert "rarity not known yet" in said.inner_text()  # there is one, of an alert that is no broad dip


LINE_ABOVE = """() => {
    // Pixels of the trace in the upper third of the shift lane.
    const { plot, app } = coilcountReport;
    const ratio = plot.canvas.width / plot.canvas.clientWidth;
    const lane = plot.lanes.shift;
    const [left, top, width, height] = [lane.left, lane.top, lane.width, lane.height / 3].map(
        (value) => Math.round(value * ratio),
    );
    const data = plot.canvas.getContext("2d").getImageData(left, top, width, height).data;
    const wanted = app.colours.trace.match(/[0-9a-f]{2}/gi).map((hex) => parseInt(hex, 16));
    let count = 0;
    for (let i = 0; i < data.length; i += 4) {
        if (wanted.every((value, channel) => Math.abs(data[i + channel] - value) < 60)) count += 1;
    }
    return count;
}"""


def test_one_spike_among_180_000_readings_is_seen_at_every_width(show):
    """A drawing that takes every n-th reading would lose it at nearly every width."""
    rng = random.Random(1)
    shifts = [rng.gauss(0, 0.3) for _ in range(180_000)]
    spike = 123_457
    shifts[spike] = 60.0
    page = show(page_of(shifts))
    print(f"first draw of an hour: {page.page.evaluate('document.documentElement.dataset.firstDrawMs')} ms")
    for width in (1280, 1001, 777, 390):
        assert spike % (len(shifts) // width) != 0  # every n-th reading would miss it
        page.page.set_viewport_size({"width": width, "height": 900})
        page.settle()
        assert page.page.evaluate(LINE_ABOVE) > 10, width
    page.page.locator("#plot").focus()
    for zoom in (3, 6, 9, 12, 15):
        page.page.keyboard.press("0")
        page.page.evaluate(f"coilcountReport.plot.view.zoom(1.5 ** -{zoom}, {0.02 * spike})")
        page.settle()
        assert page.page.evaluate(LINE_ABOVE) > 10, page.state("window")


def test_a_gap_of_half_a_second_in_an_hour_stays_visible(show):
    made = page_of([8.0 * (-1) ** i for i in range(180_000)])
    times = made.replay.series.time_s
    for i in range(90_000, len(times)):
        times[i] += 0.5
    page = show(made)
    assert page.page.evaluate("coilcountReport.app.recording.timeline.breaks.length") == 1
    x, y = page.place(times[90_000] - 0.25)
    box = page.page.locator("#plot").bounding_box()
    # At this zoom the trace fills the lane; only the gap interrupts it.
    row = page.page.evaluate(
        """([x, y]) => {
            const { plot, app } = coilcountReport;
            const data = plot.canvas.getContext("2d").getImageData(x, y, 40, 1).data;
            const soft = app.colours.soft.match(/[0-9a-f]{2}/gi).map((hex) => parseInt(hex, 16));
            const isSoft = (i) => soft.every((value, channel) => Math.abs(data[4 * i + channel] - value) < 8);
            return Array.from({ length: 40 }, (_, i) => isSoft(i));
        }""",
        [round(x - box["x"]) - 20, round(y - box["y"]) + 9],
    )
    assert 2 <= sum(row) <= 3 and any(row[18:22])


def test_the_theme_follows_the_system_and_can_be_switched(show):
    def paper(page) -> str:
        page.settle()
        return page.page.evaluate("getComputedStyle(document.documentElement).backgroundColor")

    light, dark = show(page_of(MINUTE), color_scheme="light"), show(page_of(MINUTE), color_scheme="dark")
    light_paper, dark_paper = paper(light), paper(dark)
    assert light_paper != dark_paper
    light.page.locator("#theme").select_option("dark")
    assert paper(light) == dark_paper
    dark.page.locator("#theme").select_option("light")
    assert paper(dark) == light_paper


def test_a_phone_needs_no_sideways_scrolling_and_two_fingers_zoom(show):
    labels = [
        Label(9.8, 10.2, 10.0, "a coin with a long name that goes on and on", "copper", "non-ferrous", 5.0, "n" * 80)
    ]
    made = page_of(MINUTE, [(4.0, [alert(1, 10.0)]), (4.8, [alert(1, 10.0)])], labels=labels, name="f" * 90 + ".ccap")
    page = show(made, viewport=PHONE, has_touch=True, device_scale_factor=2)
    assert page.page.evaluate("document.documentElement.scrollWidth") <= PHONE["width"]
    before = page.state("window")
    (x, y), touch = page.place(30.0), page.context.new_cdp_session(page.page)

    def fingers(kind: str, *apart: float) -> None:
        points = [{"x": x + offset, "y": y, "id": i} for i, offset in enumerate(apart)]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    fingers("touchStart", -30, 30)
    fingers("touchMove", -60, 60)
    fingers("touchEnd")
    start, end = page.state("window")
    assert end - start == pytest.approx((before[1] - before[0]) / 2, rel=0.1)


def test_text_from_outside_is_shown_and_never_run(show):
    evil = "</script><img src=x onerror=\"document.title='owned'\"><b>bold</b>"
    header = Header("import", "2026-05-01T09:00:00Z", notes={"place": evil}, board={"model": evil})
    made = page_of(
        MINUTE, labels=[Label(1, 2, 1.5, evil, evil, "ferrous", None, evil)], header=header, name=f"{evil}.ccap",
        marks=(MarkMade(5.0, evil),), warnings=(evil,), silences=(Silence(50.0, 50.1, evil, False),), complaint=evil,
    )  # fmt: skip
    page = show(made)
    page.settle()
    text = page.page.inner_text("body")
    assert text.count(evil) >= 6 and page.page.title() != "owned"
    assert page.page.locator("img, b").count() == 0 and not page.page.locator("#simulated").is_visible()


def test_the_policy_of_the_page_refuses_eval_and_scripts_that_are_not_its_own(browser, show, tmp_path):
    """Script that the driver evaluates would bypass the policy: so the page tries it itself, by a timer."""
    page = show(page_of(MINUTE))
    page.page.evaluate(
        "void setTimeout(() => { try { eval('document.title = 1') } catch (e) { window.refused = e.name } })"
    )
    page.page.wait_for_timeout(50)
    assert page.page.evaluate("window.refused") == "EvalError"
    page.complaints.clear()
    changed = tmp_path / "changed.html"
    changed.write_text(
        page_html([page_of(MINUTE)]).replace("</body>", "<script>document.title='owned'</script></body>")
    )
    other = browser.new_page()
    other.goto(changed.as_uri())
    other.wait_for_selector("html[data-ready]")
    assert other.title() != "owned"
    other.close()


def test_a_screen_reader_finds_names_for_everything_that_can_be_used(show):
    made = page_of(
        MINUTE, [(4.0, [alert(1, 10.0)]), (4.8, [alert(1, 10.0)])], labels=[Label(9, 11, 10, "coin", "", "ferrous")]
    )
    page = show(made)
    page.settle()
    snapshot = page.page.locator("body").aria_snapshot()
    for line in (
        "- banner",
        "- main",
        '- slider "Threshold of the detection statistic"',
        '- combobox "Theme"',
        '- heading "Finds" [level=2]',
        '- button "Label the find at 0:10.0"',
        '- columnheader "Sign conf."',
    ):
        assert line in snapshot, line
    unnamed = page.page.evaluate(
        """() => [...document.querySelectorAll("button, input, select, summary")]
            .filter((one) => one.offsetParent && !(one.textContent.trim() || one.ariaLabel || one.labels?.length))
            .map((one) => one.outerHTML)"""
    )
    assert unnamed == []
    assert page.page.locator("#threshold").get_attribute("aria-valuetext") == "4.80 sigma"


def test_what_goes_wrong_in_a_recording_is_said_above_it(show):
    made = page_of(MINUTE, complaint="2 damaged lines", warnings=("a warning",))
    page = show(replace(made, label_complaints=("the labels are not used: row 3",)))
    text = page.page.locator("#warnings-box").inner_text()
    assert "2 damaged lines" in text and "a warning" in text and "row 3" in text
