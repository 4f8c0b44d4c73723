"""The words of names are plain English, the trade's, or explained in DEVELOPERS.md (see scripts/words)."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from wording import lists
from wording.command import kind_of, main, unknown
from wording.counting import Used, counted, words_of

PACKAGE = lists.ROOT / "sorter"
needs_plain = pytest.mark.skipif(
    not lists.PLAIN.is_file() and not os.environ.get("CI"),
    reason="the list of plain English is not there: scripts/words brings it",
)


@pytest.mark.parametrize(
    ("name", "words"),
    [
        ("number_of_frames", ["number", "frames"]),
        ("NumberOfFrames", ["number", "frames"]),
        ("LEAST_SLICES", ["least", "slices"]),
        ("HTTPServer", ["http", "server"]),
        ("_of_a_px", []),
    ],
)
def test_a_name_is_taken_apart(name: str, words: list[str]) -> None:
    assert list(words_of(name)) == words


def test_what_is_defined_and_what_is_said_are_counted_apart(tmp_path: Path) -> None:
    (tmp_path / "pool").mkdir()
    (tmp_path / "pool" / "limpet.py").write_text(
        '"""A limpet on its rock."""\n\ndef limpet_at(rock):\n    tide = rock\n    return tide.read()\n'
    )
    found = counted(tmp_path)
    assert (found["limpet"].in_names, found["limpet"].in_docstrings) == (1, 1)
    assert found["rock"].names == {"rock": 1}, "the argument; what is only used is no name of ours"
    assert found["tide"].rooms == {"pool"}
    assert "read" not in found


@needs_plain
def test_every_word_of_a_name_is_one_that_people_know() -> None:
    lacking = unknown(counted(PACKAGE))
    assert not lacking, {word: list(used.names)[:3] for word, used in lacking.items()}


@needs_plain
@pytest.mark.parametrize(
    ("word", "kind"),
    [
        ("limpetish", "unknown"),
        ("litter", "gone"),
        ("bracket", "plain"),
        ("unfinished", "plain"),
        ("exif", "trade"),
        ("observation", "glossary"),
    ],
)
def test_each_list_is_asked(word: str, kind: str) -> None:
    assert kind_of(word) == kind


@needs_plain
def test_a_private_word_ends_the_command_with_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "pool.py").write_text("glance = frame = 1\n")
    assert main(["--package", str(tmp_path)]) == 1
    assert "glance" in capsys.readouterr().out
    (tmp_path / "pool.py").write_text("frame = 1\n")
    assert main(["--package", str(tmp_path)]) == 0


def test_what_was_private_is_in_no_other_list() -> None:
    assert not lists.GONE & (lists.trade() | lists.glossary())


def test_only_names_count_as_lacking() -> None:
    assert unknown({"limpetish": Used(in_docstrings=3)}) == {}
