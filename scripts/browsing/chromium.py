"""The system's Chromium, without a screen and without a network."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Final

from playwright.sync_api import sync_playwright

if TYPE_CHECKING:
    from playwright.sync_api import Browser

NAMES: Final = ("chromium", "chromium-browser", "google-chrome")
QUIET: Final = (
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
"""It would look for its maker's hosts at every start."""


def executable() -> str | None:
    """Where the browser is; None where there is none."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


@contextmanager
def browser() -> Iterator[Browser]:
    """A browser of its own, with nothing from earlier runs. Root may run it only without its sandbox."""
    path = executable()
    if path is None:
        message = "there is no Chromium: install it with your system's package manager"
        raise RuntimeError(message)
    alone = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    with sync_playwright() as play:
        opened = play.chromium.launch(executable_path=path, args=[*QUIET, *alone])
        try:
            yield opened
        finally:
            opened.close()
