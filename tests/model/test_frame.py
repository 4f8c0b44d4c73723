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
