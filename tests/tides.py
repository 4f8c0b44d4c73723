"""Cards of a rock pool at low tide, and shoots of them, as fixtures.

A module takes the one that it tests with under the name that its tests ask for:

    card = tides.linkless_card
    shoot = tides.shoot_of_card

All tests know this module, so that what makes cards is loaded only where one is made.
"""

from __future__ import annotations

from pathlib import Path

import pytest


@pytest.fixture
def tide_home(tmp_path: Path) -> Path:
    """The folder in which card and shoot lie. A room may have another one."""
    return tmp_path


@pytest.fixture
def whole_card(tide_home: Path) -> Path:
    """All that a card may hold: see tide_card."""
    from writing.cards import tide_card  # noqa: PLC0415  see above

    return tide_card(tide_home / "card")


@pytest.fixture
def linkless_card(tide_home: Path) -> Path:
    """The same without its link: every file can be carried."""
    from writing.cards import tide_card  # noqa: PLC0415  see above

    card = tide_card(tide_home / "card")
    (card / "latest.JPG").unlink()
    return card


@pytest.fixture
def readable_card(linkless_card: Path) -> Path:
    """The same without its empty file: every file can be read and carried."""
    from writing.cards import ANEMONES  # noqa: PLC0415  see above

    (linkless_card / ANEMONES / "IMG_0004.JPG").unlink()
    return linkless_card


@pytest.fixture
def new_shoot(tide_home: Path) -> Path:
    """Where a shoot is to be; nothing is there."""
    return tide_home / "shoot"


@pytest.fixture
def shoot_of_card(card: Path, new_shoot: Path) -> Path:
    """The module's card, carried."""
    from writing.cards import ingest  # noqa: PLC0415  see above

    ingest(card, new_shoot)
    return new_shoot


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody is there who can be asked."""
    from sorter.cli import console  # noqa: PLC0415  see above

    monkeypatch.setattr(console, "can_ask", lambda: True)
