"""Pages in the system's Chromium, and the demo shoot's report to look at."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final, Literal

import pytest
from playwright.sync_api import Browser, Page

from browsing.chromium import browser as chromium
from browsing.chromium import executable

WIDTHS: Final = (1440, 800, 390)
Scheme = Literal["light", "dark"]


@dataclass(slots=True)
class Opened:
    """A page that is open, with all that it said and asked for. folder: what it may ask for."""

    page: Page
    folder: Path
    said: list[str] = field(default_factory=list)
    asked: list[str] = field(default_factory=list)

    def in_order(self) -> None:
        """Raises where it wrote to the console, failed, or asked for anything from elsewhere."""
        assert self.said == []
        within = self.folder.as_uri()
        assert [url for url in self.asked if not url.startswith((f"{within}/", "blob:"))] == []


Opener = Callable[..., Opened]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    if executable() is None:
        message = "there is no Chromium; scripts/test installs it"
        if os.environ.get("CI"):
            pytest.fail(message)
        pytest.skip(message)
    with chromium() as opened:
        yield opened


@pytest.fixture
def open_page(browser: Browser) -> Iterator[Opener]:
    """Opens an index.html from the disk, at a width, in light or dark."""
    contexts = []

    def opened(
        index: Path, width: int = 1440, scheme: Scheme = "light", *, touch: bool = False
    ) -> Opened:
        context = browser.new_context(
            viewport={"width": width, "height": 900}, color_scheme=scheme, has_touch=touch
        )
        context.grant_permissions(["clipboard-read", "clipboard-write"])
        contexts.append(context)
        found = Opened(context.new_page(), index.resolve().parent)
        found.page.set_default_timeout(5000)
        found.page.on("console", lambda message: found.said.append(message.text))
        found.page.on("pageerror", lambda error: found.said.append(str(error)))
        found.page.on("request", lambda request: found.asked.append(request.url))
        found.page.on("dialog", lambda dialog: found.said.append(f"dialog: {dialog.message}"))
        found.page.goto(index.resolve().as_uri())
        return found

    yield opened
    for context in contexts:
        context.close()


@pytest.fixture(scope="session")
def demo_shoot(demo_report: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo shoot with its report. To be read, never changed."""
    return shutil.copytree(demo_report, tmp_path_factory.mktemp("reported") / "rock-pool")


@pytest.fixture(scope="session")
def index(demo_shoot: Path) -> Path:
    """The page of the demo shoot."""
    return demo_shoot / "report" / "index.html"
