"""The page of a report in a real browser: looked at, filtered, enlarged, and corrections copied from it."""

from __future__ import annotations

import csv
import re
import shutil
from io import StringIO
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from playwright.sync_api import expect

from browser.conftest import WIDTHS, Opened, Opener, Scheme
from sorter.cli import commands
from sorter.manifest.corrections import read_corrections
from sorter.manifest.csvfile import read_manifest
from sorter.model.row import Row

HEADER = ["first", "last", "kind", "name"]


def rows_of(text: str) -> list[list[str]]:
    return list(csv.reader(StringIO(text)))


def clipboard(opened: Opened) -> str:
    text: str = opened.page.evaluate("navigator.clipboard.readText()")
    return text


def heads(shoot: Path, sequence: int) -> list[str]:
    """The sources of a sequence's frames on the card, a picture for each."""
    found: dict[int, Row] = {}
    for row in read_manifest((shoot / "manifest.csv").read_bytes()):
        if row.sequence == sequence and row.position is not None:
            found.setdefault(row.position, row)
    return [found[position].source for position in sorted(found)]


# ---- as it opens -------------------------------------------------------------------------------


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_it_opens_whole(open_page: Opener, index: Path, width: int, scheme: Scheme) -> None:
    """From the disk: nothing is said, nothing asked for elsewhere, nothing sticks out at the side."""
    opened = open_page(index, width, scheme)
    page = opened.page
    expect(page.get_by_role("heading", level=1)).to_have_text("rock-pool")
    expect(page.locator(".seq")).to_have_count(15)
    expect(page.locator(".wall > li")).to_have_count(12)
    wide = page.evaluate(
        "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    )
    assert wide <= 0
    ground = page.evaluate("getComputedStyle(document.body).backgroundColor")
    light = sum(map(int, re.findall(r"\d+", ground)[:3])) / 3
    assert (light < 64) if scheme == "dark" else (light > 192)
    opened.in_order()


def test_every_picture_of_the_page_is_there(open_page: Opener, index: Path) -> None:
    opened = open_page(index)
    names = opened.page.eval_on_selector_all(
        "img[src]", "all => all.map(i => i.getAttribute('src'))"
    )
    assert len(names) > 333
    large = [name.replace("/small-", "/large-") for name in names]
    assert [name for name in {*names, *large} if not (index.parent / name).is_file()] == []


def test_pictures_load_only_when_they_come_near(open_page: Opener, index: Path) -> None:
    opened = open_page(index)
    opened.page.wait_for_timeout(400)
    assert sum("/pictures/" in url for url in opened.asked) < 80


def test_pictures_are_decoded_by_the_browser(open_page: Opener, index: Path) -> None:
    """Trial merge, depth map and a thumbnail: a content security policy may forbid pictures too."""
    opened = open_page(index)
    for name in ("#s6 .merge img", "#s6 .depth img", "#s6 .all img >> nth=0"):
        image = opened.page.locator(name)
        image.scroll_into_view_if_needed()
        expect(image).to_have_js_property("complete", value=True)
        assert image.evaluate("image => image.naturalWidth") > 100
    opened.in_order()


def test_other_scripts_are_forbidden(open_page: Opener, index: Path) -> None:
    opened = open_page(index)
    opened.page.evaluate(
        "document.body.insertAdjacentHTML('beforeend', '<img src=\"no\" onerror=\"window.ran = 1\">')"
    )
    opened.page.evaluate(
        "const s = document.createElement('script'); s.textContent = 'window.ran = 2'; document.body.append(s)"
    )
    opened.page.wait_for_timeout(200)
    assert opened.page.evaluate("window.ran ?? 0") == 0
    assert any("Content Security Policy" in said for said in opened.said)


def test_the_words_of_a_section(open_page: Opener, index: Path) -> None:
    part = open_page(index).page.locator("#s6")
    expect(part.locator("h3")).to_have_text("6 focus bracket, 20 frames")
    expect(part.locator(".verdict")).to_have_text("incomplete")
    expect(part.locator(".merge figcaption")).to_contain_text("19 of 20 slices")
    expect(part.locator(".merge figcaption")).to_contain_text("Left out: 20 (sharpest nowhere)")
    expect(part.locator(".attempts .best")).to_contain_text("7, the best")
    expect(part.locator(".scale span").first).to_have_text("1")
    expect(part.locator(".scale span").last).to_have_text("19")
    expect(part.get_by_text("Starts late at the near end")).to_be_visible()


# ---- filters -----------------------------------------------------------------------------------


def test_filters_by_kind_and_by_what_deserves_a_look(open_page: Opener, index: Path) -> None:
    opened = open_page(index)
    page = opened.page
    expect(page.locator("#shown")).to_have_text("27 of 27 sequences are shown.")
    page.get_by_role("checkbox", name="focus bracket").uncheck()
    expect(page.locator("#s3")).to_be_hidden()
    expect(page.locator("#s9")).to_be_visible()
    expect(page.locator("#shown")).to_have_text("19 of 27 sequences are shown.")
    assert page.locator('.line a[href="#s3"]').get_attribute("class") == "focus-bracket off"
    page.get_by_role("checkbox", name="only what deserves a look").check()
    shown = page.locator(".seq:visible, .wall > li:visible")
    assert {each.get_attribute("id") for each in shown.all()} == {"s9", "s12", "s26"}
    page.get_by_role("checkbox", name="focus bracket").check()
    expect(page.locator("#shown")).to_have_text("6 of 27 sequences are shown.")
    opened.in_order()


def test_a_link_to_what_is_filtered_away_shows_it(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.get_by_role("checkbox", name="single").uncheck()
    expect(page.locator("#s2")).to_be_hidden()
    page.locator("#s3").get_by_role("link", name="sequence 2").click()
    expect(page.locator("#s2")).to_be_visible()
    expect(page.get_by_role("checkbox", name="single")).to_be_checked()


# ---- keyboard ----------------------------------------------------------------------------------


def test_the_time_line_is_one_stop_and_arrows_go_on(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.locator('.line a[tabindex="0"]').focus()
    assert page.locator('.line a[tabindex="0"]').count() == 1
    for key, href in (
        ("ArrowRight", "#s2"),
        ("ArrowRight", "#s3"),
        ("ArrowLeft", "#s2"),
        ("Home", "#s1"),
    ):
        page.keyboard.press(key)
        assert page.evaluate("document.activeElement.getAttribute('href')") == href
    page.keyboard.press("ArrowRight")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#s3")).to_be_in_viewport()


def test_every_control_is_reached_by_the_tab_key(open_page: Opener, index: Path) -> None:
    """And each says what it is."""
    page = open_page(index).page
    wanted = page.evaluate(
        "[...document.querySelectorAll('a, button, input, select, textarea')]"
        ".filter(e => !e.closest('dialog') && !e.closest('.line') && !e.disabled).length"
    )
    seen = page.evaluate(
        "[...document.querySelectorAll('a, button, input, select, textarea')]"
        ".filter(e => !e.closest('dialog') && !e.closest('.line') && !e.disabled && e.tabIndex >= 0).length"
    )
    assert wanted == seen > 350
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    page.keyboard.press("Enter")
    assert page.evaluate("location.hash") == "#sequences"
    page.keyboard.press("Tab")
    assert (
        page.evaluate("document.activeElement.getAttribute('aria-label')") == "Correct… sequence 3"
    )


# ---- the large view ----------------------------------------------------------------------------


def test_the_large_view_goes_through_the_frames(open_page: Opener, index: Path) -> None:
    opened = open_page(index)
    page = opened.page
    frame = page.locator("#s6 .all button")
    frame.nth(4).focus()
    page.keyboard.press("Enter")
    view, said = page.locator("#view"), page.locator("#view-said")
    expect(view).to_be_visible()
    expect(said).to_contain_text("IMG_9825.CR3 · frame 5 · 13:07:3")
    assert "/large-" in (page.locator("#view-picture").get_attribute("src") or "")
    expect(page.locator("#view-picture")).to_have_js_property("complete", value=True)
    for key, where in (
        ("ArrowRight", "6 of 20"),
        ("ArrowLeft", "5 of 20"),
        ("End", "20 of 20"),
        ("Home", "1 of 20"),
    ):
        page.keyboard.press(key)
        expect(page.locator("#view-where")).to_have_text(where)
    expect(page.locator("#view-before")).to_be_disabled()
    page.locator("#view-next").click()
    expect(page.locator("#view-where")).to_have_text("2 of 20")
    page.keyboard.press("Escape")
    expect(view).to_be_hidden()
    assert page.evaluate(
        "document.activeElement === document.querySelectorAll('#s6 .all button')[1]"
    )
    opened.in_order()


def test_the_large_view_shows_merge_and_depth(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.locator("#s6 .merge button").click()
    expect(page.locator("#view-said")).to_have_text("Trial merge of sequence 6")
    page.keyboard.press("ArrowRight")
    expect(page.locator("#view-said")).to_have_text("Depth map of sequence 6")
    expect(page.locator("#view-split")).to_be_hidden()
    page.locator("#view-close").click()
    expect(page.locator("#view")).to_be_hidden()


def test_a_best_frame_opens_among_all_of_its_burst(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.locator("#s9 .large button").first.click()
    expect(page.locator("#view-where")).to_have_text("17 of 24")
    expect(page.locator("#view-said")).to_contain_text("best frame, number 1")


@pytest.mark.parametrize(("way", "where"), [(-120, "6 of 20"), (120, "4 of 20"), (-20, "5 of 20")])
def test_a_swipe_goes_on_and_back(open_page: Opener, index: Path, way: int, where: str) -> None:
    page = open_page(index, 390, touch=True).page
    page.locator("#s6 .all button").nth(4).click()
    box = page.locator("#view-picture").bounding_box()
    assert box is not None
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + way, y + 4, steps=4)
    page.mouse.up()
    expect(page.locator("#view-where")).to_have_text(where)


# ---- corrections -------------------------------------------------------------------------------


def test_a_split_is_copied_from_the_large_view(
    open_page: Opener, index: Path, demo_shoot: Path
) -> None:
    opened = open_page(index)
    page = opened.page
    page.locator("#s7 .all button").nth(20).click()
    page.get_by_role("button", name="Split here").first.click()
    expect(page.locator("#view-status")).to_have_text(
        "Copied: a new sequence begins with frame 21."
    )
    frames = heads(demo_shoot, 7)
    wanted = [[frames[0], frames[19], "", ""], [frames[20], frames[71], "", ""]]
    assert rows_of(clipboard(opened)) == wanted
    page.keyboard.press("Escape")
    assert rows_of(page.locator("#rows").input_value().strip()) == [HEADER, *wanted]
    opened.in_order()


def test_kind_and_name_are_one_row(open_page: Opener, index: Path, demo_shoot: Path) -> None:
    opened = open_page(index)
    page = opened.page
    page.get_by_role("button", name="Correct… sequence 11").click()
    page.get_by_label("It is another kind").select_option("manual-stack")
    page.get_by_label("It has a name").fill('=splash, "west"')
    page.locator("#mend-copy").click()
    frames = heads(demo_shoot, 11)
    assert rows_of(clipboard(opened)) == [
        [frames[0], frames[-1], "manual-stack", '\'=splash, "west"']
    ]
    page.get_by_role("button", name="Drop", exact=True).click()
    expect(page.locator("#rows")).to_have_value("")
    opened.in_order()


def test_joined_sequences_are_one_row(open_page: Opener, index: Path, demo_shoot: Path) -> None:
    """With the one before of the same body: 9 and 10 are neighbours, 11 is of another one."""
    page = open_page(index).page
    for number, words in ((10, "9, burst"), (12, "10, manual stack")):
        if number == 12:
            page.locator("#s12 button").click()
            page.locator("#view-correct").click()
        else:
            page.get_by_role("button", name=f"Correct… sequence {number}").click()
        expect(page.locator("#mend-join-words")).to_contain_text(words)
        page.locator("#mend-join").check()
        page.get_by_role("button", name="Done").click()
    first, last = heads(demo_shoot, 9)[0], heads(demo_shoot, 12)[-1]
    assert rows_of(page.locator("#rows").input_value().strip()) == [HEADER, [first, last, "", ""]]


def test_the_first_sequence_of_a_body_has_none_before(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.get_by_role("button", name="Correct… sequence 11").click()
    expect(page.locator("#mend-join")).to_be_disabled()


def test_a_split_that_cannot_be_is_refused_in_words(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.get_by_role("button", name="Correct… sequence 6").click()
    for wrong in ("1", "21", ""):
        page.locator("#mend-at").fill(wrong)
        page.locator("#mend-split").click()
        expect(page.locator("#mend-status")).to_have_text("Name a frame from 2 to 20.")
    expect(page.locator("#rows")).to_have_value("")


def test_corrections_outlive_a_reload_of_the_page(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.get_by_role("button", name="Correct… sequence 6").click()
    page.get_by_label("It has a name").fill("barnacles")
    page.reload()
    assert "barnacles" in page.locator("#rows").input_value()
    page.locator("#drop-all").press("Enter")
    expect(page.locator("#rows")).to_have_value("")


def test_a_saved_file_regroups_the_shoot(
    open_page: Opener, index: Path, demo_shoot: Path, demo_card: Path, tmp_path: Path
) -> None:
    """A split, a kind and a name, saved from the page: check --apply and ingest do as it says."""
    page = open_page(index).page
    page.locator("#s7 .all button").nth(20).click()
    page.locator("#view-split").click()
    page.keyboard.press("Escape")
    page.get_by_role("button", name="Correct… sequence 11").click()
    page.get_by_label("It is another kind").select_option("manual-stack")
    page.get_by_label("It has a name").fill("splash")
    page.get_by_role("button", name="Done").click()
    with page.expect_download() as download:
        page.locator("#save-all").press("Enter")
    file = tmp_path / download.value.suggested_filename
    download.value.save_as(file)
    assert file.name == "corrections.csv"
    assert len(read_corrections(file)) == 3
    frames, splash = heads(demo_shoot, 7), heads(demo_shoot, 11)
    wanted = {frames[0]: frames[:20], frames[20]: frames[20:], splash[0]: splash}

    shoot = tmp_path / "shoot"
    shutil.copytree(demo_shoot, shoot)
    assert run("check", shoot, "--apply", "--corrections", file).exit_code <= 1
    assert not (shoot / "report" / "index.html").exists(), "it shows sequences that are no more"
    assert grouped(shoot, wanted) == wanted
    other = tmp_path / "other"
    assert run("ingest", demo_card, other, "--corrections", file).exit_code <= 1
    assert grouped(other, wanted) == wanted
    assert list(other.glob("*_manual-stack_8_splash"))


def run(*words: object) -> Result:
    return CliRunner().invoke(commands, [str(word) for word in words])


def grouped(shoot: Path, wanted: dict[str, list[str]]) -> dict[str, list[str]]:
    """The sequences that begin with these frames, as the shoot has them now."""
    numbers = {
        row.source: row.sequence
        for row in read_manifest((shoot / "manifest.csv").read_bytes())
        if row.source in wanted
    }
    return {first: heads(shoot, number or 0) for first, number in numbers.items()}


# ---- paper -------------------------------------------------------------------------------------


def test_on_paper_there_are_no_controls(open_page: Opener, index: Path) -> None:
    page = open_page(index).page
    page.emulate_media(media="print")
    expect(page.locator("#filters")).to_be_hidden()
    expect(page.locator(".correct").first).to_be_hidden()
    expect(page.locator("#corrections")).to_be_hidden()
    expect(page.locator("#s6 .merge img")).to_be_visible()
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("img[loading=lazy]").count() == 0
