"""Whether everyone can use the page: by axe-core from the npm registry, on WCAG 2.2 level A and AA.

axe-core is Deque's open rule engine; https://www.w3.org/TR/WCAG22 says what the rules stand for.
"""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path
from typing import Final

import pytest
from playwright.sync_api import Page

from browser.conftest import Opener, Scheme

AXE: Final = (
    Path(__file__).parents[2] / "build" / "browser" / "node_modules" / "axe-core" / "axe.min.js"
)
RULES: Final = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]


@pytest.fixture(scope="module")
def axe() -> str:
    if not AXE.is_file():
        message = "axe-core is missing; scripts/test installs it"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    return AXE.read_text(encoding="utf-8")


def view(page: Page) -> None:
    page.locator("#s6 .all button").nth(4).click()


def mend(page: Page) -> None:
    page.get_by_role("button", name="Correct… sequence 11").click()
    page.get_by_label("It has a name").fill("splash")


def nothing(page: Page) -> None:
    """The page as it opens, all of its sections drawn: what is far away is left out by the browser."""
    page.evaluate(
        "document.querySelectorAll('.seq, .wall > li')"
        ".forEach(part => { part.style.contentVisibility = 'visible'; })"
    )


@pytest.mark.parametrize(
    ("scheme", "width", "before"),
    [
        ("light", 1440, nothing),
        ("dark", 390, nothing),
        ("dark", 1440, view),
        ("light", 390, mend),
    ],
    ids=["wide and light", "narrow and dark", "large view", "corrections"],
)
def test_no_finding(  # noqa: PLR0917  pytest passes them by name
    open_page: Opener,
    index: Path,
    axe: str,
    scheme: Scheme,
    width: int,
    before: Callable[[Page], None],
) -> None:
    page = open_page(index, width, scheme).page
    before(page)
    page.evaluate(axe)
    found = page.evaluate(f"axe.run(document, {json.dumps({'runOnly': RULES})})")
    assert len(found["passes"]) > 20
    assert [
        (each["id"], each["impact"], len(each["nodes"]), each["nodes"][0]["html"][:200])
        for each in found["violations"]
    ] == []


def test_the_rules_would_find_a_fault(open_page: Opener, index: Path, axe: str) -> None:
    """Of contrast and of labels: a check that cannot fail is none."""
    page = open_page(index).page
    page.evaluate(
        "const p = document.createElement('p'); p.textContent = 'pale'; p.style.color = '#ddd';"
        "const b = document.createElement('button');"
        "document.querySelector('main').append(p, b)"
    )
    page.evaluate(axe)
    found = page.evaluate(f"axe.run(document, {json.dumps({'runOnly': RULES})})")
    names = {each["id"] for each in found["violations"]}
    assert {"color-contrast", "button-name"} <= names
