from __future__ import annotations

import math
import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from manifest.accounts import FIRST, SECOND, at, frame
from sorter.cli import phrases
from sorter.model.frame import Facts, Frame


def focused(*places: dict[str, object]) -> tuple[Frame, ...]:
    return tuple(
        frame(f"A{index}", at(index, FIRST, **place)) for index, place in enumerate(places)
    )


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("100mm F2.8 Macro", "100mm F2.8 Macro"),
        ("Meerestümpel 潮", "Meerestümpel 潮"),
        ("[bold]x[/]", "[bold]x[/]"),
        ("\x1b[2J\x07", "\\x1b[2J\\x07"),
        ("a\nb\tc", "a\\nb\\x09c"),
        ("crab\u202egpj.exe", "crab\\u202egpj.exe"),
        ("crab\udcff.JPG", "crab\\xff.JPG"),
        ("\u2028\u200b\ud800", "\\u2028\\u200b\\ud800"),
        ("\x9b31m", "\\x9b31m"),
    ],
)
def test_what_a_terminal_would_obey_is_spelled_out(text: str, shown: str) -> None:
    assert phrases.safe(text) == shown


@given(st.text())
def test_no_text_keeps_a_sign_that_is_not_seen(text: str) -> None:
    shown = phrases.safe(text)
    assert {unicodedata.category(sign) for sign in shown}.isdisjoint({"Cc", "Cf", "Cs", "Zl", "Zp"})
    shown.encode()


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.4, "0.4 s"),
        (4.24, "4.2 s"),
        (12.3, "12 s"),
        (99, "99 s"),
        (130, "2.2 min"),
        (7200, "2.0 h"),
    ],
)
def test_a_span_is_told_at_a_glance(seconds: float, text: str) -> None:
    assert phrases.span(seconds, fine=True) == text


def test_a_clock_in_whole_seconds_shows_no_tenths() -> None:
    assert phrases.span(4.2, fine=False) == "4 s"
    assert phrases.span(0.01, fine=False) == "< 1 s"


def test_a_span_ends_with_the_last_exposure() -> None:
    shots = (frame("A", at(0)), frame("B", at(1, exposure_time_s=2.0)))
    assert phrases.took(shots) == "3.0 s"


def test_a_single_takes_no_time_and_a_clock_set_back_tells_none() -> None:
    assert phrases.took((frame("A", at(0)),)) == ""
    assert phrases.took((frame("A", at(90)), frame("B", at(0)))) == ""


@pytest.mark.parametrize(
    ("places", "text"),
    [
        (({"focus_near_m": 0.22}, {"focus_near_m": 0.41}), "0.22 → 0.41 m"),
        (({"focus_near_m": 0.21, "focus_far_m": 0.23}, {"focus_near_m": 0.22}), "0.22 m"),
        (({"focus_near_m": 0.221}, {"focus_near_m": 0.224}), "0.221 → 0.224 m"),
        (({"focus_near_m": 0.4}, {"focus_far_m": math.inf}), "0.40 → ∞ m"),
        (({"focus_near_m": 0.4, "focus_step": 7}, {"focus_step": 9}), "0.40 m"),
        (({"focus_step": 1200}, {"focus_step": 1850}), "step 1200 → 1850"),
        (({"focus_step": 12}, {"focus_step": 12}), "step 12"),
        (({}, {}), ""),
    ],
)
def test_focus_is_told_from_where_to_where_in_order_of_capture(
    places: tuple[dict[str, object], ...], text: str
) -> None:
    assert phrases.focus_path(focused(*places)) == text


def test_exposures_and_apertures_are_one_or_both_ends() -> None:
    shots = [
        frame("A", at(0, exposure_time_s=1 / 60, f_number=8.0)),
        frame("B", at(1, exposure_time_s=1 / 1000, f_number=5.6)),
        frame("C", at(2, exposure_time_s=None, f_number=None)),
    ]
    assert phrases.exposures(shots) == f"1/1000{phrases.DASH}1/60"
    assert phrases.apertures(shots) == f"5.6{phrases.DASH}8"
    assert phrases.exposures(shots[:1]) == "1/60"
    assert phrases.exposures(shots[2:]) == ""


@pytest.mark.parametrize(("seconds", "text"), [(1 / 250, "1/250"), (0.5, "0.5 s"), (30.0, "30 s")])
def test_an_exposure_is_told_as_cameras_tell_it(seconds: float, text: str) -> None:
    assert phrases.exposure(seconds) == text


def test_planned_frames_are_told_only_where_some_are_missing() -> None:
    assert phrases.frames(11, 48) == "11 of 48"
    assert phrases.frames(48, 48) == "48"
    assert phrases.frames(48, None) == "48"


@pytest.mark.parametrize(
    ("facts", "name"),
    [
        (FIRST, "R8"),
        (SECOND, "E-1"),
        (replace(FIRST, model="Tidepools"), "Tidepools"),
        (Facts(make="Ebb"), "Ebb"),
        (Facts(), ""),
    ],
)
def test_a_camera_is_its_model_alone(facts: Facts, name: str) -> None:
    assert phrases.camera(facts) == name


@pytest.mark.parametrize(
    ("size", "text"),
    [
        (0, "0 B"),
        (999, "999 B"),
        (1000, "1 kB"),
        (14_240_000, "14.2 MB"),
        (999_499, "999 kB"),
        (999_500, "1 MB"),
        (1_310_000_000, "1.31 GB"),
        (2_000_000_000_000, "2 TB"),
        (1_234_500_000_000_000, "1234 TB"),
    ],
)
def test_bytes_are_told_at_a_glance_in_powers_of_ten(size: int, text: str) -> None:
    # kilo, mega, giga, tera: 10 to the 3, 6, 9, 12 (BIPM, The International System of Units)
    assert phrases.amount(size) == text


@given(st.integers(0, 9 * 10**15))
def test_an_amount_is_right_to_three_digits(size: int) -> None:
    number, unit = phrases.amount(size).split()
    power = ["B", "kB", "MB", "GB", "TB"].index(unit)
    assert float(number) * 1000**power == pytest.approx(size, rel=0.006)
    assert "e" not in number
