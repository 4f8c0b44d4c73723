"""Order of capture and counters (CIPA DC-009: directories 100 to 999, files 0001 to 9999)."""

from __future__ import annotations

from dataclasses import replace

import pytest

from grouping.series import BURST, candidate, even, start, with_paths
from sorter.grouping.timeline import counter_step, file_number, timelines
from sorter.model.frame import Frame


def _frame(path: str) -> Frame:
    made = start()
    candidate(made, [0], None)
    return with_paths(made.frames, [path])[0]


@pytest.mark.parametrize(
    ("before", "after", "step"),
    [
        ("DCIM/100ROCKP/POOL0001.JPG", "DCIM/100ROCKP/POOL0002.JPG", 1),
        ("DCIM/100ROCKP/POOL0007.JPG", "DCIM/100ROCKP/_OOL0009.JPG", 2),
        ("DCIM/100ROCKP/POOL9999.JPG", "DCIM/101ROCKP/POOL0001.JPG", 1),
        ("DCIM/100ROCKP/POOL9998.JPG", "DCIM/101ROCKP/POOL0002.JPG", 3),
        ("DCIM/100ROCKP/POOL9999.JPG", "DCIM/100ROCKP/POOL0001.JPG", 1),
        ("DCIM/100ROCKP/POOL0500.JPG", "DCIM/101ROCKP/POOL0501.JPG", 1),
        ("DCIM/100ROCKP/POOL0040.JPG", "DCIM/101ROCKP/POOL0001.JPG", None),
        ("DCIM/101ROCKP/POOL0001.JPG", "DCIM/100ROCKP/POOL0040.JPG", -1),
        ("DCIM/100ROCKP/POOL0009.JPG", "DCIM/100ROCKP/POOL0007.JPG", -2),
        ("archive/limpet-0012.jpg", "archive/limpet-0013.jpg", 1),
        ("archive/limpet-0012.jpg", "other/limpet-0013.jpg", None),
        ("archive/limpet.jpg", "archive/barnacle.jpg", None),
    ],
)
def test_counters_step_over_9999_and_new_directories(
    before: str, after: str, step: int | None
) -> None:
    assert counter_step(_frame(before), _frame(after)) == step


def test_a_name_without_four_digits_has_no_number() -> None:
    assert file_number(_frame("archive/limpet.jpg")) is None


def test_the_counter_steps_on_from_the_last_number_that_one_exposure_took() -> None:
    one, *others = (_frame(f"DCIM/100ROCKP/POOL{n}.JPG") for n in ("9998", "9999", "0001"))
    joined = replace(one, files=(*one.files, *(file for other in others for file in other.files)))
    assert file_number(joined) == 9998
    assert counter_step(joined, _frame("DCIM/100ROCKP/POOL0002.JPG")) == 1


def test_a_file_without_a_serial_belongs_to_the_only_body_of_its_model() -> None:
    made = start()
    candidate(made, even(0, 0.2, 4), None, **BURST)
    first, *rest = made.frames
    lost = replace(first, facts=replace(first.facts, serial=""))
    assert len(timelines([lost, *rest])) == 1


def test_a_file_without_a_serial_beside_two_bodies_of_its_model_stays_apart() -> None:
    made = start()
    candidate(made, even(0, 0.2, 3), None, **BURST)
    one, two, lost = made.frames
    two = replace(two, facts=replace(two.facts, serial="0099"))
    lost = replace(lost, facts=replace(lost.facts, serial=""))
    assert len(timelines([one, two, lost])) == 3


def test_offsets_order_a_timeline_over_a_change_of_zone() -> None:
    made = start()
    candidate(made, even(0, 60, 2), None)
    early, late = made.frames
    # An hour later, but the clock was put back by two for the zone: 2:00 +02:00, then 1:01 +00:00.
    moved = replace(late.moment.shifted(-3600), offset_min=0)
    late = replace(late, facts=replace(late.facts, moment=moved))
    early = replace(early, facts=replace(early.facts, moment=replace(early.moment, offset_min=120)))
    (line,) = timelines([late, early])
    assert line.in_utc
    assert [frame.path for frame in line.frames] == [early.path, late.path]
