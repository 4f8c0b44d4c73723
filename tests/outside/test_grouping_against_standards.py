"""Grouping against standards: APEX and ExposureMode (Exif, CIPA DC-008), DCF (CIPA DC-009)."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import piexif
import pytest

from grouping.series import BASE, candidate, start, with_paths
from reading import builders
from sorter.disk.card import Card
from sorter.grouping.account import account_for
from sorter.grouping.evidence import SAME_EV, exposure_ev, gather
from sorter.grouping.timeline import counter_step, timelines
from sorter.model.frame import Facts
from sorter.model.kinds import Kind
from sorter.model.sequence import Account
from sorter.reading.cards import read_card

# Nominal values and their APEX values as the Exif standard's annex tabulates them.
APERTURES = [(1.0, 0), (1.4, 1), (2.0, 2), (2.8, 3), (4.0, 4), (5.6, 5), (8.0, 6), (11.0, 7),
             (16.0, 8), (22.0, 9), (32.0, 10)]  # fmt: skip
TIMES = [(30.0, -5), (15.0, -4), (8.0, -3), (4.0, -2), (2.0, -1), (1.0, 0), (1 / 2, 1),
         (1 / 4, 2), (1 / 8, 3), (1 / 15, 4), (1 / 30, 5), (1 / 60, 6), (1 / 125, 7),
         (1 / 250, 8), (1 / 500, 9), (1 / 1000, 10), (1 / 2000, 11)]  # fmt: skip
SPEEDS = [(3.125, 0), (6.25, 1), (12.5, 2), (25.0, 3), (50.0, 4), (100.0, 5), (200.0, 6),
          (400.0, 7), (800.0, 8), (1600.0, 9), (3200.0, 10)]  # fmt: skip

# ---- APEX ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("f_number", "av"), APERTURES)
@pytest.mark.parametrize(("time", "tv"), TIMES)
def test_relative_exposure_is_sv_less_ev(f_number: float, av: int, time: float, tv: int) -> None:
    """Ev = Av + Tv, Sv = log2(ISO / 3.125): Sv is 5 at ISO 100; nominal values are rounded."""
    facts = Facts(f_number=f_number, exposure_time_s=time, iso=100.0)
    found = exposure_ev(facts)
    assert found is not None
    sv = 5
    constant = 1.6439  # log2(3.125), for ISO counts here as it is
    assert found == pytest.approx(sv - (av + tv) + constant, abs=2 * SAME_EV)


@pytest.mark.parametrize(
    ("name", "nominal", "apex", "brighter"),
    [
        *(("f_number", f_number, av, -1) for f_number, av in APERTURES),
        *(("exposure_time_s", time, tv, -1) for time, tv in TIMES),
        *(("iso", iso, sv, 1) for iso, sv in SPEEDS),
    ],
)
def test_each_value_alone_is_what_the_table_says(
    name: str, nominal: float, apex: int, brighter: int
) -> None:
    """Av and Tv darken, Sv brightens: by so many EV from where the table has 0 for it."""
    zero = Facts(f_number=1.0, exposure_time_s=1.0, iso=3.125)
    reference, found = exposure_ev(zero), exposure_ev(replace(zero, **{name: nominal}))  # type: ignore[arg-type]
    assert reference is not None
    assert reference == pytest.approx(1.6439, abs=1e-4)  # log2(3.125), see above
    assert found == pytest.approx(reference + brighter * apex, abs=SAME_EV)
    assert SAME_EV <= 0.12


def test_neighbours_of_the_nominal_scale_are_one_ev_apart_and_equal_ones_none() -> None:
    made = start()
    for (time, _), pause in zip(TIMES, [0.5] * len(TIMES), strict=True):
        candidate(made, [pause], None, exposure_time_s=time)
    (line,) = timelines(made.frames)
    for link in gather(line).transitions:
        assert link.ev_change == pytest.approx(-1.0, abs=SAME_EV)


def test_a_change_within_rounding_is_no_change() -> None:
    # f/5.6 is 4.971 on the APEX scale and f/11 6.919: the same pair two stops apart, rounded.
    one = exposure_ev(Facts(f_number=5.6, exposure_time_s=1 / 60, iso=100.0))
    two = exposure_ev(Facts(f_number=11.0, exposure_time_s=1 / 15, iso=100.0))
    assert one is not None
    assert two is not None
    assert abs(two - one) < SAME_EV


def test_an_unknown_part_leaves_exposure_unknown() -> None:
    assert exposure_ev(Facts(exposure_time_s=None, iso=100.0, f_number=4.0)) is None
    assert exposure_ev(BASE) is not None


# ---- ExposureMode --------------------------------------------------------------------------------

ORDER = (0, -1, 1)
"""Usual exposures of a bracket in EV: as measured, darker, brighter (common practice, no source)."""
AUTO, MANUAL, AUTO_BRACKET = 0, 1, 2
"""What ExposureMode, tag 0xA402, says (CIPA DC-008)."""


def _jpeg(second: float, ev: int, mode: int) -> bytes:
    """A JPEG whose Exif piexif wrote: the exposure changes, ExposureBiasValue stays 0."""
    exif = {
        piexif.ExifIFD.DateTimeOriginal: f"2026:05:17 13:02:{int(second):02d}".encode(),
        piexif.ExifIFD.SubSecTimeOriginal: f"{round(second % 1 * 100):02d}".encode(),
        piexif.ExifIFD.ExposureTime: {-1: (1, 125), 0: (1, 60), 1: (1, 30)}[ev],
        piexif.ExifIFD.FNumber: (8, 1),
        piexif.ExifIFD.ISOSpeedRatings: 200,
        piexif.ExifIFD.ExposureBiasValue: (0, 1),
        piexif.ExifIFD.ExposureMode: mode,
    }
    named = {piexif.ImageIFD.Make: b"Rockpool", piexif.ImageIFD.Model: b"One"}
    return builders.jpeg(piexif.dump({"0th": named, "Exif": exif})[6:])


def _scanned(root: Path, pause_s: float, evs: tuple[int, ...], mode: int) -> Account:
    """What is found where these frames lie on a card, so many seconds apart."""
    folder = root / "DCIM" / "100ROCKP"
    folder.mkdir(parents=True)
    for index, ev in enumerate(evs):
        data = _jpeg(2 + index * pause_s, ev, mode)
        (folder / f"POOL{index + 1:04d}.JPG").write_bytes(data)
    card = Card(root)
    return account_for(read_card(card, card.listing()))


@pytest.mark.parametrize("pause_s", [0.25, 2.5])
def test_auto_bracket_and_three_exposures_are_one_bracket(tmp_path: Path, pause_s: float) -> None:
    (found,) = _scanned(tmp_path, pause_s, ORDER, AUTO_BRACKET).sequences
    assert (found.kind, len(found.frames)) == (Kind.EXPOSURE_BRACKET, 3)
    assert found.grounds.margin > 3


def test_two_brackets_of_three_are_two(tmp_path: Path) -> None:
    found = _scanned(tmp_path, 2.5, ORDER * 2, AUTO_BRACKET).sequences
    assert [(each.kind, len(each.frames)) for each in found] == [(Kind.EXPOSURE_BRACKET, 3)] * 2


@pytest.mark.parametrize("mode", [AUTO, MANUAL])
def test_auto_bracket_makes_it_surer_and_equal_exposures_are_no_bracket(
    tmp_path: Path, mode: int
) -> None:
    said = _scanned(tmp_path / "said", 2.5, ORDER, AUTO_BRACKET).sequences[0].grounds
    silent = _scanned(tmp_path / "silent", 2.5, ORDER, mode).sequences[0]
    assert silent.kind is not Kind.EXPOSURE_BRACKET or silent.grounds.margin < said.margin
    same = _scanned(tmp_path / "same", 0.25, (0, 0, 0), mode).sequences
    assert Kind.EXPOSURE_BRACKET not in {each.kind for each in same}


# ---- DCF -----------------------------------------------------------------------------------------

DCF_ORDER = [
    "DCIM/100ROCKP/POOL0001.JPG",
    "DCIM/100ROCKP/POOL0002.JPG",
    "DCIM/100ROCKP/POOL4999.JPG",
    "DCIM/101ROCKP/POOL0001.JPG",  # a number may come again in another directory
    "DCIM/101ROCKP/POOL0003.JPG",
    "DCIM/500TIDES/_OOL0001.JPG",  # free characters say nothing of the order
    "DCIM/999ROCKP/POOL0001.JPG",
    "DCIM/999ROCKP/POOL4998.JPG",
]
"""Directories are numbered 100 to 999, files 0001 to 9999 within each (CIPA DC-009)."""


@pytest.mark.parametrize("seed", range(5))
def test_what_time_cannot_order_the_numbers_do(seed: int) -> None:
    """No stamp tells them apart: the directory's number goes first, then the file's."""
    made = start()
    for index in range(len(DCF_ORDER)):
        made.press(0.0, exposure_time_s=(index + 1) / 1000)
    whole = made.frames[0].moment
    frames = [
        replace(frame, facts=replace(frame.facts, moment=replace(whole, digits=None)))
        for frame in with_paths(made.frames, DCF_ORDER)
    ]
    random.Random(seed).shuffle(frames)
    (line,) = timelines(frames)
    assert [frame.path for frame in line.frames] == DCF_ORDER


def test_time_goes_before_numbers_that_come_again_in_another_directory() -> None:
    made = start()
    candidate(made, [0, 60, 60, 60], None)
    numbers = [(100, 9999), (101, 1), (101, 2), (102, 1)]
    paths = [f"DCIM/{folder}ROCKP/POOL{number:04d}.JPG" for folder, number in numbers]
    frames = with_paths(made.frames, paths)
    (line,) = timelines(frames[::-1])
    assert [frame.path for frame in line.frames] == paths


@pytest.mark.parametrize("directory", [100, 499, 998])
def test_behind_9999_comes_0001_of_the_next_directory(directory: int) -> None:
    """Common practice, no source: the standard gives the numbers, not how a body goes on."""
    made = start()
    candidate(made, [0, 60], None)
    names = f"{directory}ROCKP/POOL9999.JPG", f"{directory + 1}ROCKP/POOL0001.JPG"
    last, first = with_paths(made.frames, [f"DCIM/{name}" for name in names])
    assert counter_step(last, first) == 1
