"""Habits told by someone who never saw the models, as cards drawn from dice; all of them are held.

All figures are invented, and each habit is common practice, no source. No cost is set by these: what
is found on them says how the sorter stands with habits that nobody told it of. Ways to shoot whose
label two photographers would not agree on (three white balances of one press, frames of a shifted
sensor, apertures tried at one focus) are left out.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from fieldcases.cards import CANON, COARSE, OM, PANASONIC, PLAIN, Body, Card
from fieldcases.habits import (
    EVERY,
    HAND,
    HELD,
    MODES,
    NO_CONTACTS,
    SPEEDS,
    TELLING,
    Habit,
    Label,
    Made,
    beats,
    many,
    one,
    rail,
    some_singles,
    tries,
    tuned,
    wander,
)
from sorter.model.kinds import Kind

HABITS: list[Habit] = []
FAIL_TODAY = frozenset({
    "hand-stack-with-a-ring-that-slips",
    "hand-stack-with-a-slice-repeated",  # of many seeds one
    "hand-stack-whose-flash-stayed-dark-once",  # of many seeds one: the last slice
    "bracket-under-automatic-sensitivity",  # of many seeds one
    "clock-set-right-within-a-bracket",
    "burst-that-fills-the-buffer",
    "timer-moved-to-another-pool",  # whole seconds, where the timer fires upon the full second
    "slow-rail-under-a-lamp",
    "tethered-tries-of-light",
    "tries-of-flash-power",
    "frames-through-a-tube",
})  # fmt: skip
"""Habits of which some cards are not found as they are labelled."""
TOPIC = "strange"
PHONE = replace(
    PLAIN, name="phone", digits=3, shot=replace(PLAIN.shot, model="Tidepool P4", lens="")
)
STEPS = (PANASONIC, OM, CANON)


def habit(make: Callable[[random.Random], Made]) -> Callable[[random.Random], Made]:
    """Registers a habit under its function's name, as one that no cost is set by."""
    name = make.__name__.replace("_", "-")
    HABITS.append(Habit(name=name, topic=TOPIC, twin=False, make=make))
    HELD.add(name)
    return make


def bracket(card: Card, count: int, **facts: object) -> tuple[Label, ...]:
    """A focus bracket by the camera."""
    card.bracket(count, **facts)  # type: ignore[arg-type]
    return one(Kind.FOCUS_BRACKET, count)


def singles(card: Card, dice: random.Random, count: int, after: float = 60.0) -> tuple[Label, ...]:
    """Some frames of other things."""
    some_singles(card, dice, count, after)
    return many(count)


def set_of(
    card: Card, exposures: Sequence[Fraction], after: float, pause: float, **facts: object
) -> tuple[Label, ...]:
    """An exposure bracket by the camera: each exposure, and a pause behind each."""
    middle = exposures[0]
    for index, seconds in enumerate(exposures):
        gap = float(exposures[index - 1]) + pause if index else after
        stop = Fraction(round(3 * math.log2(seconds / middle)), 3)
        card.press(gap, exposure=seconds, bias=stop, aeb_offset=stop, shot_number=index + 1,
                   bracket="exposure", drive="continuous", aeb_frames=len(exposures),
                   manual_exposure=False, **facts)  # type: ignore[arg-type]  # fmt: skip
    return one(Kind.EXPOSURE_BRACKET, len(exposures))


# ---- stacks by hand -----------------------------------------------------------------------------


def turned(
    card: Card, dice: random.Random, places: Sequence[float], after: float = 80.0
) -> tuple[Label, ...]:
    """The ring turned from slice to slice, a flash frame each."""
    card.by_hand(places, after=after, beat=[dice.uniform(1.5, 7) for _ in places[1:]])
    return one(Kind.MANUAL_STACK, len(places))


def ground(dice: random.Random) -> list[float]:
    """The places of a stack by hand, either way."""
    start, step = dice.uniform(0.22, 0.4), dice.uniform(0.006, 0.014)
    places = [start + step * index for index in range(dice.randint(7, 18))]
    return places if dice.random() < 0.5 else places[::-1]


@habit
def hand_stack_with_a_slice_repeated(dice: random.Random) -> Made:
    """One slice is taken twice, as the first one was shaken."""
    card = tuned(dice, TELLING)
    labels, places = singles(card, dice, 2), ground(dice)
    again = dice.randrange(1, len(places) - 1)
    places.insert(again, places[again])
    return card, labels + turned(card, dice, places)


@habit
def hand_stack_with_a_ring_that_slips(dice: random.Random) -> Made:
    """The ring slips back by half a step once."""
    card = tuned(dice, TELLING)
    labels, places = singles(card, dice, 2), ground(dice)
    at = dice.randrange(2, len(places) - 2)
    places.insert(at + 1, (places[at] + places[at - 1]) / 2)
    return card, labels + turned(card, dice, places)


@habit
def hand_stack_with_uneven_steps(dice: random.Random) -> Made:
    """Steps of one to four times the least."""
    card = tuned(dice, TELLING)
    labels, at, places = singles(card, dice, 2), dice.uniform(0.2, 0.3), []
    for _ in range(dice.randint(8, 20)):
        at += dice.uniform(0.004, 0.016)
        places.append(at)
    return card, labels + turned(card, dice, places)


@habit
def hand_stack_whose_flash_stayed_dark_once(dice: random.Random) -> Made:
    """The flash was not ready at one slice."""
    card = tuned(dice, TELLING)
    labels = singles(card, dice, 2) + turned(card, dice, ground(dice))
    return card.misfired(dice.randint(4, len(card.presses) - 1)), labels


# ---- focus brackets -----------------------------------------------------------------------------


@habit
def light_tried_before_a_bracket(dice: random.Random) -> Made:
    """A frame at another f-number to see the light, then the bracket some seconds later."""
    card = tuned(dice, STEPS)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(1, 4)):
        card.single(dice.uniform(30, 90), dice.uniform(0.3, 0.5), f_number=16.0, iso=800)
        count = dice.randint(10, 60)
        labels += many(1) + bracket(card, count, after=dice.uniform(5, 15))
    return card, labels


@habit
def bracket_with_flashes_missing(dice: random.Random) -> Made:
    """One to three frames stay dark."""
    card = tuned(dice, MODES, flash="fired")
    count = dice.randint(15, 80)
    labels = bracket(card, count, beat=dice.uniform(0.2, 1.5))
    return card.misfired(*dice.sample(range(2, count), dice.randint(1, 3))), labels


@habit
def brackets_with_a_slow_flash(dice: random.Random) -> Made:
    """Three to six seconds a frame, as the body waits for the flash."""
    card = tuned(dice, MODES, flash="fired")
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        count, beat = dice.randint(12, 50), dice.uniform(3, 6)
        labels += bracket(card, count, beat=beat, after=dice.uniform(40, 120))
    return card, labels


@habit
def bracket_under_automatic_sensitivity(dice: random.Random) -> Made:
    """Clouds pass: the sensitivity goes along from frame to frame."""
    card = tuned(dice, MODES)
    count, start = dice.randint(15, 60), dice.uniform(0.25, 0.4)
    for index in range(count):
        card.press(0.25 if index else 5, start + 0.004 * index, offset=index, shot_number=index + 1,
                   bracket="focus", drive="continuous", planned=count, manual_exposure=False,
                   iso=dice.choice([320, 400, 400, 500, 640]))  # fmt: skip
    return card, one(Kind.FOCUS_BRACKET, count)


@habit
def bracket_under_passing_clouds(dice: random.Random) -> Made:
    """The shutter speed goes along."""
    card = tuned(dice, MODES)
    count, start, level = dice.randint(15, 60), dice.uniform(0.25, 0.4), dice.uniform(10, 18)
    for index in range(count):
        level = min(22, max(6, level + dice.uniform(-1, 1)))
        card.press(0.4 if index else 5, start + 0.004 * index, offset=index, shot_number=index + 1,
                   bracket="focus", drive="continuous", planned=count, manual_exposure=False,
                   exposure=Fraction(1, SPEEDS[round(level)]))  # fmt: skip
    return card, one(Kind.FOCUS_BRACKET, count)


@habit
def bracket_stopped_and_begun_anew(dice: random.Random) -> Made:
    """A wave comes: stopped after some frames, begun anew and run to its end."""
    card = tuned(dice, MODES)
    planned, some, beat = dice.randint(40, 90), dice.randint(6, 20), dice.uniform(0.1, 0.4)
    labels = bracket(card, some, planned=planned, beat=beat)
    return card, labels + bracket(
        card, planned, planned=planned, beat=beat, after=dice.uniform(4, 25)
    )


@habit
def bracket_turned_upright(dice: random.Random) -> Made:
    """The same lying and upright."""
    card = tuned(dice, MODES)
    count, beat = dice.randint(12, 60), dice.uniform(0.1, 0.5)
    labels = bracket(card, count, beat=beat)
    card.change(orientation=8)
    return card, labels + bracket(card, count, beat=beat, after=dice.uniform(4, 20))


@habit
def brackets_at_two_apertures(dice: random.Random) -> Made:
    """The same ground at two f-numbers."""
    card = tuned(dice, MODES)
    labels: tuple[Label, ...] = ()
    for f_number in dice.sample((2.8, 4.0, 8.0, 11.0), 2):
        card.change(f_number=f_number)
        count = dice.randint(15, 50)
        labels += bracket(card, count, beat=dice.uniform(0.1, 0.4), after=dice.uniform(4, 20))
    return card, labels


@habit
def bracket_by_the_self_timer(dice: random.Random) -> Made:
    """Released by the two seconds' timer; the body names that drive in every frame."""
    card = tuned(dice, MODES)
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        count = dice.randint(12, 50)
        labels += bracket(card, count, drive="timer", after=dice.uniform(10, 60))
    return card, labels


@habit
def bracket_across_the_last_number(dice: random.Random) -> Made:
    """Numbers run over into a new folder within a bracket, between two others."""
    body = dice.choice(STEPS)
    card = Card(body, number=9999 - dice.randint(50, 70), seed=dice.randint(0, 999))
    labels: tuple[Label, ...] = ()
    for _ in range(3):
        labels += bracket(card, 40, beat=dice.uniform(0.1, 0.4), after=dice.uniform(6, 30))
    return card, labels


@habit
def bracket_with_frames_deleted(dice: random.Random) -> Made:
    """Some frames of the middle were deleted in the camera."""
    card = tuned(dice, STEPS)
    count, number = dice.randint(20, 60), card.number
    bracket(card, count)
    gone = dice.sample(range(number + 2, number + count - 2), dice.randint(1, 3))
    return card.without(*gone), one(Kind.FOCUS_BRACKET, count - len(gone))


@habit
def clock_set_right_within_a_bracket(dice: random.Random) -> Made:
    """The body takes its clock from a phone while a bracket runs: back by some seconds."""
    card = tuned(dice, (PANASONIC, OM))
    first, rest = dice.randint(8, 25), dice.randint(8, 25)
    bracket(card, first, planned=first + rest)
    card.clock(-dice.uniform(2, 8))
    places = [0.30 + 0.004 * (first + index) for index in range(rest)]
    card.series(places, after=0.2, beat=0.2, first=first + 1, bracket="focus", drive="continuous",
                planned=first + rest)  # fmt: skip
    return card, one(Kind.FOCUS_BRACKET, first + rest)


@habit
def clock_set_to_summer_time(dice: random.Random) -> Made:
    """An hour on between two brackets that lie seconds apart."""
    card = tuned(dice, MODES)
    labels = singles(card, dice, 2) + bracket(card, dice.randint(12, 40), after=40)
    card.clock(3600)
    return card, labels + bracket(card, dice.randint(12, 40), after=8) + singles(card, dice, 2)


# ---- bursts -------------------------------------------------------------------------------------


@habit
def bursts_at_forty_a_second(dice: random.Random) -> Made:
    """With frames from before the release: all at one beat."""
    card = tuned(dice, MODES)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(1, 4)):
        count = dice.randint(30, 140)
        card.burst(count, beat=1 / dice.choice([25, 30, 40, 50]), after=dice.uniform(5, 40))
        labels += one(Kind.BURST, count)
    return card, labels


@habit
def bursts_of_a_phone(dice: random.Random) -> Made:
    """Eight to twenty frames by automatic exposure; the phone tells no drive."""
    card = tuned(dice, (PHONE,), manual_exposure=False)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(2, 5)):
        count, beat = dice.randint(8, 20), dice.uniform(0.08, 0.15)
        for index in range(count):
            card.press(beat if index else dice.uniform(10, 60), None,
                       exposure=Fraction(1, dice.choice([120, 125, 121])))  # fmt: skip
        labels += one(Kind.BURST, count)
    return card, labels


@habit
def short_bursts_again_and_again(dice: random.Random) -> Made:
    """Pressed anew each time the sway comes by: short bursts some seconds apart."""
    card = tuned(dice, TELLING)
    labels: tuple[Label, ...] = ()
    start = dice.uniform(0.25, 0.4)
    for _ in range(dice.randint(4, 9)):
        count = dice.randint(5, 9)
        card.burst(count, at=start, beat=dice.uniform(0.08, 0.13), after=dice.uniform(3, 9),
                   focus_mode="manual")  # fmt: skip
        labels += one(Kind.BURST, count)
    return card, labels


@habit
def burst_that_sways(dice: random.Random) -> Made:
    """Held by hand, servo autofocus follows the sway both ways."""
    card = tuned(dice, TELLING)
    count = dice.randint(20, 70)
    swing, start = dice.uniform(8, 20), dice.uniform(0.3, 0.5)
    places = [start + 0.02 * math.sin(6.28 * index / swing) for index in range(count)]
    card.burst(count, at=places, beat=dice.uniform(0.06, 0.2), focus_mode="servo")
    return card, one(Kind.BURST, count)


@habit
def burst_leaning_in(dice: random.Random) -> Made:
    """Manual focus, the body leans through the subject: nothing changes but the picture."""
    card = tuned(dice, EVERY)
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        count = dice.randint(15, 50)
        card.burst(count, at=dice.uniform(0.17, 0.25), beat=dice.uniform(0.05, 0.15),
                   after=dice.uniform(8, 40), focus_mode="manual")  # fmt: skip
        labels += one(Kind.BURST, count)
    return card, labels


@habit
def burst_that_fills_the_buffer(dice: random.Random) -> Made:
    """Fast at first, then as slow as the card takes them."""
    card = tuned(dice, MODES)
    fast, slow = dice.randint(30, 60), dice.randint(8, 20)
    gaps = [0.05 * dice.uniform(0.9, 1.1) for _ in range(fast)]
    gaps += [dice.uniform(0.25, 0.7) for _ in range(slow)]
    card.burst(fast + slow + 1, beat=gaps)
    return card, one(Kind.BURST, fast + slow + 1)


@habit
def burst_with_a_frame_out_of_focus(dice: random.Random) -> Made:
    """The autofocus hunts once."""
    card = tuned(dice, TELLING)
    count = dice.randint(12, 40)
    places = [0.5] * count
    places[dice.randrange(3, count - 3)] = dice.uniform(1, 3)
    card.burst(count, at=places, beat=dice.uniform(0.06, 0.15), focus_mode="servo")
    return card, one(Kind.BURST, count)


@habit
def bursts_in_whole_seconds(dice: random.Random) -> Made:
    """A body without fractions of a second."""
    card = tuned(dice, (COARSE, OM))
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(2, 5)):
        count = dice.randint(12, 40)
        card.burst(count, beat=dice.uniform(0.08, 0.2), after=dice.uniform(8, 40))
        labels += one(Kind.BURST, count)
    return card, labels


@habit
def bursts_of_three_or_four(dice: random.Random) -> Made:
    """A tap in continuous drive, many subjects."""
    card = tuned(dice, MODES)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(5, 12)):
        count = dice.randint(3, 4)
        card.burst(count, at=dice.uniform(0.4, 2.0), beat=0.2, after=dice.uniform(15, 70),
                   focus_mode="auto")  # fmt: skip
        labels += one(Kind.BURST, count)
    return card, labels


@habit
def grey_card_before_a_burst(dice: random.Random) -> Made:
    """A frame of a grey card at arm's length, then bursts."""
    card = tuned(dice, TELLING)
    card.single(5, 0.6, focus_mode="auto", exposure=Fraction(1, 60))
    count = dice.randint(15, 50)
    card.burst(count, at=dice.uniform(1, 2), beat=0.1, after=dice.uniform(8, 20))
    return card, many(1) + one(Kind.BURST, count)


# ---- exposures ----------------------------------------------------------------------------------


def spread(dice: random.Random, middle: Fraction, count: int) -> list[Fraction]:
    """The exposures of a bracket: the middle one, then darker and brighter by whole stops."""
    step = dice.choice([1, 2]) if count < 7 else 1
    pairs = [middle * Fraction(2) ** (sign * step * far) for far in range(1, count // 2 + 1)
             for sign in (-1, 1)]  # fmt: skip
    return [middle, *pairs]


@habit
def exposures_at_every_focus(dice: random.Random) -> Made:
    """Three exposures by the camera, the ring turned on, three exposures, and so on."""
    card = tuned(dice, TELLING)
    labels: tuple[Label, ...] = ()
    start, rungs = dice.uniform(0.25, 0.4), spread(dice, Fraction(1, 60), 3)
    for index in range(dice.randint(4, 10)):
        pause = dice.uniform(3, 9)
        labels += set_of(card, rungs, pause, 0.2, at=start + 0.01 * index, focus_mode="manual")
    return card, labels


@habit
def exposures_by_night(dice: random.Random) -> Made:
    """The camera's bracket about some seconds."""
    card = tuned(dice, MODES)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(2, 4)):
        rungs = spread(dice, Fraction(dice.choice([1, 2, 4])), dice.choice([3, 5]))
        labels += set_of(
            card, rungs, dice.uniform(40, 120), dice.uniform(0.3, 1), focus_mode="manual"
        )
    return card, labels


@habit
def exposures_pressed_thrice(dice: random.Random) -> Made:
    """Held by hand, so the set is taken two or three times."""
    card = tuned(dice, MODES)
    count = dice.choice([3, 5])
    rungs = spread(dice, Fraction(1, dice.choice([125, 250])), count)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(2, 3)):
        labels += set_of(card, rungs, dice.uniform(1.5, 5), 0.15, focus_mode="auto")
    return card, labels


# ---- timers and rails ---------------------------------------------------------------------------


def timed(
    card: Card, dice: random.Random, count: int, period: float, after: float, **facts: object
) -> tuple[Label, ...]:
    """The camera's timer."""
    gaps = beats(dice, period, count, 0.02 / period)
    told = HAND | {"numbered": False} | facts
    card.series([1.2] * count, after=after, beat=gaps, **told)  # type: ignore[arg-type]
    return one(Kind.INTERVAL, count)


@habit
def timer_started_by_mistake(dice: random.Random) -> Made:
    """Some frames of the timer among other things, stopped at once."""
    card = tuned(dice, MODES)
    labels = singles(card, dice, 3)
    labels += timed(card, dice, dice.randint(5, 10), dice.randint(2, 6), 45, drive="timer")
    return card, labels + singles(card, dice, 2) + bracket(card, 25, after=40)


def ramped(dice: random.Random, **facts: object) -> Made:
    """Dusk: a third of a stop more every few frames."""
    card = tuned(dice, MODES)
    count, period, level = dice.randint(50, 150), dice.randint(5, 20), 20.0
    fall = dice.uniform(10, 18) / count
    for index in range(count):
        level -= fall
        gap = period + dice.uniform(-0.02, 0.02)
        told: dict[str, object] = {"exposure": Fraction(1, SPEEDS[round(level)])} | facts
        card.single(gap if index else 10, 3.0, **told)
    return card, one(Kind.INTERVAL, count)


@habit
def time_lapse_with_a_ramp(dice: random.Random) -> Made:
    """The body names its timer."""
    return ramped(dice, drive="timer", focus_mode="manual")


@habit
def time_lapse_with_an_untold_ramp(dice: random.Random) -> Made:
    """A remote timer that no tag tells of."""
    return ramped(dice, focus_mode="manual")


@habit
def timer_that_missed_frames(dice: random.Random) -> Made:
    """Two frames are missing, as the card was too slow."""
    card = tuned(dice, EVERY)
    count, period = dice.randint(40, 120), dice.randint(5, 30)
    gaps = beats(dice, period, count, 0.02 / period)
    for place in dice.sample(range(5, count - 5), 2):
        gaps[place] *= 2
    card.series([2.0] * count, after=5, beat=gaps, numbered=False, **HAND)  # type: ignore[arg-type]
    return card, one(Kind.INTERVAL, count)


@habit
def timer_moved_to_another_pool(dice: random.Random) -> Made:
    """Two runs of the timer, ten minutes and more apart."""
    card = tuned(dice, EVERY)
    period = dice.randint(4, 15)
    labels = timed(card, dice, dice.randint(30, 80), period, 5)
    return card, labels + timed(card, dice, dice.randint(30, 80), period, dice.uniform(600, 2000))


@habit
def slow_rail_under_a_lamp(dice: random.Random) -> Made:
    """Nine to fourteen seconds a frame, as the rail swings long, in macro."""
    card = tuned(dice, TELLING)
    count, beat = dice.randint(30, 120), dice.uniform(9, 14)
    return card, rail(card, dice, count, beat, 5, place=dice.uniform(0.16, 0.3), jitter=0.05)


@habit
def light_tried_before_a_rail(dice: random.Random) -> Made:
    """The light is tried at other f-numbers, then the rail runs."""
    card = tuned(dice, TELLING)
    place = dice.uniform(0.17, 0.3)
    for f_number in (11.0, 8.0):
        card.single(dice.uniform(15, 40), place, focus_mode="manual", f_number=f_number,
                    flash="fired")  # fmt: skip
    count, beat = dice.randint(40, 120), dice.uniform(2, 4)
    return card, many(2) + rail(
        card, dice, count, beat, dice.uniform(25, 60), place=place, flash="fired"
    )


# ---- singles ------------------------------------------------------------------------------------


@habit
def tethered_tries_of_light(dice: random.Random) -> Made:
    """A computer releases; each frame at another setting, focus locked by hand."""
    card = tuned(dice, TELLING)
    count, place = dice.randint(8, 25), dice.uniform(0.4, 1.2)
    for _ in range(count):
        card.single(dice.uniform(8, 60), place, focus_mode="manual",
                    f_number=dice.choice([5.6, 8.0, 11.0]), iso=dice.choice([100, 200, 400]))  # fmt: skip
    return card, many(count)


@habit
def tries_of_flash_power(dice: random.Random) -> Made:
    """The flash is turned up and down by hand: nothing in the tags changes."""
    card = tuned(dice, TELLING)
    labels = singles(card, dice, 2)
    places = [dice.uniform(0.3, 0.6)] * dice.randint(4, 8)
    return card, labels + tries(
        card, dice, places, (6, 30), after=70, flash="fired", focus_mode="manual"
    )


@habit
def singles_by_the_self_timer(dice: random.Random) -> Made:
    """Each of another thing, released by the two seconds' timer."""
    card = tuned(dice, TELLING)
    places = [dice.uniform(0.3, 3) for _ in range(dice.randint(8, 20))]
    return card, tries(card, dice, places, (20, 120), drive="timer")


@habit
def long_exposures_by_live_view(dice: random.Random) -> Made:
    """Two to thirty seconds each, of other things."""
    card = tuned(dice, TELLING)
    count = dice.randint(8, 20)
    for _ in range(count):
        seconds = dice.choice([2, 4, 8, 15, 30])
        card.single(dice.uniform(40, 200), dice.uniform(0.5, 4), exposure=Fraction(seconds),
                    focus_mode="manual")  # fmt: skip
    return card, many(count)


@habit
def two_of_each(dice: random.Random) -> Made:
    """Every subject is taken two or three times, in single drive."""
    card = tuned(dice, TELLING)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(6, 15)):
        at = dice.uniform(0.3, 2)
        places = wander(dice, dice.randint(2, 3), at, 0.004)
        labels += tries(card, dice, places, (2, 5), after=dice.uniform(25, 90))
    return card, labels


@habit
def frames_through_a_tube(dice: random.Random) -> Made:
    """No contacts; each frame of another thing."""
    card = tuned(dice, MODES, **NO_CONTACTS)
    places = [None] * dice.randint(8, 25)
    return card, tries(card, dice, places, (30, 180), flash="fired", focus_mode="manual")


# ---- several bodies -----------------------------------------------------------------------------


def day(card: Card, dice: random.Random) -> tuple[Label, ...]:
    """Singles, a bracket, a burst, singles."""
    labels = singles(card, dice, 3) + bracket(card, dice.randint(12, 50), after=40)
    count = dice.randint(10, 40)
    card.burst(count, after=dice.uniform(30, 60))
    return labels + one(Kind.BURST, count) + singles(card, dice, 2)


def both(dice: random.Random, bodies: tuple[Body, Body], later: float) -> Made:
    """A card of each body, the second one's by so much later."""
    cards, labels = [], ()
    for index, body in enumerate(bodies):
        card = Card(body, number=dice.randint(101, 400) + 4000 * index, seed=dice.randint(0, 999))
        card.clock(later * index)
        labels += day(card, dice)  # type: ignore[assignment]
        cards.append(card)
    return tuple(cards), labels


@habit
def cards_of_two_people(dice: random.Random) -> Made:
    """Two people at one pool, at the same time, by bodies of two makers."""
    one_body, other = dice.sample(MODES, 2)
    return both(dice, (one_body, other), dice.uniform(0, 60))


@habit
def two_bodies_of_one_model(dice: random.Random) -> Made:
    """Two people with the same model at the same time."""
    body = dice.choice(MODES)
    other = replace(body, shot=replace(body.shot, serial="990417000"))
    return both(dice, (body, other), dice.uniform(0, 60))


@habit
def body_swapped_at_noon(dice: random.Random) -> Made:
    """The second body of the same model goes on where the first one got wet."""
    body = dice.choice(MODES)
    other = replace(body, shot=replace(body.shot, serial="990417000"))
    return both(dice, (body, other), dice.uniform(900, 4000))
