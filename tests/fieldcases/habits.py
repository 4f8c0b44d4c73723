"""Habits of shooting that no model was made for, as cards drawn from dice with labels of every series.

All figures are invented, and each habit is common practice, no source. A habit is a way to shoot; its
near twin (`twin`) looks nearly like it and must come out the other way. Beats, counts, pauses and
bodies are drawn anew for each seed, so that no cost can be set to one card. `HELD` names habits that
are never looked at while costs are set: what is found on them says whether a change holds.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction

from fieldcases.cards import CANON, COARSE, OM, PANASONIC, PLAIN, Body, Card
from sorter.model.kinds import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Label:
    """What the next `count` presses of the cards are: one sequence of the kind."""

    kind: Kind
    count: int


Made = tuple[Card | tuple[Card, ...], tuple[Label, ...]]
"""A card, or one for each body, and the labels of their presses one after the other."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Habit:
    """A way to shoot. make: the card and its labels, by the dice. twin: it must come out otherwise."""

    name: str
    topic: str
    twin: bool
    make: Callable[[random.Random], Made]


HABITS: list[Habit] = []
HELD: set[str] = set()


def habit(
    topic: str, *, twin: bool = False, held: bool = False
) -> Callable[[Callable[[random.Random], Made]], Callable[[random.Random], Made]]:
    """Registers a habit under its function's name; held: kept out of all tuning."""

    def register(make: Callable[[random.Random], Made]) -> Callable[[random.Random], Made]:
        name = make.__name__.replace("_", "-")
        HABITS.append(Habit(name=name, topic=topic, twin=twin, make=make))
        if held:
            HELD.add(name)
        return make

    return register


# ---- words that many habits use -----------------------------------------------------------------

TELLING = (CANON, OM)
MODES = (CANON, OM, PANASONIC)  # these tell drive, focus mode and bracketing
MUTE = (PANASONIC, PLAIN, COARSE)  # these tell no focus outside a bracket
EVERY = (CANON, OM, PANASONIC, PLAIN, COARSE)
NO_CONTACTS: dict[str, object] = {"lens": "", "f_number": 0.0, "focal_mm": 0}
HAND: dict[str, object] = {"focus_mode": "manual", "drive": "single", "bracket": "off"}
SPEEDS = (8, 10, 13, 15, 20, 25, 30, 40, 50, 60, 80, 100, 125, 160, 200, 250, 320, 400, 500, 640,
          800, 1000, 1250, 1600, 2000)  # fmt: skip


def many(count: int, kind: Kind = Kind.SINGLE) -> tuple[Label, ...]:
    """So many sequences of one frame."""
    return tuple(Label(kind=kind, count=1) for _ in range(count))


def one(kind: Kind, count: int) -> tuple[Label, ...]:
    """One sequence."""
    return (Label(kind=kind, count=count),)


def beats(dice: random.Random, beat: float, count: int, jitter: float) -> list[float]:
    """The gaps of a series of so many frames: a beat that strays by a share of itself."""
    return [beat * (1 + dice.uniform(-jitter, jitter)) for _ in range(count - 1)]


def wander(dice: random.Random, count: int, start: float, most: float) -> list[float]:
    """Distances that come and go about a subject, as an autofocus finds it anew each time."""
    return [max(0.12, start + dice.uniform(-most, most)) for _ in range(count)]


def some_singles(card: Card, dice: random.Random, count: int, after: float = 60.0) -> Card:
    """A few frames of other things, in autofocus, half a minute and more apart."""
    for index in range(count):
        pause = after if not index else dice.uniform(30, 90)
        card.single(pause, dice.uniform(0.6, 2.5), focus_mode="auto")
    return card


def tuned(dice: random.Random, bodies: Sequence[Body], **settings: object) -> Card:
    """A card of one of the bodies."""
    body = dice.choice(bodies)
    return Card(body, number=dice.randint(101, 900), seed=dice.randint(0, 9999), **settings)


# ---- motor rails --------------------------------------------------------------------------------


def rail(
    card: Card, dice: random.Random, count: int, beat: float, after: float, *,
    place: float | None = 0.31, jitter: float = 0.03, **facts: object,
) -> tuple[Label, ...]:  # fmt: skip
    """The camera driven on a rail: focus stays, the shutter is pressed by the rail."""
    gaps = beats(dice, beat, count, jitter)
    told: dict[str, object] = {**HAND, "numbered": False} | facts
    card.series([place] * count, after=after, beat=gaps, **told)  # type: ignore[arg-type]
    return one(Kind.MANUAL_STACK, count)


def lit(dice: random.Random, body: Body) -> dict[str, object]:
    """Flash or lamp; a body that tells nothing else is lit by flash."""
    return {"flash": "fired" if body in (PLAIN, COARSE) else dice.choice(["fired", "off"])}


@habit("rails")
def rail_with_flash(dice: random.Random) -> Made:
    """One run of a rail, each frame lit by a flash."""
    card = tuned(dice, EVERY)
    count, beat = dice.randint(30, 150), dice.uniform(1.6, 5.0)
    facts = {"flash": "fired", "place": dice.uniform(0.2, 0.5)}
    return card, rail(card, dice, count, beat, 5, **facts)  # type: ignore[arg-type]


@habit("rails")
def rail_under_a_lamp(dice: random.Random) -> Made:
    """No flash; the distance is that of a macro."""
    card = tuned(dice, TELLING)
    count, beat = dice.randint(30, 150), dice.uniform(1.6, 5.0)
    return card, rail(card, dice, count, beat, 5, place=dice.uniform(0.16, 0.35))


@habit("rails")
def rail_without_contacts(dice: random.Random) -> Made:
    """A lens without contacts: neither its name nor a distance is told."""
    card = tuned(dice, MODES, **NO_CONTACTS)
    count, beat = dice.randint(30, 200), dice.uniform(1.6, 5.0)
    flash = dice.choice(["fired", "off"])
    return card, rail(card, dice, count, beat, 5, place=None, flash=flash)


@habit("rails")
def two_rails(dice: random.Random) -> Made:
    """The rail drives back, and runs again: equal counts."""
    card = tuned(dice, EVERY)
    count, beat = dice.randint(30, 120), dice.uniform(1.8, 4.2)
    facts = lit(dice, card.body) | {"place": dice.uniform(0.18, 0.33)}
    if card.body is PANASONIC:
        card.change(**NO_CONTACTS)
    labels = rail(card, dice, count, beat, 5, **facts)  # type: ignore[arg-type]
    back = max(14, 5.5 * beat)
    return card, labels + rail(card, dice, count, beat, dice.uniform(back, back + 14), **facts)  # type: ignore[arg-type]


@habit("rails")
def three_rails(dice: random.Random) -> Made:
    """Three runs one after the other."""
    card = tuned(dice, MODES, **NO_CONTACTS)
    count, beat = dice.randint(40, 130), dice.uniform(1.8, 3.5)
    flash = dice.choice(["fired", "off"])
    labels: tuple[Label, ...] = ()
    for _ in range(3):
        back = dice.uniform(20, 34)
        labels += rail(card, dice, count, beat, back, place=None, flash=flash)
    return card, labels


@habit("rails")
def rail_stopped_for_a_battery(dice: random.Random) -> Made:
    """Stopped somewhere, a minute or some pass, and it goes on at the same beat."""
    card = tuned(dice, EVERY)
    beat = dice.uniform(1.8, 4.2)
    facts = lit(dice, card.body) | {"place": dice.uniform(0.18, 0.33)}
    if card.body is PANASONIC:
        card.change(**NO_CONTACTS)
    first, rest = dice.randint(20, 90), dice.randint(20, 90)
    labels = rail(card, dice, first, beat, 5, **facts)  # type: ignore[arg-type]
    return card, labels + rail(card, dice, rest, beat, dice.uniform(45, 240), **facts)  # type: ignore[arg-type]


@habit("rails", held=True)
def rails_of_a_day(dice: random.Random) -> Made:
    """Frames of other things, two unequal runs with another f-number, frames of other things."""
    card = tuned(dice, (CANON, OM))
    count = dice.randint(2, 4)
    labels = many(count)
    some_singles(card, dice, count)
    place, flash = dice.uniform(0.18, 0.3), dice.choice(["fired", "off"])
    for f_number in (5.6, 4.0):
        card.change(f_number=f_number)
        frames, beat = dice.randint(30, 90), dice.uniform(2.0, 6.0)
        labels += rail(card, dice, frames, beat, dice.uniform(35, 90), place=place, flash=flash)
    some_singles(card, dice, 2)
    return card, labels + many(2)


@habit("rails", held=True)
def slow_rails_with_flash(dice: random.Random) -> Made:
    """A slow flash: five to nine seconds a frame, two runs a minute apart."""
    card = tuned(dice, MODES)
    count, beat = dice.randint(30, 70), dice.uniform(5, 9)
    facts: dict[str, object] = {"flash": "fired", "place": dice.uniform(0.2, 0.4)}
    labels = rail(card, dice, count, beat, 5, **facts)  # type: ignore[arg-type]
    return card, labels + rail(card, dice, count, beat, dice.uniform(7, 12) * beat, **facts)  # type: ignore[arg-type]


@habit("rails", twin=True)
def rail_that_waits_once(dice: random.Random) -> Made:
    """One pause of up to three beats, as where vibrations are waited for: still one run."""
    card = tuned(dice, EVERY)
    count, beat = dice.randint(40, 100), dice.uniform(1.8, 4.2)
    gaps = beats(dice, beat, count, 0.03)
    gaps[dice.randint(5, count - 7)] *= dice.uniform(1.6, 2.9)
    facts = lit(dice, card.body)
    if card.body is PANASONIC:
        card.change(**NO_CONTACTS)
    card.series([0.27] * count, after=5, beat=gaps, numbered=False, **HAND | facts)  # type: ignore[arg-type]
    return card, one(Kind.MANUAL_STACK, count)


@habit("rails", twin=True)
def timer_of_the_camera(dice: random.Random) -> Made:
    """The same beat, but the camera says that its timer runs."""
    card = tuned(dice, MODES)
    count, beat = dice.randint(30, 120), float(dice.randint(2, 5))
    gaps = beats(dice, beat, count, 0.01)
    told = HAND | {"drive": "timer", "numbered": False}
    card.series([dice.uniform(0.2, 0.6)] * count, after=5, beat=gaps, **told)  # type: ignore[arg-type]
    return card, one(Kind.INTERVAL, count)


@habit("rails", twin=True)
def timer_at_a_pool(dice: random.Random) -> Made:
    """A timer that no tag tells of, out of a macro's reach, no flash: the tide comes in."""
    card = tuned(dice, EVERY)
    count, beat = dice.randint(30, 150), float(dice.randint(2, 12))
    gaps = beats(dice, beat, count, 0.02 / beat)
    place = dice.uniform(0.9, 3.0)
    card.series([place] * count, after=5, beat=gaps, numbered=False, **HAND)  # type: ignore[arg-type]
    return card, one(Kind.INTERVAL, count)


@habit("rails", twin=True, held=True)
def slow_burst_with_flash(dice: random.Random) -> Made:
    """Continuous drive, locked focus, as fast as the flash goes: a burst."""
    card = tuned(dice, MODES)
    count, beat = dice.randint(12, 40), dice.uniform(0.7, 1.3)
    gaps = beats(dice, beat, count, 0.05)
    card.burst(count, at=dice.uniform(0.3, 0.6), beat=gaps, flash="fired", focus_mode="manual")
    return card, one(Kind.BURST, count)


# ---- tries at one subject -----------------------------------------------------------------------


def tries(
    card: Card, dice: random.Random, places: Iterable[float | None], pauses: tuple[float, float],
    after: float = 20.0, **facts: object,
) -> tuple[Label, ...]:  # fmt: skip
    """One press after the other, each a picture by itself."""
    labels: tuple[Label, ...] = ()
    for index, place in enumerate(places):
        pause = dice.uniform(*pauses) if index else after
        card.single(pause, place, **{"focus_mode": "auto"} | facts)
        labels += many(1)
    return labels


@habit("tries")
def tries_for_a_drop(dice: random.Random) -> Made:
    """A flash frame every few seconds while a drop is waited for; the autofocus wanders."""
    card = tuned(dice, TELLING)
    start, most = dice.uniform(0.25, 0.5), dice.uniform(0.01, 0.05)
    places = wander(dice, dice.randint(20, 44), start, most)
    return card, tries(card, dice, places, (1, 8), flash="fired")


@habit("tries")
def tries_that_drift(dice: random.Random) -> Made:
    """As the photographer leans in and out: distances drift, and turn."""
    card = tuned(dice, TELLING)
    at, places = dice.uniform(0.3, 0.5), []
    for _ in range(dice.randint(20, 40)):
        at = min(0.7, max(0.2, at + dice.gauss(0, 0.008)))
        places.append(at)
    return card, tries(card, dice, places, (1.5, 9), flash=dice.choice(["fired", "off"]))


@habit("tries")
def tries_untold(dice: random.Random) -> Made:
    """A body that tells autofocus, and no distance."""
    card = tuned(dice, (PANASONIC,))
    count = dice.randint(20, 44)
    return card, tries(card, dice, [None] * count, (1, 8), flash=dice.choice(["fired", "off"]))


@habit("tries")
def tries_at_two_spots(dice: random.Random) -> Made:
    """Some frames of a drop, some of the next one; now and then the focus stays."""
    card = tuned(dice, TELLING)
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        start = round(dice.uniform(0.25, 0.5), 2)
        places = [start + dice.choice([0, 0, 0.01, -0.01]) for _ in range(dice.randint(10, 20))]
        labels += tries(card, dice, places, (2, 8), after=dice.uniform(20, 60), flash="fired")
    return card, labels


@habit("tries", held=True)
def tries_beside_a_bracket(dice: random.Random) -> Made:
    """Tries, then a focus bracket of the same, then tries."""
    card = tuned(dice, TELLING)
    labels = tries(card, dice, wander(dice, 12, 0.35, 0.03), (1, 6))
    count = dice.randint(12, 40)
    card.bracket(count, start=0.33, after=dice.uniform(6, 20), focus_mode="auto")
    labels += one(Kind.FOCUS_BRACKET, count)
    return card, labels + tries(card, dice, wander(dice, 12, 0.35, 0.03), (1, 6), after=9)


@habit("tries", twin=True)
def focus_point_moved_by_hand(dice: random.Random) -> Made:
    """Autofocus, its point moved on from slice to slice: the distance steps one way."""
    card = tuned(dice, TELLING)
    count, step = dice.randint(7, 15), dice.uniform(0.006, 0.016)
    start = dice.uniform(0.25, 0.45)
    places = [start + step * index for index in range(count)]
    told = {"focus_mode": "auto", "flash": "fired", "drive": "single", "bracket": "off"}
    gaps = [dice.uniform(3, 10) for _ in range(count - 1)]
    some_singles(card, dice, 2)
    card.series(places, after=70, beat=gaps, numbered=False, **told)  # type: ignore[arg-type]
    return card, many(2) + one(Kind.MANUAL_STACK, count)


@habit("tries", twin=True)
def ring_turned_by_hand(dice: random.Random) -> Made:
    """Manual focus, flash, one way."""
    card = tuned(dice, TELLING)
    count, step = dice.randint(5, 14), dice.uniform(0.005, 0.014)
    start = dice.uniform(0.22, 0.4)
    places = [start + step * index for index in range(count)]
    some_singles(card, dice, 2)
    card.by_hand(places, after=70, beat=[dice.uniform(2, 11) for _ in range(count - 1)])
    return card, many(2) + one(Kind.MANUAL_STACK, count)


# ---- walks --------------------------------------------------------------------------------------


def walk(
    card: Card, dice: random.Random, count: int, pauses: tuple[float, float], *, spread: int,
    places: Sequence[float | None] = (), **facts: object,
) -> tuple[Label, ...]:  # fmt: skip
    """Single frames by automatic exposure: each subject has its own light."""
    for index in range(count):
        level = min(len(SPEEDS) - 1, max(0, 15 + round(dice.gauss(0, spread))))
        told = {"exposure": Fraction(1, SPEEDS[level]), "focus_mode": "auto"} | facts
        place = places[index] if places else None
        card.single(dice.uniform(*pauses), place, **told)
    return many(count)


@habit("walks")
def walk_by_automatic_exposure(dice: random.Random) -> Made:
    """A walk along the tide line: focus is not told, exposures differ."""
    card = tuned(dice, MUTE, manual_exposure=False)
    return card, walk(card, dice, dice.randint(20, 50), (5, 60), spread=dice.randint(2, 6))


@habit("walks")
def quick_walk(dice: random.Random) -> Made:
    """The same, faster."""
    card = tuned(dice, MUTE, manual_exposure=False)
    return card, walk(card, dice, dice.randint(20, 40), (2.5, 14), spread=dice.randint(2, 6))


@habit("walks")
def walk_into_the_dark(dice: random.Random) -> Made:
    """The light fades along the way, with whims: mostly one way."""
    card = tuned(dice, MUTE, manual_exposure=False)
    level = 22.0
    count = dice.randint(16, 30)
    for _ in range(count):
        level = min(24, max(0, level - dice.uniform(-1.0, 2.4)))
        told = {"exposure": Fraction(1, SPEEDS[round(level)]), "focus_mode": "auto"}
        card.single(dice.uniform(6, 45), None, **told)
    return card, many(count)


@habit("walks", held=True)
def walk_with_told_focus(dice: random.Random) -> Made:
    """Bodies that tell distances; the sensitivity goes along."""
    card = tuned(dice, TELLING, manual_exposure=False)
    count = dice.randint(20, 40)
    labels: tuple[Label, ...] = ()
    for _ in range(count):
        place = dice.choice([dice.uniform(0.3, 4.0), 8.0])
        labels += walk(
            card, dice, 1, (4, 50), spread=5, places=[place], iso=dice.choice([200, 400, 800])
        )
    return card, labels


@habit("walks", held=True)
def walk_with_continuous_drive(dice: random.Random) -> Made:
    """Continuous drive left on, every press short."""
    card = tuned(dice, (PANASONIC,), manual_exposure=False)
    return card, walk(card, dice, dice.randint(20, 40), (4, 40), spread=4, drive="continuous")


def rungs(dice: random.Random, count: int) -> list[int]:
    """Shutter speeds (denominators) that step evenly one way."""
    step = dice.choice([2, 3]) if count > 7 else 3
    levels = [step * index for index in range(count) if step * index < len(SPEEDS)]
    speeds = [SPEEDS[level] for level in levels]
    return speeds if dice.random() < 0.5 else speeds[::-1]


@habit("walks", twin=True)
def ladder_under_automatic_exposure(dice: random.Random) -> Made:
    """Turned by hand on a tripod; the tags say automatic exposure and one bias throughout."""
    card = tuned(dice, EVERY, manual_exposure=False)
    speeds = rungs(dice, dice.randint(6, 9))
    some_singles(card, dice, 2)
    for index, speed in enumerate(speeds):
        pause = dice.uniform(4, 8) if index else 60
        card.single(pause, 0.8, exposure=Fraction(1, speed), focus_mode="manual")
    return card, many(2) + one(Kind.EXPOSURE_BRACKET, len(speeds))


@habit("walks", twin=True)
def bracket_that_no_tag_tells(dice: random.Random) -> Made:
    """The camera's own sets, in continuous drive; no tag says bracket, the mode says automatic."""
    card = tuned(dice, (PLAIN, COARSE), manual_exposure=False)
    stops = dice.choice([(0, -1, 1), (0, -2, 2), (-1, 0, 1), (0, -1, 1, -2, 2), (-2, -1, 0, 1, 2)])
    times = dice.randint(1, 4)
    for _ in range(times):
        card.exposures(stops, after=dice.uniform(5, 30), beat=dice.uniform(0.15, 0.4),
                       by_bias=False, bracket="off")  # fmt: skip
        for press in range(len(card.presses) - len(stops), len(card.presses)):
            card.automatic(press)
    return card, one(Kind.EXPOSURE_BRACKET, len(stops)) * times


@habit("walks", twin=True, held=True)
def ladder_in_manual_mode(dice: random.Random) -> Made:
    """By hand in manual mode, half a minute apart now and then."""
    card = tuned(dice, EVERY)
    speeds = rungs(dice, dice.randint(6, 9))
    some_singles(card, dice, 2)
    for index, speed in enumerate(speeds):
        pause = dice.uniform(4, 25) if index else 80
        card.single(pause, 0.8, exposure=Fraction(1, speed), focus_mode="manual")
    return card, many(2) + one(Kind.EXPOSURE_BRACKET, len(speeds))


# ---- flash bursts -------------------------------------------------------------------------------


def recycled(dice: random.Random, count: int, fast: float, slow: tuple[float, float],
             each: tuple[int, int]) -> list[float]:  # fmt: skip
    """The gaps of a burst whose flash gives some frames at once, and then must recycle."""
    gaps: list[float] = []
    while len(gaps) < count - 1:
        gaps += [fast * dice.uniform(0.8, 1.25) for _ in range(dice.randint(*each))]
        gaps.append(dice.uniform(*slow))
    return gaps[: count - 1]


FLASHED: dict[str, object] = {"flash": "fired"}


@habit("flash bursts")
def burst_that_recycles(dice: random.Random) -> Made:
    """Some frames at once, then a pause of 1 to 3 s, again and again."""
    card = tuned(dice, MODES, **FLASHED)
    count = dice.randint(15, 60)
    gaps = recycled(dice, count, dice.uniform(0.15, 0.5), (1, 3), (2, 5))
    card.burst(count, at=dice.uniform(0.3, 0.7), beat=gaps)
    return card, one(Kind.BURST, count)


@habit("flash bursts")
def burst_that_recycles_seldom(dice: random.Random) -> Made:
    """A good beat, and a pause every ten frames or so."""
    card = tuned(dice, MODES, **FLASHED)
    count = dice.randint(25, 60)
    gaps = recycled(dice, count, dice.uniform(0.2, 0.5), (1, 3), (6, 12))
    card.burst(count, at=dice.uniform(0.3, 0.7), beat=gaps)
    return card, one(Kind.BURST, count)


@habit("flash bursts")
def two_bursts_that_recycle(dice: random.Random) -> Made:
    """The light is moved for 12 s and more between two of them."""
    card = tuned(dice, MODES, **FLASHED)
    fast, place = dice.uniform(0.15, 0.5), dice.uniform(0.3, 0.7)
    labels: tuple[Label, ...] = ()
    for _ in range(2):
        count = dice.randint(15, 40)
        gaps = recycled(dice, count, fast, (1, 3), (2, 6))
        card.burst(count, at=place, beat=gaps, after=dice.uniform(12, 30))
        labels += one(Kind.BURST, count)
    return card, labels


@habit("flash bursts")
def burst_that_stumbles(dice: random.Random) -> Made:
    """As fast as the body goes; the flash holds it up a few times, for up to three seconds."""
    card = tuned(dice, EVERY, **FLASHED)
    count = dice.randint(20, 80)
    gaps = beats(dice, dice.uniform(0.08, 0.3), count, 0.1)
    for _ in range(dice.randint(2, 5)):
        gaps[dice.randrange(len(gaps))] = dice.uniform(1, 3)
    places = wander(dice, count, 0.5, dice.choice([0.0, 0.04]))
    card.burst(count, at=places, beat=gaps)
    return card, one(Kind.BURST, count)


@habit("flash bursts")
def slow_burst_that_stumbles(dice: random.Random) -> Made:
    """The flash sets a beat of half a second and more, and holds it up now and then."""
    card = tuned(dice, MODES, **FLASHED)
    count = dice.randint(15, 50)
    gaps = beats(dice, dice.uniform(0.4, 0.9), count, 0.15)
    for _ in range(dice.randint(2, 6)):
        gaps[dice.randrange(len(gaps))] = dice.uniform(1.2, 3)
    card.burst(count, at=0.45, beat=gaps, focus_mode=dice.choice(["auto", "manual"]))
    return card, one(Kind.BURST, count)


@habit("flash bursts")
def short_bursts_with_flash(dice: random.Random) -> Made:
    """Short ones, each with one pause or two, 12 s and more apart."""
    card = tuned(dice, MODES, **FLASHED)
    fast, place = dice.uniform(0.1, 0.4), dice.uniform(0.3, 0.7)
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(3, 5)):
        count = dice.randint(6, 14)
        gaps = beats(dice, fast, count, 0.15)
        gaps[dice.randrange(len(gaps))] = dice.uniform(1, 3)
        card.burst(count, at=place, beat=gaps, after=dice.uniform(12, 40))
        labels += one(Kind.BURST, count)
    return card, labels


@habit("flash bursts")
def slow_bursts_apart(dice: random.Random) -> Made:
    """About a frame a second, as the flash goes; the light is moved for 12 s and more in between."""
    card = tuned(dice, MODES, **FLASHED)
    beat, mode = dice.uniform(0.6, 1.6), dice.choice(["auto", "manual"])
    labels: tuple[Label, ...] = ()
    for _ in range(dice.randint(2, 4)):
        count = dice.randint(8, 30)
        gaps = beats(dice, beat, count, 0.12)
        gaps[dice.randrange(len(gaps))] *= dice.uniform(1.3, 2.2)
        card.burst(count, at=0.45, beat=gaps, after=dice.uniform(12, 25), focus_mode=mode)
        labels += one(Kind.BURST, count)
    return card, labels


@habit("flash bursts", held=True)
def plain_burst_that_recycles(dice: random.Random) -> Made:
    """A body that tells no drive."""
    card = tuned(dice, (PLAIN,), **FLASHED)
    count = dice.randint(15, 50)
    gaps = recycled(dice, count, dice.uniform(0.15, 0.4), (1, 2.6), (2, 6))
    card.burst(count, beat=gaps)
    return card, one(Kind.BURST, count)


@habit("flash bursts", twin=True)
def two_bursts_without_flash(dice: random.Random) -> Made:
    """The same pauses without a flash: the finger was lifted."""
    card = tuned(dice, (CANON, PANASONIC))
    count, beat = dice.randint(10, 30), dice.uniform(0.1, 0.2)
    for _ in range(3):
        card.burst(count, beat=beats(dice, beat, count, 0.04), after=dice.uniform(2.4, 6))
    return card, one(Kind.BURST, count) * 3


@habit("flash bursts", twin=True)
def flash_frames_one_by_one(dice: random.Random) -> Made:
    """Single drive, autofocus, a flash frame at a time."""
    card = tuned(dice, TELLING, **FLASHED)
    places = wander(dice, dice.randint(8, 16), 0.5, 0.15)
    return card, tries(card, dice, places, (4, 14), flash="fired")


# ---- focus driven by a program ------------------------------------------------------------------


def driven(card: Card, dice: random.Random, after: float, beat: float) -> tuple[Label, ...]:
    """A program on a tethered body turns focus on by a step and presses, and so on."""
    count, step = dice.randint(12, 50), dice.uniform(0.004, 0.01)
    start = dice.uniform(0.22, 0.6)
    places = [start + step * index for index in range(count)]
    if dice.random() < 0.4:
        places.reverse()
    gaps = beats(dice, beat, count, dice.uniform(0.02, 0.1))
    told = {"drive": "single", "bracket": "off", "numbered": False}
    card.series(places, after=after, beat=gaps, **told)  # type: ignore[arg-type]
    return one(Kind.MANUAL_STACK, count)


@habit("driven focus")
def focus_driven_by_a_program(dice: random.Random) -> Made:
    """Alone on its card."""
    card = tuned(dice, TELLING, focus_mode=dice.choice(["auto", "manual"]))
    return card, driven(card, dice, 5, dice.uniform(0.6, 6))


@habit("driven focus")
def driven_focus_with_a_folder_each(dice: random.Random) -> Made:
    """A folder for each stack, numbered from 1 in it."""
    card = tuned(dice, TELLING, focus_mode=dice.choice(["auto", "manual"]))
    beat = dice.uniform(0.6, 6)
    labels: tuple[Label, ...] = ()
    for _ in range(3):
        card.new_folder()
        labels += driven(card, dice, dice.uniform(8, 60), beat)
    return card, labels


@habit("driven focus")
def driven_focus_again_and_again(dice: random.Random) -> Made:
    """One after the other, with singles before."""
    card = tuned(dice, TELLING, focus_mode=dice.choice(["auto", "manual"]))
    beat = dice.uniform(0.6, 4)
    some_singles(card, dice, 2)
    labels = many(2)
    for _ in range(2):
        labels += driven(card, dice, dice.uniform(8, 40), beat)
    return card, labels


@habit("driven focus", held=True)
def driven_focus_with_flash(dice: random.Random) -> Made:
    """Each frame lit by a flash."""
    card = tuned(dice, TELLING, flash="fired", focus_mode=dice.choice(["auto", "manual"]))
    beat = dice.uniform(1.5, 6)
    labels = driven(card, dice, 5, beat)
    return card, labels + driven(card, dice, dice.uniform(15, 60), beat)


@habit("driven focus", twin=True)
def burst_of_what_comes_nearer(dice: random.Random) -> Made:
    """Continuous drive, autofocus, one way: what comes nearer is followed."""
    card = tuned(dice, TELLING)
    count, step = dice.randint(14, 40), dice.uniform(0.006, 0.02)
    start = dice.uniform(0.9, 1.6)
    places = [
        max(0.3, start - step * index + dice.uniform(-0.004, 0.004)) for index in range(count)
    ]
    card.burst(count, at=places, beat=dice.uniform(0.07, 0.25), focus_mode="auto")
    return card, one(Kind.BURST, count)


@habit("driven focus", twin=True)
def timer_with_focus_that_stays(dice: random.Random) -> Made:
    """The same beat, and focus stays, out of a macro's reach: a timer's."""
    card = tuned(dice, TELLING, focus_mode="manual")
    count, beat = dice.randint(20, 60), float(dice.randint(2, 6))
    place = dice.uniform(0.8, 2)
    card.series([place] * count, after=5, beat=beats(dice, beat, count, 0.02 / beat),
                numbered=False, drive="single", bracket="off")  # fmt: skip
    return card, one(Kind.INTERVAL, count)


# ---- moths at a lamp ----------------------------------------------------------------------------


@habit("moths")
def moths_at_a_lamp(dice: random.Random) -> Made:
    """One frame every 8 to 40 s for an hour or two; focus is not told."""
    card = tuned(dice, MUTE)
    count = dice.randint(40, 120)
    return card, tries(card, dice, [None] * count, (8, 40), flash=dice.choice(["fired", "off"]))


@habit("moths")
def moths_at_an_even_pace(dice: random.Random) -> Made:
    """The round is made at nearly one pace."""
    card = tuned(dice, MUTE)
    count, pace = dice.randint(40, 90), dice.uniform(8, 14)
    pauses = (pace * 0.75, pace * 1.35)
    return card, tries(card, dice, [None] * count, pauses, flash=dice.choice(["fired", "off"]))


@habit("moths")
def moths_that_come_fast(dice: random.Random) -> Made:
    """Five to twenty seconds, flash."""
    card = tuned(dice, MUTE)
    count = dice.randint(30, 80)
    return card, tries(card, dice, [None] * count, (5, 20), flash="fired")


@habit("moths", held=True)
def moths_with_told_focus(dice: random.Random) -> Made:
    """Distances of the moths, each another."""
    card = tuned(dice, TELLING)
    places = wander(dice, dice.randint(40, 90), 0.5, 0.18)
    return card, tries(card, dice, places, (8, 40), flash=dice.choice(["fired", "off"]))


@habit("moths", twin=True)
def ring_turned_by_hand_untold(dice: random.Random) -> Made:
    """A body that says manual focus, and no distance: some slices at the pace of a hand."""
    card = tuned(dice, (PANASONIC,))
    count = dice.randint(6, 14)
    some_singles(card, dice, 2)
    gaps = [dice.uniform(2, 7) for _ in range(count - 1)]
    card.by_hand([None] * count, after=75, beat=gaps)
    return card, many(2) + one(Kind.MANUAL_STACK, count)


@habit("moths", twin=True)
def timer_at_a_lamp(dice: random.Random) -> Made:
    """Every so many seconds, to a tenth: a timer."""
    card = tuned(dice, MUTE)
    count, beat = dice.randint(40, 120), float(dice.randint(8, 40))
    gaps = beats(dice, beat, count, 0.02 / beat)
    card.series([None] * count, after=5, beat=gaps, numbered=False, drive="single", bracket="off",
                focus_mode="auto")  # fmt: skip
    return card, one(Kind.INTERVAL, count)
