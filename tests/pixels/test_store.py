"""What was measured, as bytes and back; a store that is damaged is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from checking.scene import measured, slices
from sorter.checking.series import judge
from sorter.model.kinds import Kind
from sorter.model.measurement import MeasuredSeries
from sorter.pixels import store
from sorter.pixels.store import restored, stored


@pytest.fixture(scope="module")
def series() -> MeasuredSeries:
    found = measured(slices(np.linspace(0, 1, 8)))
    return replace(
        found,
        measurements=(*found.measurements[:7], None),
        displacements=(*found.displacements[:7], None),
    )


def test_what_comes_back_says_the_same(series: MeasuredSeries) -> None:
    again = restored(stored(series))
    assert again is not None
    assert again.displacements == series.displacements
    assert again.measurements[7] is None
    for one, two in zip(series.measurements[:7], again.measurements[:7], strict=True):
        assert one is not None
        assert two is not None
        assert np.allclose(one.energy, two.energy, rtol=0.01, atol=0.02)
        assert np.allclose(one.light, two.light, rtol=0.01, atol=0.02)
        assert (one.thumb == two.thumb).all()
        figures = ("scale", "cell", "width", "height")
        assert [getattr(one, name) for name in figures] == [getattr(two, name) for name in figures]
    kind = Kind.FOCUS_BRACKET
    assert (
        judge(again, sequence=1, kind=kind).check.verdict
        == judge(series, sequence=1, kind=kind).check.verdict
    )


def test_a_store_that_was_restored_is_stored_alike(series: MeasuredSeries) -> None:
    again = restored(stored(series))
    assert again is not None
    twice = restored(stored(again))
    assert twice is not None
    for one, two in zip(again.measurements[:7], twice.measurements[:7], strict=True):
        assert one is not None
        assert two is not None
        assert (one.energy == two.energy).all()


def test_a_store_that_was_cut_or_of_another_form_is_none(
    series: MeasuredSeries, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = stored(series)
    for length in range(0, len(data), len(data) // 40):
        assert restored(data[:length]) is None
    assert restored(b"") is None
    monkeypatch.setattr(store, "FORMAT_VERSION", store.FORMAT_VERSION + 1)
    assert restored(data) is None


def test_a_store_with_a_bit_turned_is_none_or_the_same_frames(series: MeasuredSeries) -> None:
    """Zip archives carry a CRC-32 of each entry (APPNOTE 4.4.7); headers have none."""
    data = stored(series)
    nones = 0
    for at in np.random.default_rng(5).integers(0, len(data), 60):
        turned = bytearray(data)
        turned[at] ^= 0x10
        found = restored(bytes(turned))
        nones += found is None
        assert found is None or len(found.measurements) == len(series.measurements)
    assert nones > 50
