"""Labels made in the report page, with mouse and keys, saved as a real download and read by capture/labels.py."""

import csv
import io
import json
import random
import shutil
from pathlib import Path

import pytest
from coilcount.capture.labels import put_labels, read_labels
from coilcount.commands.cli import main
from coilcount.desk.recordings import find_recordings
from coilcount.desk.replays import replay_grid
from coilcount.desk.report import page_recording
from coilcount.errors import InputError
from coilcount.model import Label
from coilcount.settings import defaults
from page_samples import alert, page_of

ALERTS = [alert(1, 10.0), alert(2, 30.0, -1), alert(3, 50.0)]
SHIFTS = [0.0] * 3000
SHIFTS[1000] = 9.0  # at 20.01 s


def made(labels=None):
    return page_of(SHIFTS, [(4.0, ALERTS), (4.8, ALERTS)], labels=labels)


def saved(page, tmp_path) -> list[Label]:
    """The labels in the file that the page offers."""
    with page.page.expect_download() as download:
        page.page.locator("#save").click()
    assert download.value.suggested_filename == "made.labels.csv"
    path = tmp_path / "saved.labels.csv"
    download.value.save_as(path)
    return read_labels(path)


def field(page, name: str):
    return page.page.locator(f"#label-form [name={name}]")


def test_a_click_on_an_alert_labels_it_and_the_figures_follow(show, tmp_path):
    page = show(made())
    page.page.mouse.click(*page.place(10.0, "rose"))
    assert field(page, "response").input_value() == "non-ferrous"
    field(page, "object").fill('coin, "old" é')
    field(page, "metal").fill("copper")
    field(page, "depth").fill("5.5")
    page.page.get_by_role("button", name="Keep").click()
    assert page.figure("passes") == "1 of 1" and page.figure("falseAlarms") == "2"
    assert page.page.locator("#edited").is_visible() and page.page.locator("#unsaved").is_visible()
    assert saved(page, tmp_path) == [Label(9.8, 10.2, 10.0, 'coin, "old" é', "copper", "non-ferrous", 5.5, "")]
    assert not page.page.locator("#unsaved").is_visible()


def test_a_dragged_span_is_labelled_around_its_largest_shift(show, tmp_path):
    page = show(made())
    page.page.locator("#span").click()
    (x0, y), (x1, _) = page.place(18.0), page.place(22.0)
    page.page.mouse.move(x0, y)
    page.page.mouse.down()
    page.page.mouse.move(x1, y, steps=5)
    page.page.mouse.up()
    field(page, "object").fill("coin")
    page.page.get_by_role("button", name="Keep").click()
    (label,) = saved(page, tmp_path)
    assert label.closest_s == pytest.approx(20.01, abs=0.002)
    assert (label.start_s, label.end_s) == pytest.approx((18.0, 22.0), abs=0.1)
    assert page.page.locator("#span").get_attribute("aria-pressed") == "false"
    # A click on the label opens it again, and it can be removed.
    page.page.mouse.click(*page.place(20.0, "labels"))
    page.page.get_by_role("button", name="Remove").click()
    assert page.state("labels") == []


def test_everything_works_by_keys_alone(show, tmp_path):
    page = show(made())
    press, write = page.page.keyboard.press, page.page.keyboard.type
    page.page.locator("#plot").focus()
    press("n")
    press("n")
    press("Enter")  # the dialog of the alert at 30 s, with the response chosen
    press("Tab")
    write("nail")
    press("Enter")
    page.page.locator("#plot").focus()
    press("n")
    press("l")
    press("End")  # the last choice: nothing there
    press("Tab")
    write("soil")
    press("Enter")
    first, second = saved(page, tmp_path)
    assert (first.closest_s, first.object, first.response) == (30.0, "nail", "ferrous")
    assert (second.closest_s, second.object, second.response, second.is_object) == (50.0, "soil", "", False)
    assert page.figure("passes") == "1 of 1" and page.figure("falseAlarms") == "2"
    page.page.locator("#labels-body").get_by_role("button", name="Change the label at 0:30.0").focus()
    page.page.wait_for_timeout(200)  # the tables are filled again a moment after a change; the focus must survive it
    press("Enter")
    page.page.get_by_role("button", name="Remove").focus()
    press("Enter")
    assert [one["object"] for one in page.state("labels")] == ["soil"]
    press("Control+z")
    assert [one["object"] for one in page.state("labels")] == ["nail", "soil"]


def test_unsaved_labels_are_asked_about_before_the_page_is_left(show):
    page = show(made([Label(9.8, 10.2, 10.0, "coin", "", "non-ferrous")]))
    asked = []

    def answer(dialog) -> None:
        asked.append(dialog.type)
        dialog.dismiss()

    page.page.on("dialog", answer)
    page.page.mouse.click(*page.place(10.0, "labels"))
    field(page, "object").fill("ring")
    page.page.get_by_role("button", name="Keep").click()
    page.page.close(run_before_unload=True)
    for _ in range(40):
        if asked:
            break
        page.page.wait_for_timeout(50)
    assert asked == ["beforeunload"]
    page.page.locator("#undo").click()
    assert page.state("labels")[0]["object"] == "coin" and not page.state("unsaved") and not page.state("edited")


def test_a_label_file_is_loaded_and_a_wrong_one_is_refused_with_its_row(show, tmp_path):
    page = show(made([Label(9.8, 10.2, 10.0, "coin", "", "non-ferrous")]))
    good, bad = tmp_path / "good.csv", tmp_path / "bad.csv"
    labels = [Label(29.5, 30.5, 30.0, "bolt", "steel", "ferrous", 4.0, "a, b"), Label(99.0, 99.5, 99.2, "far")]
    with good.open("w", newline="") as file:
        put_labels(file, labels)
    bad.write_text(good.read_text().replace("30.0,bolt", "31.0,bolt"))
    page.page.set_input_files("#load", bad)
    page.page.get_by_text("row 2: closest_s does not lie between").wait_for()
    assert page.state("labels")[0]["object"] == "coin"
    page.page.set_input_files("#load", good)
    page.page.get_by_text("2 labels loaded from good.csv. 1 of them lie outside the recording.").wait_for()
    assert page.figure("passes") == "1 of 1" and not page.state("unsaved")
    assert saved(page, tmp_path) == labels


def test_a_label_file_of_a_spreadsheet_with_semicolons_is_loaded(show, tmp_path):
    page = show(made())
    path = tmp_path / "sheet.csv"
    head = "start_s;end_s;closest_s;object;metal;response;depth_cm;note\r\n"
    text = head + '29,5;30,5;30;bolt;;ferrous;4,5;"a;b"\r\n;;;;;;;\r\n'
    path.write_text(text, encoding="utf-8-sig", newline="")
    page.page.set_input_files("#load", path)
    page.page.get_by_text("1 labels loaded").wait_for()
    assert saved(page, tmp_path) == [Label(29.5, 30.5, 30.0, "bolt", "", "ferrous", 4.5, "a;b")]


def test_a_proposal_counts_for_nothing_until_it_is_confirmed(show, tmp_path):
    page = show(made([Label(9.8, 10.2, 10.0, "coin", "", "non-ferrous"), Label(29.8, 30.2, 30.0, "?", "", "ferrous")]))
    page.page.get_by_role("button", name="Change the label at 0:30.0").click()
    assert page.page.locator("#label-title").inner_text() == "Confirm the proposal"
    page.page.get_by_role("button", name="Cancel").click()
    page.page.get_by_role("button", name="Change the label at 0:10.0").click()
    field(page, "object").fill("ring")
    page.page.get_by_role("button", name="Keep").click()
    assert page.figure("passes") == "1 of 1" and page.figure("falseAlarms") == "2"
    page.page.get_by_role("button", name="Change the label at 0:30.0").click()
    page.page.keyboard.press("Enter")
    field(page, "object").press("Enter")
    assert page.figure("passes") == "2 of 2" and page.figure("falseAlarms") == "1"
    assert [label.object for label in saved(page, tmp_path)] == ["ring", ""]


def test_a_file_saved_in_the_page_is_read_by_label_list(show, tmp_path, capsys):
    capture = tmp_path / "quiet.ccap.gz"
    shutil.copy(Path(__file__).parents[2] / "captures" / "quiet-bench.ccap.gz", capture)
    (recording,) = find_recordings([str(capture)])
    page = show(page_recording(recording, defaults(), replay_grid(recording, defaults(), (), series=True)))
    page.page.locator("#label-here").click()
    field(page, "object").fill("knock, by hand")
    field(page, "response").select_option("")
    page.page.get_by_role("button", name="Keep").click()
    with page.page.expect_download() as download:
        page.page.locator("#save").click()
    assert download.value.suggested_filename == "quiet.labels.csv"
    download.value.save_as(tmp_path / "quiet.labels.csv")
    assert main(["label", "list", str(capture), "--json"]) == 0
    (row,) = map(json.loads, capsys.readouterr().out.splitlines())
    assert row["object"] == "knock, by hand" and row["response"] == "" and 29 < row["closest_s"] < 31


def test_a_wrong_time_is_refused_in_the_form(show):
    page = show(made())
    page.page.locator("#label-here").click()
    for name, value, complaint in (("start", "x", 'start is "x"'), ("start", "40", "between start and end")):
        field(page, name).fill(value)
        page.page.get_by_role("button", name="Keep").click()
        assert complaint in page.page.locator("#label-wrong").inner_text()
    page.page.get_by_role("button", name="Cancel").click()
    assert page.state("labels") == []


def test_the_page_and_python_read_each_others_files(show, tmp_path):
    """Random labels with every awkward character, both ways; and texts that both must refuse."""
    page = show(made())
    rng = random.Random(2)
    texts = ["", "a", 'q"q', ",", "é ü 金", " lead", "'", "=1+1", "two\nlines", '"']
    for number in range(40):
        times = sorted(round(rng.uniform(0, 60), 3) for _ in range(3))
        depth = rng.choice((None, 4.0, 0.25))
        label = Label(times[0], times[2], times[1], *rng.choices(texts, k=2), rng.choice(("ferrous", "")), depth)
        file = io.StringIO(newline="")
        put_labels(file, [label])
        back = page.page.evaluate(
            "(text) => coilcountReport.labelFileText(coilcountReport.readLabelFile(text))", file.getvalue()
        )
        path = tmp_path / f"{number}.csv"
        path.write_text(back, encoding="utf-8", newline="")
        assert read_labels(path) == [label]
        assert list(csv.reader(io.StringIO(back, newline="")))[1][3:5] == [label.object, label.metal]
    head = "start_s,end_s,closest_s,object,metal,response,depth_cm,note\n"
    for wrong in ("start_s\n", head + "1,2,x,a,,,,\n", head + "1,2,3,a,,,,\n", head + "1,2,1.5,a,,iron,,\n",
                  head + "1,2,1.5,a,,,,\n1,2\n", head + '1,2,1.5,"a,,,,\n', head + "1,2,inf,a,,,,\n", ""):  # fmt: skip
        path = tmp_path / "wrong.csv"
        path.write_text(wrong)
        with pytest.raises(InputError):
            read_labels(path)
        assert page.page.evaluate(
            """(text) => {
                try { coilcountReport.readLabelFile(text); return ""; } catch (error) { return error.message; }
            }""",
            wrong,
        )
