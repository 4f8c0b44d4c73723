from __future__ import annotations

from dataclasses import replace

import pytest

from manifest.accounts import FIRST, SECOND, at, file, frame, moment
from sorter.errors import BadSettings
from sorter.model.frame import Facts, Reading
from sorter.model.kinds import Kind
from sorter.pipeline import with_clocks_set
from sorter.settings import Settings

LATE = replace(SECOND, moment=moment(240))
POOL = Reading(
    frames=(frame("A", at(0), "CR3", "JPG", "xmp"), frame("B", LATE, "ORF")),
    loose=((Kind.CLIP, file("C.MP4", replace(FIRST, moment=moment(5)))), (Kind.OTHER, file("D"))),
)


def seconds(reading: Reading) -> list[int]:
    """Every moment of the reading, after the first one of the pool."""
    told: list[Facts] = []
    for shot in reading.frames:
        told += [shot.facts, *(each.facts for each in shot.files)]
    told += [each.facts for _, each in reading.loose]
    zero = moment(0).local_s
    return [facts.moment.local_s - zero for facts in told if facts.moment]


def asked(**clock: int) -> Settings:
    return Settings(clock=clock, clock_asked=frozenset(clock))


def test_without_clocks_nothing_changes() -> None:
    assert with_clocks_set(POOL, Settings()) is POOL


def test_a_bodys_frames_files_and_clips_move_together_and_no_others() -> None:
    assert seconds(POOL) == [0, 0, 0, 240, 240, 5]
    assert seconds(with_clocks_set(POOL, Settings(clock={"0417": 60}))) == [
        60,
        60,
        60,
        240,
        240,
        65,
    ]


def test_a_body_without_a_serial_answers_to_its_model_in_any_case() -> None:
    for name in ("E-1", "e-1", " Ebb E-1 "):
        moved = with_clocks_set(POOL, Settings(clock={name: -240}))
        assert seconds(moved) == [0, 0, 0, 0, 0, 5]


def test_a_body_with_a_serial_does_not_answer_to_its_model() -> None:
    with pytest.raises(BadSettings, match="no body on this card is 'Tidepool R8'"):
        with_clocks_set(POOL, asked(**{"Tidepool R8": 60}))


def test_a_stranger_is_refused_and_the_bodies_that_are_there_are_named() -> None:
    with pytest.raises(BadSettings, match=r"There are: 0417 \(Tidepool R8\), Ebb E-1\."):
        with_clocks_set(POOL, asked(**{"0418": 60}))


def test_a_stranger_in_the_settings_file_is_a_body_left_at_home() -> None:
    assert with_clocks_set(POOL, Settings(clock={"0418": 60})) == POOL


def test_a_card_that_tells_no_body_says_so() -> None:
    with pytest.raises(BadSettings, match="none that tells"):
        with_clocks_set(Reading(frames=()), asked(**{"0417": 60}))


def test_a_time_is_never_moved_beyond_what_can_be_written() -> None:
    moved = with_clocks_set(POOL, Settings(clock={"0417": 10**12}))
    assert seconds(moved) == seconds(POOL)
