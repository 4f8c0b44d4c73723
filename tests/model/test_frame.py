"""Facts of the files of one frame, filled in from one another."""

from __future__ import annotations

from sorter.model.frame import Facts, filled_in
from sorter.model.kinds import DriveMode

RAW = Facts(model="Tidepool R8", lens="100mm F2.8 Macro", exposure_bias_ev=0.0, flash_fired=False)
JPEG = Facts(make="Tidepool", lens="another", exposure_bias_ev=1.0, flash_fired=True, iso=200.0,
             drive_mode=DriveMode.SINGLE, focus_near_m=0.40, focus_far_m=0.42)  # fmt: skip


def test_what_one_file_says_stands_even_where_it_is_zero_or_off() -> None:
    facts = filled_in(RAW, JPEG)
    assert facts.lens == RAW.lens
    assert facts.exposure_bias_ev == 0.0
    assert facts.flash_fired is False


def test_what_it_does_not_say_comes_from_the_other() -> None:
    facts = filled_in(RAW, JPEG)
    assert (facts.make, facts.model) == ("Tidepool", "Tidepool R8")
    assert (facts.iso, facts.drive_mode) == (200.0, DriveMode.SINGLE)
    assert (facts.focus_near_m, facts.focus_far_m) == (0.40, 0.42)


def test_near_and_far_are_of_one_file() -> None:
    facts = filled_in(Facts(focus_far_m=0.39), JPEG)
    assert (facts.focus_near_m, facts.focus_far_m) == (None, 0.39)


def test_steps_and_their_direction_are_of_one_file() -> None:
    bracket = Facts(focus_step=2, step_nearward=False)
    facts = filled_in(Facts(focus_step=812), bracket)
    assert (facts.focus_step, facts.step_nearward) == (812, None)
    assert filled_in(Facts(), bracket) == bracket


def test_how_many_were_merged_is_said_by_the_file_that_was() -> None:
    stack = Facts(merged="focus", merged_from=8)
    facts = filled_in(Facts(merged="other"), stack)
    assert (facts.merged, facts.merged_from) == ("other", None)
    assert filled_in(Facts(), stack) == stack


def test_a_session_comes_from_the_other_file() -> None:
    jpeg = Facts(session="2018-11-07 22:00:51", since_power_on_cs=63308)
    facts = filled_in(Facts(since_power_on_cs=63301), jpeg)
    assert (facts.session, facts.since_power_on_cs) == (jpeg.session, 63301)
