"""The arithmetic of a stack held against published tables.

Sources: T1 E. Savazzi, "Digital photography for science", table of depth of field in mm / effective
f-number (circle of confusion 0.019 inferred: it reproduces all but three rounding ties). T2 published
steps for a 1x to 5x macro lens, c = 0.015. T3 published example, m = 0.5, f/4, c = 0.03. T4 table of
λ/NA² at 0.55 µm of microscope objectives. T6 and T8 worked out by hand. T7 hyperfocal distances: three
published calculators, and US Army photography lesson SS0507 for the one in inches.
"""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter import optics

# m: depth of field in mm / effective f-number for N = 1, 1.4, 2, 2.8, 4.
T1 = """
0.1  4.2/1.1    5.9/1.5    8.4/2.2    12/3.1     17/4.4
0.5  0.23/1.5   0.32/2.1   0.46/3     0.64/4.2   0.91/6
1    0.076/2    0.11/2.8   0.15/4     0.21/5.6   0.30/8
2    0.029/3    0.040/4.2  0.057/6    0.080/8.4  0.11/12
3    0.017/4    0.024/5.6  0.034/8    0.047/11   0.068/16
5    0.0091/6   0.013/8.4  0.018/12   0.026/17   0.036/24
10   0.0042/11  0.0059/15  0.0084/22  0.012/31   0.017/44
40   0.0010/41  0.0014/57  0.0019/82  0.0027/110 0.0039/160
"""
STOPS = (1.0, 1.4, 2.0, 2.8, 4.0)


def published() -> list[tuple[float, float, str, str]]:
    lines = (line.split() for line in T1.strip().splitlines())
    return [
        (float(m), stop, *cell.split("/"))  # type: ignore[misc]
        for m, *cells in lines
        for stop, cell in zip(STOPS, cells, strict=True)
    ]


def unit(printed: str) -> float:
    """One in the last printed digit; of 110 and 160 that is ten, for two digits are given."""
    whole, _, decimals = printed.partition(".")
    if decimals:
        return 10.0 ** -len(decimals)
    return 10.0 if len(whole) > 2 else 1.0


@pytest.mark.parametrize(("m", "stop", "depth", "effective"), published())
def test_savazzis_table(m: float, stop: float, depth: str, effective: str) -> None:
    """To half of the last digit that is printed, and the ties that are rounded the other way."""
    half = 0.5 * (1 + 1e-9)
    deep = optics.depth_of_field(stop, m, 0.019)
    assert abs(deep - float(depth)) <= half * unit(depth)
    assert abs(optics.effective_f_number(stop, m) - float(effective)) <= half * unit(effective)


@pytest.mark.parametrize(
    ("m", "stop", "step"),
    [(1, 11, 0.66), (2, 8, 0.18), (3, 5.6, 0.075), (4, 4, 0.037), (5, 4, 0.028)],
)
def test_published_steps_for_a_macro_lens(m: float, stop: float, step: float) -> None:
    """The last two are cut there, not rounded."""
    deep = optics.depth_of_field(stop, m, 0.015)
    places = 2 if step > 0.1 else 3
    cut = math.floor(deep * 10**places + 1e-9) / 10**places
    assert step in (round(deep, places), cut)


def test_a_published_example() -> None:
    assert optics.depth_of_field(4, 0.5, 0.03) == pytest.approx(1.44)


@pytest.mark.parametrize(
    ("aperture", "depth"),
    [
        *((0.10, 55.0), (0.14, 28.1), (0.20, 13.8), (0.25, 8.80), (0.28, 7.02), (0.40, 3.44)),
        *((0.42, 3.12), (0.50, 2.20), (0.55, 1.82), (0.65, 1.30), (0.75, 0.98)),
    ],
)
def test_wave_depth_of_objectives(aperture: float, depth: float) -> None:
    assert optics.wave_depth_um(aperture) == pytest.approx(
        depth, abs=0.0501 if depth > 10 else 0.00501
    )


@pytest.mark.parametrize(
    ("effective", "diameter"), [(8, 10.74), (11, 14.76), (16, 21.47), (22, 29.52), (32, 42.94)]
)
def test_airy_disks(effective: float, diameter: float) -> None:
    assert optics.airy_diameter_um(effective) == pytest.approx(diameter, abs=0.00501)


def test_a_table_of_airy_disks_that_gives_radii() -> None:
    """Published for f/8 and 555 nm as 0.0054 mm: half of the diameter."""
    assert optics.airy_diameter_um(8, 0.555) / 2 / 1000 == pytest.approx(0.0054, abs=0.00005)


@pytest.mark.parametrize(
    ("focal", "stop", "circle", "distance", "last"),
    [
        (50, 8, 0.02, 15_625, False),
        (35, 11, 0.03, 3712.12, False),
        (25, 16, 0.015, 2629.17, True),
    ],
)
def test_hyperfocal(
    focal: float, stop: float, circle: float, distance: float, *, last: bool
) -> None:
    """last: the table has the last f; those that leave it out have one focal length less."""
    found = optics.hyperfocal(focal, stop, circle) - (0 if last else focal)
    assert found == pytest.approx(distance, abs=0.00501)


def test_hyperfocal_and_near_limit_in_inches() -> None:
    """US Army lesson SS0507: 2 in at f/8, c 0.002 in: 20.8 ft, near limit 10.4 ft; without the f."""
    far = optics.hyperfocal(2, 8, 0.002) - 2
    assert far / 12 == pytest.approx(20.8, abs=0.05)
    near, limit = optics.limits(2, far, far)
    assert near / 12 == pytest.approx(10.4, abs=0.1)
    assert limit > 100 * far
    assert optics.limits(2, far + 2, far)[1] == math.inf


@pytest.mark.parametrize(
    ("m", "pupil", "depth", "effective"),
    [
        (1, 0.5, 1.44, 24),
        (1, 1, 0.96, 16),
        (1, 1.5, 0.80, 13.33),
        (2, 0.5, 0.60, 40),
        (2, 1, 0.36, 24),
    ],
)
def test_pupil_magnification(m: float, pupil: float, depth: float, effective: float) -> None:
    assert optics.depth_of_field(8, m, 0.03, pupil) == pytest.approx(depth, abs=0.00501)
    assert optics.effective_f_number(8, m, pupil) == pytest.approx(effective, abs=0.00501)


def test_circles_are_the_diagonal_over_1500() -> None:
    """Sensors of 36 x 24, 23.6 x 15.7 and 17.3 x 13 mm (makers' data sheets, from memory)."""
    sides = {"full-frame": (36, 24), "aps-c": (23.6, 15.7), "four-thirds": (17.3, 13)}
    for sensor, (width, height) in sides.items():
        assert optics.CIRCLES_MM[sensor] == pytest.approx(
            math.hypot(width, height) / 1500, abs=0.0015
        )


@pytest.mark.parametrize(
    ("subject", "depth", "overlap", "frames"),
    [
        (10, 0.5, 0.2, 25),
        (10, 0.5, 0.3, 29),
        (0.5, 0.5, 0.2, 1),
        (0.3, 0.5, 0.2, 1),
        (0.51, 0.5, 0, 2),
    ],
)
def test_frames_needed(subject: float, depth: float, overlap: float, frames: int) -> None:
    """Published pages say 25 to 30 for a subject of 10 mm and slices of 0.5 mm."""
    assert optics.frames_needed(subject, depth, optics.step_width(depth, overlap)) == frames


LENGTHS = st.floats(0.01, 50)
OVERLAPS = st.floats(0, 0.9)


@given(st.floats(1, 32), st.floats(0.05, 20), st.floats(0.002, 0.05))
def test_a_symmetric_lens_follows_the_plain_formula(stop: float, m: float, circle: float) -> None:
    assert optics.depth_of_field(stop, m, circle) == pytest.approx(
        2 * stop * circle * (m + 1) / m**2
    )


@given(LENGTHS, LENGTHS, OVERLAPS)
def test_slices_cover_the_subject_and_one_less_does_not(
    subject: float, depth: float, overlap: float
) -> None:
    step = optics.step_width(depth, overlap)
    frames = optics.frames_needed(subject, depth, step)
    assert (frames - 1) * step + depth >= subject * (1 - 1e-6)
    assert frames == 1 or (frames - 2) * step + depth < subject * (1 + 1e-6)


@given(LENGTHS, LENGTHS, OVERLAPS, OVERLAPS)
def test_more_overlap_never_takes_fewer(subject: float, depth: float, a: float, b: float) -> None:
    low, high = sorted((a, b))
    few = optics.frames_needed(subject, depth, optics.step_width(depth, low))
    assert few <= optics.frames_needed(subject, depth, optics.step_width(depth, high))


@given(st.floats(10, 400), st.floats(0.01, 1))
def test_the_estimate_inverts_the_thin_lens(focal: float, m: float) -> None:
    distance = focal * (2 + m + 1 / m)
    assert optics.magnification_at(focal, distance) == pytest.approx(m, rel=1e-4)


@pytest.mark.parametrize(("focal", "distance"), [(100, 399), (0, 300), (100, math.inf)])
def test_no_estimate_where_there_is_none(focal: float, distance: float) -> None:
    assert optics.magnification_at(focal, distance) is None
