"""Habits of files: copies, twins, counters and clocks on a card, drawn from dice with their labels.

All figures are invented, and each habit is common practice, no source. They have the shape of
`habits.py`: bodies, counts and pauses are drawn anew for each seed, and a twin must come out the
other way. A press has all its files in its paths, so that one that is counted twice is seen.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from fractions import Fraction

from fieldcases.cards import CANON, COARSE, OM, PANASONIC, PLAIN, Body, Card, Press
from fieldcases.habits import Habit, Label, Made, many, one
from sorter.model.kinds import Kind

HABITS: list[Habit] = []

EVERY = (CANON, OM, PANASONIC, PLAIN, COARSE)
WHOLE_SECONDS = (OM, COARSE)
FINE = (CANON, PANASONIC, PLAIN)
COPY = ("{} (1)", "{} (2)", "{} copy", "{} - Copy", "Copy of {}", "{}_1", "{} 2")
EDIT = ("{}-edit", "{}_edited", "{} bearbeitet", "{}-small", "{}.cropped")


def habit(
    topic: str, *, twin: bool = False
) -> Callable[[Callable[[random.Random], Made]], Callable[[random.Random], Made]]:
    """Registers a habit under its function's name."""

    def register(make: Callable[[random.Random], Made]) -> Callable[[random.Random], Made]:
        name = make.__name__.replace("_", "-")
        HABITS.append(Habit(name=name, topic=topic, twin=twin, make=make))
        return make

    return register


# ---- words that many habits use -----------------------------------------------------------------


def tuned(dice: random.Random, bodies: Sequence[Body], **settings: object) -> Card:
    """A card of one of the bodies."""
    body = dice.choice(bodies)
    return Card(body, number=dice.randint(101, 900), seed=dice.randint(0, 9999), **settings)


def some_singles(card: Card, dice: random.Random, count: int) -> tuple[Label, ...]:
    """A few frames of other things, half a minute and more apart."""
    for _ in range(count):
        card.single(dice.uniform(40, 120), dice.uniform(0.6, 2.5), focus_mode="auto")
    return many(count)


def series(card: Card, dice: random.Random, *, after: float | None = None) -> tuple[Label, ...]:
    """A bracket where the body tells one, else a burst."""
    count, pause = dice.randint(8, 40), dice.uniform(30, 90) if after is None else after
    beat = dice.uniform(0.08, 0.5)
    if not card.body.tells or dice.random() < 0.3:
        card.burst(count, at=dice.uniform(0.3, 0.9), after=pause, beat=beat)
        return one(Kind.BURST, count)
    start, step = dice.uniform(0.25, 0.6), dice.uniform(0.0035, 0.012)
    card.bracket(count, start=start, step=step, after=pause, beat=beat)
    return one(Kind.FOCUS_BRACKET, count)


def afternoon(card: Card, dice: random.Random) -> tuple[Label, ...]:
    """Singles, a series, singles, a series."""
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        labels += some_singles(card, dice, dice.randint(1, 3)) + series(card, dice)
    return labels


def folder_of(path: str) -> str:
    """The folder, with the bar at its end."""
    return path[: path.rindex("/") + 1]


def stem_of(path: str) -> str:
    """The name without its ending."""
    return path[path.rindex("/") + 1 : path.rindex(".")]


def beside(press: Press, form: str, *, edited: bool) -> Press:
    """The press with one more JPEG beside its first file."""
    path = press.paths[0]
    return press.copied(f"{folder_of(path)}{form.format(stem_of(path))}.JPG", edited=edited)


# ---- copies -------------------------------------------------------------------------------------


@habit("copies")
def copies_beside_their_originals(dice: random.Random) -> Made:
    """Some frames copied into their own folder, under the name that a system gives them."""
    card = tuned(dice, EVERY)
    labels, form = afternoon(card, dice), dice.choice(COPY)
    card.presses = [
        beside(press, form, edited=False) if dice.random() < 0.4 else press
        for press in card.presses
    ]
    return card, labels


@habit("copies")
def folder_copied_elsewhere(dice: random.Random) -> Made:
    """A whole folder, or a part of it, copied to another place on the card."""
    card = tuned(dice, EVERY)
    labels = afternoon(card, dice)
    top = dice.choice(["Backup/", "DCIM/", "New folder/tide/", ""])
    first = dice.choice([0, len(card.presses) // 3])
    card.presses = [
        press.copied(f"{top}copy of rocks/{stem_of(press.paths[0])}.JPG")
        if place >= first
        else press
        for place, press in enumerate(card.presses)
    ]
    return card, labels


@habit("copies")
def copies_under_other_names(dice: random.Random) -> Made:
    """A few good ones copied under names of their own."""
    card = tuned(dice, EVERY)
    labels = afternoon(card, dice)
    for place in dice.sample(range(len(card.presses)), 4):
        press = card.presses[place]
        card.presses[place] = press.copied(f"best/{'abcdefgh'[place % 8]}{place} limpet.JPG")
    return card, labels


@habit("copies", twin=True)
def presses_of_one_second(dice: random.Random) -> Made:
    """Numbered by the camera, at one second and settings: as many presses as there are numbers."""
    card = tuned(dice, WHOLE_SECONDS)
    count = dice.randint(20, 60)
    labels = some_singles(card, dice, 2)
    card.burst(count, at=0.5, after=60, beat=dice.uniform(0.05, 0.2))
    return card, labels + one(Kind.BURST, count)


# ---- one press, two names -----------------------------------------------------------------------


@habit("two names")
def raw_and_image_under_two_counters(dice: random.Random) -> Made:
    """Raws in the first slot, JPEGs in the second, which counts for itself; some were deleted."""
    card = tuned(dice, (CANON, OM))
    labels = afternoon(card, dice)
    raw = "CR3" if card.body is CANON else "ORF"
    apart = dice.randint(11, 4000)
    for place, press in enumerate(card.presses):
        path = press.paths[0]
        number = f"{(press.number + apart) % 9999 or 1:04d}"
        image = f"two/DCIM/103{card.body.folder}/{card.body.prefix}{number}.JPG"
        kept = (image,) if dice.random() < 0.9 else ()
        card.presses[place] = replace(press, paths=(f"one/{path[:-3]}{raw}", *kept))
    return card, labels


@habit("two names")
def small_image_of_a_second_slot(dice: random.Random) -> Made:
    """Every frame once more, smaller, in the second slot under its own counter."""
    card = tuned(dice, EVERY)
    labels = afternoon(card, dice)
    apart = dice.randint(11, 4000)
    for place, press in enumerate(card.presses):
        number = f"{press.number + apart:04d}"
        image = f"two/DCIM/103{card.body.folder}/{card.body.prefix}{number}.JPG"
        card.presses[place] = press.copied(image, edited=True)
    return card, labels


@habit("two names")
def corrected_twins_in_another_folder(dice: random.Random) -> Made:
    """Corrected and smaller, of the same names, by a body that tells whole seconds."""
    card = tuned(dice, WHOLE_SECONDS)
    labels = afternoon(card, dice)
    folder = dice.choice(["Corrected", "web", "DCIM/small"])
    card.presses = [
        press.copied(f"{folder}/{stem_of(press.paths[0])}.JPG", edited=True)
        if dice.random() < 0.8
        else press
        for press in card.presses
    ]
    return card, labels


@habit("two names")
def edits_beside_their_originals(dice: random.Random) -> Made:
    """NAME-edit beside NAME: time and settings are equal, bytes are not."""
    card = tuned(dice, EVERY)
    labels, form = afternoon(card, dice), dice.choice(EDIT)
    card.presses = [
        beside(press, form, edited=True) if dice.random() < 0.3 else press for press in card.presses
    ]
    return card, labels


@habit("two names", twin=True)
def second_counter_of_other_presses(dice: random.Random) -> Made:
    """The second slot goes on where the first was full: its frames are presses of their own."""
    card = tuned(dice, EVERY)
    labels = afternoon(card, dice)
    first = dice.randint(2, len(card.presses) - 3)
    labels_of_slots = labels
    for place in range(first, len(card.presses)):
        press = card.presses[place]
        name = f"{card.body.prefix}{place - first + 1:04d}"
        path = f"two/DCIM/100{card.body.folder}/{name}.JPG"
        card.presses[place] = replace(press, paths=(path,))
    for place in range(first):
        press = card.presses[place]
        card.presses[place] = replace(press, paths=(f"one/{press.paths[0]}",))
    return card, labels_of_slots


# ---- counters and clocks ------------------------------------------------------------------------


@habit("counters")
def second_slot_counts_for_itself(dice: random.Random) -> Made:
    """The first slot is full within a series; the second counts from a lower number."""
    card = tuned(dice, EVERY)
    labels = some_singles(card, dice, dice.randint(2, 6))
    before = len(card.presses)
    labels += series(card, dice)
    cut = dice.randint(before + 3, len(card.presses) - 4)
    labels += some_singles(card, dice, dice.randint(1, 4))
    low = dice.randint(1, 60)
    for place, press in enumerate(card.presses):
        if place < cut:
            card.presses[place] = replace(press, paths=(f"one/{press.paths[0]}",))
        else:
            name = f"{card.body.prefix}{low + place - cut:04d}"
            path = f"two/DCIM/100{card.body.folder}/{name}.JPG"
            card.presses[place] = replace(press, paths=(path,))
    return card, labels


@habit("counters", twin=True)
def clock_set_back_by_hours(dice: random.Random) -> Made:
    """The clock was set back, and the counter went on."""
    card = tuned(dice, EVERY)
    labels = afternoon(card, dice)
    card.clock(-3600 * dice.randint(1, 3))
    return card, labels + some_singles(card, dice, 2) + series(card, dice)


def _renumbered(card: Card, first: int, numbers: Sequence[int]) -> None:
    for place, number in enumerate(numbers, first):
        press = card.presses[place]
        path = f"{folder_of(press.paths[0])}{card.body.prefix}{number:04d}.JPG"
        card.presses[place] = replace(press, number=number, paths=(path,))


@habit("counters")
def numbers_that_run_back(dice: random.Random) -> Made:
    """Frames from before the release are written last one first."""
    card = tuned(dice, FINE)
    labels = some_singles(card, dice, 3)
    count, first = dice.randint(10, 40), len(card.presses)
    card.burst(count, at=0.5, after=60, beat=dice.uniform(0.02, 0.1))
    numbers = [press.number for press in card.presses[first:]]
    _renumbered(card, first, numbers[::-1])
    return card, labels + one(Kind.BURST, count) + some_singles(card, dice, 2)


@habit("counters")
def frames_from_before_the_release(dice: random.Random) -> Made:
    """What was taken before the release has the numbers behind those of the rest."""
    card = tuned(dice, FINE)
    labels = some_singles(card, dice, 3)
    count, first = dice.randint(12, 40), len(card.presses)
    card.burst(count, at=0.5, after=60, beat=dice.uniform(0.02, 0.1))
    early = dice.randint(3, count - 4)
    numbers = [press.number for press in card.presses[first:]]
    _renumbered(card, first, numbers[count - early :] + numbers[: count - early])
    return card, labels + one(Kind.BURST, count) + some_singles(card, dice, 2)


@habit("counters")
def numbers_that_run_back_in_whole_seconds(dice: random.Random) -> Made:
    """The same by a body that tells whole seconds and counts its shots."""
    card = tuned(dice, (OM,))
    labels = some_singles(card, dice, 3)
    count, first = dice.randint(10, 40), len(card.presses)
    start = dice.uniform(0.4, 0.6)
    places = [start + 0.004 * (index + index % 2) for index in range(count)]
    card.burst(count, at=places, after=60, beat=dice.uniform(0.02, 0.1))
    numbers = [press.number for press in card.presses[first:]]
    _renumbered(card, first, numbers[::-1])
    return card, labels + one(Kind.BURST, count) + some_singles(card, dice, 2)


def _two_bodies(dice: random.Random) -> tuple[tuple[Card, Card], tuple[Label, ...]]:
    """Two bodies of one model without serial, shooting by turns, each in folders of its own."""
    body = dice.choice([PLAIN, CANON, COARSE])
    cards = tuple(Card(body, number=number, serial="") for number in (101, 4201))
    labels: list[tuple[Label, ...]] = [(), ()]
    cards[1].clock(dice.uniform(1, 9))
    for _ in range(3):
        for place, card in enumerate(cards):
            card.at = max(other.at for other in cards) - timedelta(seconds=dice.uniform(-4, 1))
            labels[place] += series(card, dice, after=dice.uniform(2, 4))
            labels[place] += some_singles(card, dice, 1)
    for name, card in zip("ab", cards, strict=True):
        card.presses = [
            replace(press, paths=tuple(f"{name}/{path}" for path in press.paths))
            for press in card.presses
        ]
    return (cards[0], cards[1]), labels[0] + labels[1]


@habit("counters", twin=True)
def two_bodies_without_serial(dice: random.Random) -> Made:
    """Nothing but their counters tells two bodies of one model apart."""
    return _two_bodies(dice)


@habit("counters")
def a_name_without_a_number_beside_two_bodies(dice: random.Random) -> Made:
    """The same, and a few edited copies under names without a number."""
    cards, labels = _two_bodies(dice)
    for card in cards:
        singles = [
            place for place, press in enumerate(card.presses) if press.shot.drive == "single"
        ]
        place = dice.choice(singles)
        name = f"a/{dice.choice(['limpet', 'anemone in the dark', 'wave'])} {card.number % 7}.JPG"
        card.presses[place] = card.presses[place].copied(name, edited=True)
    return cards, labels


def _with_fractions(card: Card, form: str) -> None:
    for place, press in enumerate(card.presses):
        shot = press.shot
        card.presses[place] = replace(press, shot=replace(shot, subsec=form.format(shot.subsec)))


@habit("fractions")
def milliseconds_padded_to_four_digits(dice: random.Random) -> Made:
    """A phone that writes 63 ms as 0063."""
    body = replace(PLAIN, digits=3, tells="")
    card = Card(body, number=dice.randint(101, 900), seed=dice.randint(0, 9999), serial="")
    if dice.random() < 0.5:
        card.change(make="samsung", model="SM-G925I")
    labels = afternoon(card, dice)
    _with_fractions(card, "0{}")
    return card, labels


@habit("fractions", twin=True)
def fractions_of_four_digits(dice: random.Random) -> Made:
    """Four digits, of which some begin with 0: they are what they say."""
    body = replace(PLAIN, digits=4)
    card = Card(body, number=dice.randint(101, 900), seed=dice.randint(0, 9999))
    return card, afternoon(card, dice)


# ---- merged in the camera -----------------------------------------------------------------------


def _lone_merge(card: Card, dice: random.Random, frames: int, after: float) -> tuple[Label, ...]:
    facts = {"merged_frames": frames, "merging": "other", "drive": "single", "bracket": "off"}
    card.press(after, dice.uniform(0.3, 1.2), **facts)  # type: ignore[arg-type]
    return many(1)


@habit("merged")
def high_resolution_behind_a_bracket(dice: random.Random) -> Made:
    """The camera's own picture out of eight or sixteen shots that it did not keep."""
    card = tuned(dice, (OM,))
    labels = some_singles(card, dice, 2)
    for _ in range(3):
        count = dice.choice([8, 16, dice.randint(5, 40)])
        card.bracket(count, start=dice.uniform(0.3, 0.6), after=dice.uniform(20, 60))
        labels += one(Kind.FOCUS_BRACKET, count)
        labels += _lone_merge(card, dice, dice.choice([8, 16]), dice.uniform(6, 60))
    return card, labels


@habit("merged")
def double_exposures_between_series(dice: random.Random) -> Made:
    """Two exposures on one picture, or a live composite, between brackets and bursts."""
    card = tuned(dice, (OM, PANASONIC))
    labels: tuple[Label, ...] = ()
    for _ in range(3):
        labels += series(card, dice, after=dice.uniform(20, 60))
        labels += _lone_merge(card, dice, dice.choice([2, 3]), dice.uniform(6, 60))
    return card, labels


@habit("merged", twin=True)
def merged_picture_of_its_own_bracket(dice: random.Random) -> Made:
    """Merged for focus right behind its bracket: a result, and no sequence of its own."""
    card = tuned(dice, (OM,))
    labels: tuple[Label, ...] = ()
    for _ in range(3):
        count = dice.randint(4, 15)
        card.bracket(count, start=dice.uniform(0.3, 0.6), after=dice.uniform(20, 60))
        place = len(card.presses) - 1
        facts = {"merged_frames": count, "drive": "continuous", "bracket": "focus"}
        card.press(dice.uniform(3, 20), 0.35, **facts)  # type: ignore[arg-type]
        result = card.presses.pop()
        card.presses[place] = replace(card.presses[place], behind=(result,))
        labels += one(Kind.FOCUS_BRACKET, count)
    return card, labels


# ---- what every frame says ----------------------------------------------------------------------


@habit("tags")
def burst_of_what_comes_nearer_for_long(dice: random.Random) -> Made:
    """A bird that comes nearer: autofocus follows it, and every frame says "bracketing off"."""
    card = tuned(dice, (CANON, OM))
    labels = some_singles(card, dice, 2)
    count = dice.randint(20, 70)
    far, near = dice.uniform(8, 20), dice.uniform(3, 7)
    way = [far * (near / far) ** (index / (count - 1)) for index in range(count)]
    if dice.random() < 0.4:
        way.reverse()
    mode = dice.choice(["servo", "auto"])
    card.burst(count, at=way, after=40, beat=dice.uniform(0.05, 0.25), focus_mode=mode)
    return card, labels + one(Kind.BURST, count) + some_singles(card, dice, 2)


@habit("tags")
def bracket_thinned_to_every_third(dice: random.Random) -> Made:
    """Only every second to fourth frame was kept; every one says that it is of a focus bracket."""
    card = tuned(dice, (CANON, OM, PANASONIC))
    labels = some_singles(card, dice, 2)
    first, every = len(card.presses), dice.randint(2, 4)
    count = dice.randint(8, 30) * every
    step, beat = (
        dice.uniform(0.003, 0.012),
        dice.choice([dice.uniform(0.1, 0.5), dice.uniform(1, 3)]),
    )
    card.bracket(count, start=dice.uniform(0.25, 0.5), step=step, after=40, beat=beat)
    card.presses[first:] = card.presses[first::every]
    kept = len(card.presses) - first
    return card, labels + one(Kind.FOCUS_BRACKET, kept) + some_singles(card, dice, 1)


@habit("tags")
def slow_bracket_in_dim_light(dice: random.Random) -> Made:
    """Exposures of seconds, so that the beat is a timer's; the bracket is done as planned."""
    card = tuned(dice, (CANON, OM, PANASONIC), exposure=Fraction(dice.randint(1, 5)))
    count, beat = dice.randint(9, 40), float(card.base.exposure) + dice.uniform(0.3, 3)
    card.bracket(
        count, start=dice.uniform(0.25, 0.6), step=dice.uniform(0.004, 0.02), beat=round(beat),
        drive=dice.choice(["single", "continuous"]),
    )  # fmt: skip
    return card, one(Kind.FOCUS_BRACKET, count)


@habit("tags", twin=True)
def timer_with_bracketing_off(dice: random.Random) -> Made:
    """A timer at the same beat; every frame says that bracketing is off."""
    card = tuned(dice, (CANON, OM))
    count, beat = dice.randint(20, 60), float(dice.randint(3, 9))
    gaps = [beat + dice.uniform(-0.02, 0.02) for _ in range(count - 1)]
    card.series(
        [dice.uniform(0.4, 0.8)] * count, after=5, beat=gaps, numbered=False,
        drive="timer", bracket="off", focus_mode="manual",
    )  # fmt: skip
    return card, one(Kind.INTERVAL, count)


@habit("tags", twin=True)
def stack_of_what_stays(dice: random.Random) -> Made:
    """Turned by hand, one way, in single drive: every frame says "bracketing off" here too."""
    card = tuned(dice, (CANON, OM))
    count, start, step = dice.randint(6, 14), dice.uniform(0.25, 0.4), dice.uniform(0.005, 0.012)
    places = [start + step * index for index in range(count)]
    gaps = [dice.uniform(2, 7) for _ in range(count - 1)]
    card.by_hand(places, beat=gaps, flash=dice.choice(["fired", "off"]))
    return card, one(Kind.MANUAL_STACK, count) + some_singles(card, dice, 2)


# ---- holes within a bracket ---------------------------------------------------------------------


def _holed(dice: random.Random, count: int, first: int) -> list[float]:
    """Gaps of a steady beat with one to three holes of 3 to 10 s."""
    beat = dice.uniform(0.06, 0.6)
    gaps = [beat * (1 + dice.uniform(-0.04, 0.04)) for _ in range(count - 1)]
    for place in dice.sample(range(first, count - 3), dice.randint(1, 3)):
        gaps[place] = dice.uniform(3, 10)
    return gaps


@habit("holes")
def full_buffer_in_a_bracket(dice: random.Random) -> Made:
    """The buffer is full, the camera waits, and its shot number runs on."""
    card = tuned(dice, (OM, PANASONIC))
    labels = some_singles(card, dice, 1)
    count = dice.randint(20, 90)
    card.bracket(
        count, start=dice.uniform(0.25, 0.5), step=dice.uniform(0.003, 0.01), after=40,
        beat=_holed(dice, count, 5),
    )  # fmt: skip
    return card, labels + one(Kind.FOCUS_BRACKET, count)


@habit("holes")
def full_buffer_in_a_burst(dice: random.Random) -> Made:
    """The same in a burst that the camera counts."""
    card = tuned(dice, (OM, PANASONIC))
    labels = some_singles(card, dice, 1)
    count = dice.randint(30, 90)
    card.burst(count, at=0.5, after=40, beat=_holed(dice, count, 12))
    return card, labels + one(Kind.BURST, count)


@habit("holes", twin=True)
def brackets_whose_numbers_begin_again(dice: random.Random) -> Made:
    """The same pauses between brackets of equal length: the shot number begins again."""
    card = tuned(dice, (OM, PANASONIC))
    count, beat = dice.randint(10, 40), dice.uniform(0.06, 0.6)
    start, step = dice.uniform(0.25, 0.5), dice.uniform(0.003, 0.01)
    labels: tuple[Label, ...] = ()
    for _ in range(3):
        card.bracket(count, start=start, step=step, after=dice.uniform(3, 10), beat=beat)
        labels += one(Kind.FOCUS_BRACKET, count)
    return card, labels


# ---- tries before a stack -----------------------------------------------------------------------


@habit("first slices")
def tries_before_a_stack_by_hand(dice: random.Random) -> Made:
    """Manual-focus tries at one distance; 10 to 20 s and some centimetres on the stack begins."""
    card = tuned(dice, (CANON, OM))
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        tries, place = dice.randint(2, 5), dice.uniform(0.3, 0.5)
        flash = dice.choice(["fired", "off"])
        for index in range(tries):
            after = dice.uniform(40, 90) if not index else dice.uniform(4, 14)
            card.single(after, place, focus_mode="manual", flash=flash)
        labels += many(tries)
        count, step = dice.randint(5, 14), dice.uniform(0.005, 0.012)
        start = place - dice.uniform(0.03, 0.06)
        places = [start + step * index for index in range(count)]
        gaps = [dice.uniform(2.5, 7) for _ in range(count - 1)]
        card.by_hand(places, after=dice.uniform(10, 20), beat=gaps, flash=flash)
        labels += one(Kind.MANUAL_STACK, count)
    return card, labels


@habit("first slices", twin=True)
def stack_by_hand_of_ties(dice: random.Random) -> Made:
    """Steps of less than a centimetre: whole centimetres tie, and it is one stack all the same."""
    card = tuned(dice, (CANON,))
    count, start = dice.randint(8, 16), dice.uniform(0.25, 0.4)
    step = dice.uniform(0.004, 0.007)
    places = [start + step * index for index in range(count)]
    gaps = [dice.uniform(2.5, 7) for _ in range(count - 1)]
    labels = some_singles(card, dice, 2)
    card.by_hand(places, after=dice.uniform(30, 60), beat=gaps)
    return card, labels + one(Kind.MANUAL_STACK, count)


# ---- exposures changed by hand --------------------------------------------------------------------


def _rungs(
    card: Card, dice: random.Random, stops: Sequence[float], middle: float, *, at_end: bool = False,
    after: float = 60.0,
) -> tuple[Label, ...]:  # fmt: skip
    """One press for each stop, seconds apart, by the time alone (APEX, CIPA DC-008).

    at_end: the body stamps a frame when its exposure ends.
    """
    before = 0.0
    for place, stop in enumerate(stops):
        seconds = Fraction(middle * 2.0**stop).limit_denominator(1_000_000)
        idle = dice.uniform(0.1, 0.5) if at_end else dice.uniform(2.5, 7)
        gap = idle + (float(seconds) if at_end else before)
        card.press(
            gap if place else after, 0.6, drive="single", bracket="off", focus_mode="manual",
            exposure=seconds, manual_exposure=True,
        )  # fmt: skip
        before = float(seconds)
    return one(Kind.EXPOSURE_BRACKET, len(stops))


def _steps(dice: random.Random, least: int = 5) -> list[float]:
    step = dice.choice([0.67, 1.0, 1.0, 1.33, 2.0])
    count = dice.randint(least, 9 if step < 1.5 else 7)
    return [round(step * index, 2) for index in range(count)]


@habit("ladders")
def ladder_stamped_at_its_ends(dice: random.Random) -> Made:
    """Exposures of up to seconds, one behind the other: a long one and the next stamp's nearer."""
    card = tuned(dice, (CANON, PANASONIC, PLAIN))
    labels = some_singles(card, dice, 2)
    stops = [-stop for stop in _steps(dice)]
    middle = dice.choice([4.0, 8.0])
    labels += _rungs(card, dice, stops, middle, at_end=True)
    return card, labels + some_singles(card, dice, 1)


@habit("ladders")
def ladder_taken_up_at_its_other_end(dice: random.Random) -> Made:
    """Darker and darker, then back to the start and brighter and brighter: no rung twice."""
    card = tuned(dice, EVERY)
    labels = some_singles(card, dice, 2)
    stops = _steps(dice, 6)
    cut = dice.randint(2, len(stops) - 2)
    way = stops[cut::-1] + stops[cut + 1 :]
    if dice.random() < 0.5:
        way = [-stop for stop in way]
    labels += _rungs(card, dice, way, 1 / 60)
    return card, labels + some_singles(card, dice, 1)


@habit("ladders")
def ladder_with_two_first_rungs_swapped(dice: random.Random) -> Made:
    """The second rung first, then the first, and on from the third."""
    card = tuned(dice, EVERY)
    labels = some_singles(card, dice, 2)
    stops = _steps(dice)
    stops[:2] = stops[1::-1]
    labels += _rungs(card, dice, stops, dice.choice([1 / 500, 1 / 250]))
    return card, labels + some_singles(card, dice, 1)


@habit("ladders")
def ladder_of_times_under_automatic_sensitivity(dice: random.Random) -> Made:
    """The time doubles at each press, and the body halves the sensitivity."""
    card = tuned(dice, EVERY)
    labels = some_singles(card, dice, 2)
    count = dice.randint(5, 7)
    for place in range(count):
        card.press(
            dice.uniform(2.5, 7) if place else 60, 0.6, drive="single", bracket="off",
            focus_mode="manual", exposure=Fraction(2**place, 1000), iso=12800 // 2**place,
        )  # fmt: skip
    labels += one(Kind.EXPOSURE_BRACKET, count)
    return card, labels + some_singles(card, dice, 1)


@habit("ladders", twin=True)
def two_ladders_of_the_same_rungs(dice: random.Random) -> Made:
    """The same ladder twice, seconds apart: its rungs come again."""
    card = tuned(dice, EVERY)
    stops = _steps(dice)
    labels = _rungs(card, dice, stops, 1 / 250)
    labels += _rungs(card, dice, stops, 1 / 250, after=dice.uniform(9, 25))
    return card, labels


@habit("ladders", twin=True)
def series_of_long_exposures(dice: random.Random) -> Made:
    """Stamped at its start by a body that exposes for seconds: a beat, and no ladder."""
    card = tuned(dice, (CANON, OM), exposure=Fraction(4))
    count, beat = dice.randint(20, 40), float(dice.randint(6, 12))
    gaps = [beat + dice.uniform(-0.02, 0.02) for _ in range(count - 1)]
    card.series(
        [1.5] * count, after=5, beat=gaps, numbered=False, drive="timer", bracket="off",
        focus_mode="manual",
    )  # fmt: skip
    return card, one(Kind.INTERVAL, count)


# ---- relations ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True, kw_only=True)
class Stood:
    """A way to shoot, and how its sequences stand to each other, as they are told."""

    name: str
    twin: bool
    make: Callable[[random.Random], tuple[Card, tuple[str, ...]]]


STOOD: list[Stood] = []


def stood(
    *, twin: bool = False
) -> Callable[[Callable[[random.Random], tuple[Card, tuple[str, ...]]]], None]:
    """Registers a habit of several series of one subject, or of others beside it."""

    def register(make: Callable[[random.Random], tuple[Card, tuple[str, ...]]]) -> None:
        STOOD.append(Stood(name=make.__name__.replace("_", "-"), twin=twin, make=make))

    return register


def _ground(card: Card, dice: random.Random) -> tuple[int, float, float]:
    """A first bracket: its frames, start and step."""
    count, start = dice.randint(20, 50), dice.uniform(0.24, 0.5)
    step = dice.uniform(0.0055, 0.009)
    card.bracket(count, start=start, step=step, after=30)
    return count, start, step


@stood()
def slices_that_were_missing(dice: random.Random) -> tuple[Card, tuple[str, ...]]:
    """Some slices are shot again; the next subject's bracket stands to neither."""
    card = tuned(dice, (CANON, OM))
    count, start, step = _ground(card, dice)
    few = dice.randint(3, max(3, count // 3))
    first = dice.randint(5, count - few - 2)
    card.bracket(few, start=start + first * step, step=step, after=dice.uniform(10, 120))
    other = start + count * step + dice.uniform(0.2, 0.5)
    card.bracket(count + 7, start=other, step=step, after=dice.uniform(20, 80))
    return card, ("2 fills a part of sequence 1",)


@stood()
def one_subject_in_other_light(dice: random.Random) -> tuple[Card, tuple[str, ...]]:
    """The same slices once more, one to three stops brighter."""
    card = tuned(dice, (CANON, OM))
    count, start, step = _ground(card, dice)
    card.change(exposure=card.base.exposure * 2 ** dice.randint(1, 3))
    card.bracket(count, start=start, step=step, after=dice.uniform(8, 80))
    return card, ("2 pass in other light than sequence 1",)


@stood()
def one_subject_with_and_without_flash(dice: random.Random) -> tuple[Card, tuple[str, ...]]:
    """The same slices once more, with flash."""
    card = tuned(dice, (CANON, OM))
    count, start, step = _ground(card, dice)
    card.bracket(count, start=start, step=step, after=dice.uniform(8, 80), beat=2.2, flash="fired")
    return card, ("2 pass in other light than sequence 1",)


@stood(twin=True)
def one_subject_again(dice: random.Random) -> tuple[Card, tuple[str, ...]]:
    """With more frames, from the same start and at the same exposure."""
    card = tuned(dice, (CANON, OM))
    count, start, step = _ground(card, dice)
    card.bracket(count + dice.randint(4, 30), start=start, step=step, after=dice.uniform(6, 60))
    return card, ("2 retake of sequence 1",)


@stood(twin=True)
def another_subject_beside_it(dice: random.Random) -> tuple[Card, tuple[str, ...]]:
    """Four centimetres and more elsewhere, with more frames, within a minute."""
    card = tuned(dice, (CANON, OM))
    count, start, step = _ground(card, dice)
    more = count + dice.randint(2, 20)
    off = start + dice.uniform(0.04, 0.06) * dice.choice([1, -1])
    card.bracket(more, start=off, step=step, after=dice.uniform(9, 60))
    return card, ()


@stood(twin=True)
def another_subject_in_other_light(dice: random.Random) -> tuple[Card, tuple[str, ...]]:
    """Elsewhere and brighter: nothing to the first."""
    card = tuned(dice, (CANON, OM))
    count, start, step = _ground(card, dice)
    card.change(exposure=card.base.exposure * 4)
    card.bracket(
        count, start=start + dice.choice([0.04, 1.0]), step=step, after=dice.uniform(9, 60)
    )
    return card, ()
