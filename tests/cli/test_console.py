from __future__ import annotations

import io
import re
import sys

import pytest

from manifest.accounts import account_of, rock_pool
from sorter.cli import console


class Screen(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self) -> bool:
        return True


def sit_before(monkeypatch: pytest.MonkeyPatch) -> Screen:
    """A terminal for stdout and stderr; to be called in the test, as pytest sets its own before."""
    screen = Screen()
    monkeypatch.setattr(sys, "stdout", screen)
    monkeypatch.setattr(sys, "stderr", screen)
    return screen


def test_on_a_terminal_there_is_colour_and_the_summary_is_wrapped(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    screen = sit_before(monkeypatch)
    console.show_account(rock_pool(), (), why=False)
    assert "\x1b[1m" in screen.getvalue()
    plain = re.sub(r"\x1b\[[0-9;]*m", "", screen.getvalue())
    assert max(map(len, plain.splitlines())) <= 80


def test_no_colour_where_the_user_asks_for_none(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    screen = sit_before(monkeypatch)
    monkeypatch.setenv("NO_COLOR", "1")
    console.show_account(rock_pool(), (), why=False)
    assert "\x1b[33m" not in screen.getvalue()


def test_elsewhere_there_is_no_colour_whatever_the_environment_says(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("FORCE_COLOR", "1")
    console.show_account(rock_pool(), (), why=True)
    assert "\x1b" not in capsys.readouterr().out


def test_a_card_without_frames_shows_no_table(capsys: pytest.CaptureFixture[str]) -> None:
    console.show_account(account_of(), (), why=False)
    assert capsys.readouterr().out == "No frames.\n"


def test_markup_in_a_lens_is_text(capsys: pytest.CaptureFixture[str]) -> None:
    first, *_ = rock_pool().sequences
    shot = first.frames[0]
    object.__setattr__(shot.facts, "lens", "[red]:crab:[/red]")
    console.show_account(account_of(first), (), why=False)
    assert "[red]:crab:[/red]" in capsys.readouterr().out


def test_short_work_shows_no_bar(monkeypatch: pytest.MonkeyPatch) -> None:
    screen = sit_before(monkeypatch)
    with console.Bar("reading") as bar:
        bar.advance(1, 2)
    assert screen.getvalue() == ""


def test_long_work_shows_a_bar_and_takes_it_away(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    screen = sit_before(monkeypatch)
    monkeypatch.setattr(console, "PATIENCE_S", 0.0)
    with console.Bar("reading", "finding") as bar:
        for done in range(1, 4):
            bar.advance(done, 3)
    assert "reading" in screen.getvalue()
    assert "finding" in screen.getvalue()
    assert screen.getvalue().endswith("\x1b[2K")


def test_long_work_beside_no_terminal_shows_no_bar(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(console, "PATIENCE_S", 0.0)
    with console.Bar("reading") as bar:
        bar.advance(1, 2)
    assert capsys.readouterr() == ("", "")
