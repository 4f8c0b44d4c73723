"""The tables of a season, by hand and against a count with csv and collections alone."""

from __future__ import annotations

from collections import Counter, defaultdict
from datetime import datetime

import pandas as pd
import pytest
from hypothesis import given

from examples import examples
from manifest.recount import frames_per_stack, recount
from manifest.seasons import (
    BARNACLES,
    LIMPETS,
    MACRO,
    NAMES,
    back,
    counter,
    counters,
    file,
    rock_pool,
    seasons,
    tabled,
)
from sorter.manifest.csvfile import manifest_bytes
from sorter.manifest.tables import file_table, wall_clock
from sorter.model.kinds import Kind, Role
from sorter.model.row import Row
from sorter.model.tally import Counts, Spread, Tables

ROWS = rock_pool()


def group(found: Tables, table: str, key: str) -> Counter[str]:
    (one,) = [each for each in getattr(found, table) if each.key == key]
    return counter(one)


# ---- by hand ------------------------------------------------------------------------------------


def test_a_raw_and_a_jpeg_are_one_frame_and_results_are_none() -> None:
    brackets = group(tabled({"pool": ROWS}), "kinds", "focus-bracket")
    assert brackets == Counter(
        sequences=2, frames=3, stacks=2, stacks_with_result=1, results=3, files=8,
        bytes=15117, archivable_bytes=2110, waiting_bytes=2000,
    )  # fmt: skip


def test_what_is_not_in_the_shoot_counts_nowhere() -> None:
    total = tabled({"pool": ROWS}).total
    assert (total.counts.files, total.counts.frames, total.counts.bytes) == (13, 6, 15830)


def test_a_result_that_tells_nothing_counts_with_the_first_frame_of_its_stack() -> None:
    found = tabled({"pool": ROWS})
    assert group(found, "lenses", "100mm Macro")["results"] == 3
    assert group(found, "f_numbers", "5.6")["results"] == 3
    assert group(found, "hours", "12")["results"] == 3
    assert group(found, "hours", "13")["results"] == 1


def test_what_is_not_told_is_a_group_of_its_own_and_stands_last() -> None:
    found = tabled({"pool": ROWS})
    assert [each.key for each in found.lenses] == ["100mm Macro", "60mm Macro", ""]
    assert [each.key for each in found.f_numbers] == ["5.6", "8", ""]
    assert [each.key for each in found.hours] == ["09", "12", "13", "23", ""]
    assert group(found, "lenses", "") == Counter(
        sequences=2, frames=3, stacks=1, stacks_with_result=1, results=1, files=5,
        bytes=713, archivable_bytes=600,
    )  # fmt: skip


def test_an_aperture_of_zero_is_none() -> None:
    rows = [file("a.ORF", 1, of=LIMPETS, at=(1, 1), f_number=0.0)]
    assert [each.key for each in tabled({"pool": rows}).f_numbers] == [""]


def test_kinds_stand_in_their_own_order() -> None:
    kinds = [each.key for each in tabled({"pool": ROWS}).kinds]
    assert kinds == ["focus-bracket", "manual-stack", "burst", "other"]


def test_times_are_the_cameras_own_and_nothing_is_added_to_them() -> None:
    first, second, third, untold = tabled({"pool": ROWS}).days
    assert (first.key, first.first, first.last) == (
        "0033-04-03",
        "0033-04-03T23:59:00",
        "0033-04-03T23:59:00",
    )
    assert (second.first, second.last) == ("2026-05-17T12:59:59", "2026-05-17T13:00:00")
    assert (third.key, untold.key, untold.first) == ("2026-05-18", "", "")


@pytest.mark.parametrize(
    ("captured", "clock"),
    [
        ("2026-05-17T13:02:11.34+01:00", datetime(2026, 5, 17, 13, 2, 11, 340_000)),  # noqa: DTZ001
        ("2026-05-17T23:59:59-11:00", datetime(2026, 5, 17, 23, 59, 59)),  # noqa: DTZ001
        ("2026-05-17T13:02:11.123456789", datetime(2026, 5, 17, 13, 2, 11, 123_456)),  # noqa: DTZ001
        ("9999-12-31T23:59:59", datetime(9999, 12, 31, 23, 59, 59)),  # noqa: DTZ001
        ("", None),
        ("about noon", None),
    ],
)
def test_the_clock_is_read_as_it_was_shown(captured: str, clock: datetime | None) -> None:
    assert wall_clock(captured) == clock


def test_the_columns_have_their_types_and_gaps_stay_gaps() -> None:
    files = file_table({"pool": ROWS})
    assert str(files["captured"].dtype) == "datetime64[us]"
    assert str(files["sequence"].dtype) == str(files["position"].dtype) == "Int64"
    assert str(files["bytes"].dtype) == "int64"
    loose = files[files["destination"].eq("unsorted/tides.txt")].iloc[0]
    untold = ["sequence", "frame", "position", "captured", "lens", "f_number"]
    assert [bool(pd.isna(loose[name])) for name in untold] == [True] * len(untold)


def test_frames_of_stacks_are_spread() -> None:
    assert tabled({"pool": ROWS}).stacks == (
        Spread(kind=Kind.FOCUS_BRACKET, stacks=2, least=1, median=1.5, most=2),
        Spread(kind=Kind.MANUAL_STACK, stacks=1, least=2, median=2, most=2),
        Spread(kind=None, stacks=3, least=1, median=2, most=2),
    )


def test_a_stack_of_which_only_the_result_is_left_has_no_number_of_frames() -> None:
    found = tabled({"pool": [back("results/a.tif", 9, of=BARNACLES)]})
    assert found.total.counts == Counts(
        sequences=1, stacks=1, stacks_with_result=1, results=1, files=1, bytes=9
    )
    assert found.stacks[1:] == (Spread(kind=Kind.MANUAL_STACK), Spread(kind=None))


def test_what_lies_beside_a_result_cannot_be_archived_without_it() -> None:
    rows = [
        file("a.ORF", 100, of=LIMPETS, at=(1, 1), **MACRO),
        file("results/r.JPG", 7, of=LIMPETS, at=(2, 0), role=Role.RESULT, **MACRO),
        file("results/r.ORF", 20, of=LIMPETS, at=(2, 0), role=Role.RESULT, **MACRO),
        file("results/r.xmp", 3, of=LIMPETS, at=(2, 0), role=Role.SIDECAR, **MACRO),
    ]
    counts = tabled({"pool": rows}).total.counts
    assert (counts.archivable_bytes, counts.results, counts.frames) == (100, 1, 1)


def test_a_merged_exposure_bracket_is_no_stack() -> None:
    of = (1, Kind.EXPOSURE_BRACKET)
    rows = [file("a.JPG", 5, of=of, at=(1, 1)), back("results/a.jpg", 2, of=of)]
    counts = tabled({"pool": rows}).total.counts
    assert (counts.results, counts.stacks_with_result, counts.archivable_bytes) == (1, 0, 0)


@pytest.mark.parametrize("shoots", [{}, {"pool": ()}, {"pool": ROWS[-1:]}])
def test_nothing_comes_to_nothing(shoots: dict[str, tuple[Row, ...]]) -> None:
    found = tabled(shoots)
    assert found.total.counts == Counts()
    assert (found.kinds, found.lenses, found.hours, found.days) == ((), (), (), ())
    assert {each.stacks for each in found.stacks} == {0}


# ---- against csv and collections ----------------------------------------------------------------


@examples(60)
@given(seasons())
def test_the_tables_are_what_the_standard_library_counts_in_the_manifest(
    rows: tuple[Row, ...],
) -> None:
    found, manifest = tabled({"pool": rows}), manifest_bytes(rows)
    assert counters(found) == recount(manifest)
    spread = {
        str(each.kind or ""): (each.stacks, each.least, each.median, each.most)
        for each in found.stacks
        if each.stacks
    }
    assert spread == frames_per_stack(manifest)


@examples(60)
@given(seasons())
def test_every_table_adds_up_to_the_total(rows: tuple[Row, ...]) -> None:
    found = tabled({"pool": rows})
    for table, groups in counters(found).items():
        assert sum(groups.values(), Counter()) == counter(found.total), table
        assert [key for key in groups if not key] in ([], [""])
    assert found.total.counts.bytes == sum(row.bytes for row in rows if row.destination)


@examples(60)
@given(seasons(), seasons())
def test_two_shoots_come_to_the_sum_of_both(one: tuple[Row, ...], two: tuple[Row, ...]) -> None:
    both = tabled({"north": one, "south": two})
    parts = [tabled({"north": one}), tabled({"south": two})]
    for table in NAMES:
        summed: dict[str, Counter[str]] = defaultdict(Counter)
        for part in parts:
            for key, count in counters(part)[table].items():
                summed[key] += count
        assert counters(both)[table] == dict(summed)
    assert counter(both.total) == counter(parts[0].total) + counter(parts[1].total)
    times = [
        end for part in parts if part.total.first for end in (part.total.first, part.total.last)
    ]
    assert (both.total.first, both.total.last) == (min(times, default=""), max(times, default=""))
