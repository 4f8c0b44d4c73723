from __future__ import annotations

import os
import time
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
        ("[weather]\n", "There are: clock, grouping, pictures."),
        ("[pictures]\nmost_megapixel = 1\n", "Did you mean 'most_megapixels'?"),
        ("[pictures]\nmost_megapixels = 0\n", "a whole number from 1 to 1000, not 0"),
        ("[pictures]\nmost_megapixels = 1001\n", "a whole number from 1 to 1000, not 1001"),
        ("[pictures]\nmost_megapixels = 2.5\n", "a whole number from 1 to 1000, not 2.5"),
        ("[pictures]\nmost_megapixels = true\n", "a whole number from 1 to 1000, not True"),
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
        ("unsure_below", "Write a margin, zero or more: --unsure-below 3 is the default."),
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


# ---- what is no settings file at all ---------------------------------------------------------

DEEP = 6_000  # in 32 kB, the most that is read


@pytest.mark.parametrize(
    "text",
    [
        "x = " + "[" * DEEP + "]" * DEEP,
        "x = " + "[" * DEEP,
        "x = " + "{a=" * DEEP + "1" + "}" * DEEP,
        "x = " + "[{a=" * (DEEP // 2),
    ],
    ids=["lists", "open lists", "tables", "both"],
)
def test_what_is_nested_too_deep_is_refused(file: Path, text: str) -> None:
    assert refused(file, text) == (
        f"{file}: this is no TOML that can be read (it is nested too deep)."
    )


@pytest.mark.parametrize(
    "text",
    [
        "a" + ".a" * 15_000 + " = 1",
        "[a" + ".a" * 15_000 + "]",
        "\n".join(f"[a{'.a' * 60}.b{n}]" for n in range(200)),
        "\n".join(f"k{n} = 1" for n in range(2_900)),
        '"' + "limpet" * 5_000 + '" = 1',
        "x = '''" + "limpet" * 5_000,
        "[grouping]\nhand_pause_s = 0x" + "f" * 30_000,
        "[grouping]\nhand_pause_s = " + "9" * 30_000,
        "[grouping]\nhand_pause_s = " + "9" * 400,
        "[grouping]\nhand_pause_s = 1e999",
        "[grouping]\nhand_pause_s = -0x1" + "0" * 500,
        "[grouping]\nhand_pause_s = " + "[" * 300 + "]" * 300,
        "[grouping]\nhand_pause_s = 1979-05-27T07:32:00Z",
        "[grouping]\n" + "x" * 30_000 + " = 1",
        "[clock]\n0417 = 0x" + "f" * 30_000,
        "[clock]\n0417 = '" + "9" * 30_000 + "s'",
        "[clock]\n0417 = '" + "9" * 4_000 + "'",
        "[clock]\n" + "x" * 30_000 + " = true",
        "clock = 1",
        "[[clock]]",
        "grouping = 'long'",
        "\0" * 30_000,
        "\n" * 30_000 + "x",
    ],
    ids=lambda text: text[:20] + str(len(text)),
)
def test_what_is_out_of_the_way_is_one_short_sentence(file: Path, text: str) -> None:
    begun = time.process_time()
    said = refused(file, text)
    assert time.process_time() - begun < 10
    assert len(said) < 2_000
    assert "\n" not in said


def test_a_longer_file_than_settings_are_is_refused(file: Path) -> None:
    assert refused(file, "# low tide\n" * 10_000) == (
        f"{file}: the settings cannot be read (it is longer than 32 kB: name another file)."
    )
    assert "it is longer than 32 kB" in refused(file, "x = " + "[" * 100_000 + "]" * 100_000)


@pytest.mark.parametrize("device", ["/dev/zero", "/dev/random"])
def test_a_device_is_refused(device: str) -> None:
    with pytest.raises(BadSettings, match="it is a device: name a file or a pipe"):
        load_settings(Path(device))


def test_the_null_device_holds_no_settings() -> None:
    assert load_settings(Path(os.devnull)) == Settings()


@pytest.mark.parametrize("text", ["0417=" + "9" * 5_000, "0417=+" + "1" * 5_000 + "h"])
def test_a_shift_of_thousands_of_digits_is_refused(text: str) -> None:
    with pytest.raises(BadSettings, match="is not understood"):
        load_settings(None, [text])


def test_a_number_of_too_many_digits_is_told_in_our_words(file: Path) -> None:
    """Python's own bound is 4300 digits (its documentation of sys.set_int_max_str_digits)."""
    assert refused(file, f"[grouping]\nhand_pause_s = {'9' * 5000}\n") == (
        f"{file}: this is no TOML that can be read (a whole number in it has too many digits)."
    )
