from __future__ import annotations

import os
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter.errors import BadSettings
from sorter.model.knobs import GroupingKnobs
from sorter.settings import Settings, load_settings, parse_clock, parse_shift


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "mine.toml"


def load(file: Path, text: str, *clock: str) -> Settings:
    file.write_text(text, encoding="utf-8")
    return load_settings(file, clock)


def refused(file: Path, text: str) -> str:
    with pytest.raises(BadSettings) as caught:
        load(file, text)
    said = str(caught.value)
    assert said.startswith(f"{file}: ")
    return said


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("+4m", 240),
        ("-90s", -90),
        ("+1h", 3600),
        ("+1h4m", 3840),
        ("1h4m5s", 3845),
        ("+1d", 86_400),
        ("-1d2h", -93_600),
        ("90", 90),
        ("-90", -90),
        (" +4m ", 240),
        ("0", 0),
    ],
)
def test_a_shift_is_read_in_days_hours_minutes_and_seconds(text: str, seconds: int) -> None:
    assert parse_shift(text) == seconds


@pytest.mark.parametrize(
    "text", ["", "+", "m", "4x", "4m1h", "1.5h", "--4m", "+-4m", "٤m", "1h 4m", "99999999d"]
)
def test_other_text_is_no_shift(text: str) -> None:
    assert parse_shift(text) is None


@given(st.text(max_size=10))
def test_any_text_is_a_shift_or_none(text: str) -> None:
    parse_shift(text)


def test_a_serial_may_hold_an_equals_sign() -> None:
    assert parse_clock("A=17=+4m") == ("A=17", 240)


@pytest.mark.parametrize("text", ["", "0417", "0417+4m", "=+4m", " =+4m", "0417=", "0417=noon"])
def test_a_clock_that_is_not_understood_shows_how_to_write_it(text: str) -> None:
    with pytest.raises(BadSettings, match=r"0417=\+4m"):
        parse_clock(text)


def test_a_clock_named_twice_with_two_times_is_refused() -> None:
    with pytest.raises(BadSettings, match="twice"):
        load_settings(None, ["0417=+4m", "0417=+5m"])
    assert load_settings(None, ["0417=+4m", "0417=+240"]).clock == {"0417": 240}


def test_without_a_file_everything_is_as_we_set_out() -> None:
    assert load_settings(None) == Settings()
    assert Settings().grouping == GroupingKnobs()


def test_the_users_own_file_is_read(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "sorter").mkdir()
    (tmp_path / "sorter" / "sorter.toml").write_text("[grouping]\nhand_pause_s = 60\n")
    assert load_settings(None).grouping == GroupingKnobs(hand_pause_s=60.0)


def test_a_home_that_is_closed_to_us_holds_no_settings(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    """Under another user's id than the one whose home is told, as services run."""

    def closed(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setattr(Path, "stat", closed)
    assert load_settings(None) == Settings()


def test_a_file_that_is_named_stands_in_place_of_the_users_own(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, file: Path
) -> None:
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    (tmp_path / "sorter").mkdir()
    (tmp_path / "sorter" / "sorter.toml").write_text("[grouping]\nhand_pause_s = 60\n")
    assert load(file, "").grouping == GroupingKnobs()


def test_clocks_are_text_or_seconds_and_options_go_before_the_file(file: Path) -> None:
    settings = load(file, '[clock]\n0417 = "-4m"\n"E 1" = 90\n', "0417=+1h")
    assert settings.clock == {"0417": 3600, "E 1": 90}
    assert settings.clock_asked == {"0417"}


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("[groping]\n", "Did you mean 'grouping'?"),
        ("[weather]\n", "There are: clock, grouping."),
        ("[grouping]\nhandpause_s = 1\n", "Did you mean 'hand_pause_s'?"),
        ("grouping = 3\n", "write [grouping]"),
        ("[grouping]\nhand_pause_s = '45'\n", "is a number, not '45'"),
        ("[grouping]\nhand_pause_s = true\n", "is a number, not True"),
        ("[grouping]\nhand_pause_s = -1\n", "zero or more, not -1"),
        ("[grouping]\nhand_pause_s = nan\n", "zero or more, not nan"),
        ("[grouping]\nhand_pause_s = inf\n", "zero or more, not inf"),
        ("[clock]\n0417 = 'noon'\n", "is no shift"),
        ("[clock]\n0417 = 1.5\n", "is no shift"),
        ("[clock]\n0417 = true\n", "is no shift"),
        ("[clock\n", "no TOML"),
    ],
)
def test_what_is_wrong_is_said_with_the_file_and_the_way_out(
    file: Path, text: str, says: str
) -> None:
    assert says in refused(file, text)


@pytest.mark.parametrize("text", ["", "soon", "-1", "nan", "inf", "-inf", "1e999", "45s"])
@pytest.mark.parametrize(
    ("knob", "says"),
    [
        ("hand_pause_s", "Write seconds, zero or more: --hand-pause 45 is the default."),
        ("apart_s", "Write seconds, zero or more: --apart 900 is the default."),
        ("unsure_below", "Write nats, zero or more: --unsure-below 3 is the default."),
    ],
)
def test_an_option_that_is_no_number_for_its_knob_says_what_to_write(
    knob: str, says: str, text: str
) -> None:
    with pytest.raises(BadSettings) as caught:
        load_settings(None, (), {knob: text})
    assert repr(text) in str(caught.value)
    assert says in str(caught.value)


def test_a_knobs_option_goes_before_the_file_and_leaves_the_other_knobs(file: Path) -> None:
    file.write_text("[grouping]\nhand_pause_s = 60\napart_s = 300\n")
    found = load_settings(file, (), {"hand_pause_s": "0", "unsure_below": "7.5"})
    assert found.grouping == GroupingKnobs(hand_pause_s=0, apart_s=300, unsure_below=7.5)


def test_a_file_that_is_not_there_or_no_text_is_refused(tmp_path: Path, file: Path) -> None:
    with pytest.raises(BadSettings, match="No such file"):
        load_settings(file)
    with pytest.raises(BadSettings, match="Is a directory"):
        load_settings(tmp_path)
    file.write_bytes(b"\xff\xfe[clock]")
    with pytest.raises(BadSettings, match="no TOML"):
        load_settings(file)


def test_a_byte_order_mark_does_no_harm(file: Path) -> None:
    file.write_bytes(b"\xef\xbb\xbf[grouping]\napart_s = 1\n")
    assert load_settings(file).grouping.apart_s == 1


def test_tests_see_nothing_of_the_users_home() -> None:
    assert "home" in os.environ["HOME"]
