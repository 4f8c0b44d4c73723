"""What comes from a file stands in the page as text: names and Exif texts that are HTML, or CSV."""

from __future__ import annotations

import shutil
from pathlib import Path
from typing import Final

import piexif
import pytest
from click.testing import CliRunner
from playwright.sync_api import expect

from browser.conftest import Opener
from sorter.cli import commands
from sorter.manifest.corrections import read_corrections
from writing.cards import picture

NAMES: Final = (
    'IMG_0001"><img src=x onerror=ran()>.JPG',
    "IMG_0002<script>ran()<!-- &amp; &#60;.JPG",
    'IMG_0003\', ""=1+1,.JPG',
    "=IMG_0004\u202egpj.JPG",
    "IMG_0005\udcff.JPG",
    "IMG_0006 {{ 7 * 7 }}.JPG",
)
LENS: Final = "</style><script>ran()</script> 60mm"


@pytest.fixture(scope="module")
def shoot(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A burst and what is no picture, by names that would do something, ingested and reported."""
    base = tmp_path_factory.mktemp("hostile")
    folder = base / "card" / "DCIM" / "100<b>IDE"
    for number, name in enumerate(NAMES):
        shown = picture(base / "plain.JPG", 0.25 * number, shade=20 * number, side=96, lens=LENS)
        exif = piexif.load(str(shown))
        exif["0th"][piexif.ImageIFD.Model] = b"<i>R8</i>"
        piexif.insert(piexif.dump(exif), str(shown))
        folder.mkdir(parents=True, exist_ok=True)
        shutil.move(shown, folder / name)
    (folder / "<svg onload=ran()>.JPG").write_bytes(b"")
    for words in (("ingest", base / "card", base / "pool<u>"), ("report", base / "pool<u>")):
        done = CliRunner().invoke(commands, [str(word) for word in words])
        assert done.exit_code <= 1, done.output
    return base / "pool<u>"


def test_nothing_of_a_file_is_run_or_drawn(open_page: Opener, shoot: Path) -> None:
    opened = open_page(shoot / "report" / "index.html")
    page = opened.page
    expect(page.get_by_role("heading", level=1)).to_have_text("pool<u>")
    expect(page.locator(".about")).to_contain_text("<i>R8</i>")
    expect(page.locator(".about")).to_contain_text("</style><script>ran()</script> 60mm")
    assert page.locator("script").count() == 1
    assert page.locator("b, u, i", has_text="R8").count() == 0
    assert page.locator("[onerror], [onload]").count() == 0
    expect(page.locator("table")).to_contain_text("<svg onload=ran()>.JPG")
    for number, name in enumerate(NAMES):
        page.locator(".all button").nth(number).click()
        told = name.replace("\udcff", "\\xff").split("/")[-1]
        expect(page.locator("#view-said")).to_contain_text(told.split("\u202e")[0])
        page.keyboard.press("Escape")
    opened.in_order()


@pytest.mark.parametrize("position", range(2, 7))
def test_a_row_with_such_names_is_read_as_it_was(
    open_page: Opener, shoot: Path, tmp_path: Path, position: int
) -> None:
    page = open_page(shoot / "report" / "index.html").page
    page.locator(".correct").first.click()
    page.locator("#mend-at").fill(str(position))
    page.locator("#mend-split").click()
    file = tmp_path / "corrections.csv"
    file.write_bytes(page.evaluate("document.getElementById('rows').value").encode())
    first, second = read_corrections(file)
    folder = "DCIM/100<b>IDE"
    written = [name.replace("\udcff", "\\xff") for name in NAMES]
    assert first.first == f"{folder}/{written[0]}"
    assert first.last == f"{folder}/{written[position - 2]}"
    assert second.first == f"{folder}/{written[position - 1]}"
    assert second.last == f"{folder}/{written[-1]}"
