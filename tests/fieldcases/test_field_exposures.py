"""Exposure brackets, by the camera and by hand, each beside its near twin (common practice, no source)."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path

import pytest

from fieldcases.cards import ALL, CANON, COARSE, MAKERS, OM, PANASONIC, PLAIN, Body, Card, told

makers = pytest.mark.parametrize("body", MAKERS, ids=lambda body: body.name)
all_bodies = pytest.mark.parametrize("body", ALL, ids=lambda body: body.name)

Stops = tuple[Fraction | int, ...]
THIRD = Fraction(1, 3)
ORDERS: dict[str, Stops] = {
    "0-+": (0, -1, 1),
    "-0+": (-1, 0, 1),
    "0-+ by two": (0, -2, 2),
    "-0+ by two thirds": (-2 * THIRD, 0, 2 * THIRD),
    "five outward": (0, -1, 1, -2, 2),
    "0 then minus": (0, -1, -2),
    "five upward": (-2, -1, 0, 1, 2),
    "seven outward": (0, -1, 1, -2, 2, -3, 3),
    "nine upward": (-4, -3, -2, -1, 0, 1, 2, 3, 4),
}
# The notes that are written here say "three frames" in every exposure bracket of one maker.
SETS = [
    pytest.param(body, stops, id=f"{body.name}-{name}")
    for body in ALL
    for name, stops in ORDERS.items()
    if body is not PANASONIC or len(stops) == 3
]
FIVE = (-2, -1, 0, 1, 2)


@pytest.mark.parametrize(("body", "stops"), SETS)
def test_an_exposure_bracket_is_known_by_its_set(body: Body, stops: Stops, tmp_path: Path) -> None:
    card = Card(body).single(0).exposures(stops, after=20).single(20)
    expected = ["single 1", f"exposure-bracket {len(stops)}", "single 1"]
    assert card.found(tmp_path) == expected


@pytest.mark.parametrize(
    ("body", "stops"),
    [(body, (0, -1, 1)) for body in ALL] + [(body, FIVE) for body in ALL if body is not PANASONIC],
    ids=lambda value: getattr(value, "name", None),
)
def test_identical_sets_in_a_row_part_where_the_pattern_repeats(
    body: Body, stops: Stops, tmp_path: Path
) -> None:
    card = Card(body)
    for _ in range(3):
        card.exposures(stops, after=2)
    assert card.found(tmp_path) == [f"exposure-bracket {len(stops)}"] * 3


@makers
def test_sets_without_any_pause_between_them_part_where_the_pattern_repeats(
    body: Body, tmp_path: Path
) -> None:
    """The shutter held down through three sets."""
    card = Card(body)
    for _ in range(3):
        card.exposures((0, -1, 1), after=0.25)
    assert card.found(tmp_path) == ["exposure-bracket 3"] * 3


@all_bodies
def test_a_set_pressed_frame_by_frame_is_one_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0).exposures((0, -1, 1), after=20, beat=3.0, drive="single")
    card.exposures((0, -1, 1), after=4, beat=3.0, drive="single")
    assert card.found(tmp_path) == ["single 1"] + ["exposure-bracket 3"] * 2


@all_bodies
def test_in_manual_mode_the_bias_stays_zero_and_the_times_tell(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0).exposures((0, -2, 2), after=20, by_bias=False)
    assert card.found(tmp_path) == ["single 1", "exposure-bracket 3"]


@pytest.mark.parametrize("body", [PLAIN, COARSE, OM], ids=lambda body: body.name)
def test_a_set_that_no_tag_tells_is_known_by_its_times(body: Body, tmp_path: Path) -> None:
    card = Card(body).exposures((0, -1, 1, -2, 2), bracket="off", by_bias=False)
    assert card.found(tmp_path) == ["exposure-bracket 5"]


@makers
def test_a_lone_frame_with_exposure_bracketing_left_on_is_a_single(
    body: Body, tmp_path: Path
) -> None:
    card = Card(body).single(0).exposures((0,), after=30).single(25)
    account = card.account(tmp_path)
    assert told(account) == ["single 1"] * 3
    assert any("left on" in note for note in account.sequences[1].notes)


@all_bodies
def test_frames_of_one_exposure_are_no_bracket(body: Body, tmp_path: Path) -> None:
    assert Card(body).burst(3, beat=0.25).found(tmp_path) == ["burst 3"]


@makers
def test_a_burst_in_flickering_light_is_no_bracket(body: Body, tmp_path: Path) -> None:
    card = Card(body, manual_exposure=False)
    for index, speed in enumerate((160, 200, 160, 160, 125, 160, 200, 200, 160, 160)):
        facts = {"drive": "continuous", "shot_number": index + 1, "exposure": Fraction(1, speed)}
        card.press(0.12 if index else 5, 0.45, **facts)  # type: ignore[arg-type]
    assert card.found(tmp_path) == ["burst 10"]


# ---- by hand ---------------------------------------------------------------------------------

PAUSES = (7.0, 5.5, 8.0, 6.5, 9.0, 5.0, 7.5, 6.0, 8.5, 7.0, 6.5)


def rungs(card: Card, speeds: tuple[int, ...], pauses: tuple[float, ...], **facts: object) -> Card:
    card.single(0, 0.3, f_number=11.0)
    for after, speed in zip((40.0, *pauses), speeds, strict=True):
        card.single(after, 0.8, exposure=Fraction(1, speed), **facts)
    return card


LADDER = (500, 320, 200, 125, 80, 50, 30, 20, 13, 8, 5, 3)


@all_bodies
@pytest.mark.parametrize("speeds", [LADDER, LADDER[::-1]], ids=["brighter", "darker"])
def test_exposures_changed_by_hand_one_way_are_a_bracket(
    body: Body, speeds: tuple[int, ...], tmp_path: Path
) -> None:
    card = rungs(Card(body), speeds, PAUSES, focus_mode="manual")
    assert card.found(tmp_path) == ["single 1", "exposure-bracket 12"]


@makers
def test_exposures_changed_by_hand_a_minute_apart_are_a_bracket(body: Body, tmp_path: Path) -> None:
    pauses = (31.0, 44.0, 28.0, 52.0, 37.0)
    card = rungs(Card(body), (1000, 500, 250, 125, 60, 30), pauses, focus_mode="manual")
    assert card.found(tmp_path) == ["single 1", "exposure-bracket 6"]


@pytest.mark.parametrize("body", [CANON, OM], ids=lambda body: body.name)
def test_tries_with_exposures_here_and_there_are_singles(body: Body, tmp_path: Path) -> None:
    card = Card(body).single(0, 0.3, f_number=11.0)
    tries = ((21, 60, 0.8), (9, 250, 0.5), (40, 100, 1.2), (14, 200, 0.4), (22, 80, 0.7))
    for after, speed, place in tries:
        card.single(after, place, exposure=Fraction(1, speed))
    assert card.found(tmp_path) == ["single 1"] * 6


@all_bodies
def test_light_that_fades_over_a_timers_frames_is_no_ladder(body: Body, tmp_path: Path) -> None:
    speeds = [400, 320, 320, 250, 250, 200, 200, 160, 160, 125, 125, 100, 100, 80]
    assert Card(body).interval(speeds, period=20).found(tmp_path) == ["interval 14"]
