"""Files opened ahead of time: in their order, each closed, and no wait for a card that hangs."""

from __future__ import annotations

import os
import threading
from pathlib import Path

import pytest

from sorter.disk import ahead
from sorter.disk.card import Card, Window

NUMBER = 150


@pytest.fixture
def card(tmp_path: Path) -> Card:
    for number in range(NUMBER):
        (tmp_path / f"{number:03d}.jpg").write_bytes(b"limpet %d" % number)
    return Card(tmp_path)


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every card counts as slow from its second file on."""
    monkeypatch.setattr(ahead, "SLOW_S", -1.0)
    monkeypatch.setattr(ahead, "TIMED", 1)


def paths(card: Card) -> list[str]:
    return [file.path for file in card.listing().files]


def left_alone(_: Window) -> None:
    """Nothing to prepare."""


def contents(card: Card, wanted: list[str]) -> list[bytes | str]:
    found: list[bytes | str] = []
    for one in ahead.opened(card, wanted, left_alone):
        if isinstance(one, Window):
            with one:
                found.append(one.head)
        else:
            found.append(type(one).__name__)
    return found


def handles() -> int:
    return len(os.listdir("/proc/self/fd"))  # noqa: PTH208 - a count, of no paths


def expected() -> list[bytes | str]:
    return [b"limpet %d" % number for number in range(NUMBER)]


def test_a_quick_card_is_opened_file_by_file(card: Card, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(ahead, "SLOW_S", 3600.0)
    monkeypatch.setattr(ahead, "_ahead", None)  # would fail where it is called
    assert contents(card, paths(card)) == expected()


@pytest.mark.usefixtures("slow")
def test_a_slow_card_gives_the_same_files_in_the_same_order(card: Card) -> None:
    before = handles()
    assert contents(card, paths(card)) == expected()
    assert handles() == before


@pytest.mark.usefixtures("slow")
@pytest.mark.parametrize("count", [0, 1, 2, 5])
def test_few_files_are_opened_too(card: Card, count: int) -> None:
    assert contents(card, paths(card)[:count]) == expected()[:count]


@pytest.mark.usefixtures("slow")
def test_what_cannot_be_opened_stands_in_its_place(card: Card) -> None:
    wanted = paths(card)
    wanted[7] = "gone.jpg"
    found = contents(card, wanted)
    assert found[6:9] == [b"limpet 6", "FileNotFoundError", b"limpet 8"]


@pytest.mark.usefixtures("slow")
def test_a_card_that_goes_away_is_handed_over_as_such(card: Card) -> None:
    wanted = paths(card)
    for path in wanted:
        (card.root / path).unlink()
    assert set(contents(card, wanted)) == {"CardGone"}


@pytest.mark.usefixtures("slow")
def test_what_was_opened_ahead_and_not_asked_for_is_closed(card: Card) -> None:
    before, others = handles(), set(threading.enumerate())
    windows = ahead.opened(card, paths(card), left_alone)
    for _ in range(3):
        one = next(windows)
        assert isinstance(one, Window)
        one.close()
    windows.close()
    for thread in set(threading.enumerate()) - others:
        thread.join(timeout=30)
    assert handles() == before


@pytest.mark.usefixtures("slow")
def test_a_card_that_hangs_keeps_nobody_from_ending(
    card: Card, monkeypatch: pytest.MonkeyPatch
) -> None:
    wanted = paths(card)
    hangs, goes_on = threading.Event(), threading.Event()
    properly = card.open

    def hanging(path: str) -> Window:
        if path == wanted[2]:
            hangs.set()
            goes_on.wait(30)
        return properly(path)

    monkeypatch.setattr(card, "open", hanging)
    windows = ahead.opened(card, wanted, left_alone)
    for _ in range(2):
        one = next(windows)
        assert isinstance(one, Window)
        one.close()
    assert hangs.wait(30)
    windows.close()  # returns although a thread still waits for the card
    assert not goes_on.is_set()
    goes_on.set()


@pytest.mark.usefixtures("slow")
def test_what_will_be_asked_for_is_read_ahead(card: Card) -> None:
    prepared: list[int] = []

    def prepare(window: Window) -> None:
        prepared.append(threading.get_ident())
        window.read(0, 4)

    for one in ahead.opened(card, paths(card), prepare):
        assert isinstance(one, Window)
        one.close()
    assert len(prepared) == NUMBER - 1  # all but the one by which the card was found slow
    assert threading.get_ident() not in prepared
