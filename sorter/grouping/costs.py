"""Every cost and limit of the models, in one place, each with its reason.

Costs are in nats: the negative natural logarithm of how likely something is, so 0.7 is one in two,
2.3 one in ten, 4.6 one in a hundred, 6.9 one in a thousand. None of them is measured on a large
collection (none is to be had); they are estimates of the trade, common practice, no source, held by
the labelled cards in the tests. What matters is their order, not their second digit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

from sorter.grouping.evidence import TRADED
from sorter.model.kinds import Bracketing, DriveMode, FocusMode, Kind

NEVER = float("inf")

# --- the step over a boundary: what is seen where one series ends and the next begins -----------

# People take 8 s to begin again, give or take a factor of five; back to back means 1.5 to 3 s.
BOUNDARY_MEDIAN_S = 8.0
BOUNDARY_SPREAD = 1.6
# Nobody lets go and presses again within a second; every factor e below that costs so much.
BOUNDARY_AT_ONCE = 4.0
# A setting is changed at one boundary in seven, and most boundaries change nothing at all: macro
# with flash keeps its settings for hours.
BOUNDARY_CHANGED = 2.0
BOUNDARY_UNCHANGED = 0.6
# Focus: the next subject is at another distance twice as often as at the same, and far from it
# rather than near.
BOUNDARY_FOCUS_TIE = 1.2
BOUNDARY_FOCUS_SMALL = 1.9
BOUNDARY_FOCUS_LARGE = 1.5  # motor steps count here too: how far one turns, nobody knows
# Exposure: the same, a little off, or quite another.
BOUNDARY_EV_SAME = 0.7
BOUNDARY_EV_SMALL = 1.7
BOUNDARY_EV_LARGE = 2.2
# A new series whose camera-given shot number goes on from the last frame's: hardly.
BOUNDARY_SHOT_GOES_ON = 12.0
# ... and where frames are missing between, by its number and by that of the files alike, hardly more.
BOUNDARY_SHOT_SKIPS_ON = 8.0
# A camera-driven series whose first frame has a shot number above 1: its beginning was deleted.
BOUNDARY_SHOT_LATE = 4.0
BOUNDARY_SAME_BURST_ID = 12.0
# Numbers missing between series are as common as within (deleted frames).
NUMBERS_MISSING = 2.0
BOUNDARY_NUMBERS_MISSING = 1.7
# A folder with numbering of its own: some bodies begin one for every bracket.
FOLDER_OWN_NUMBERS = 5.0
BOUNDARY_FOLDER_OWN_NUMBERS = 2.5
# A folder that is full changes anywhere, but within a series rarely.
FOLDER_FULL = 1.5
BOUNDARY_FOLDER_FULL = 1.5

# --- within a series ------------------------------------------------------------------------------

# The camera's own number goes up by one; it skips where a frame was deleted; it never falls.
SHOT_NEXT = 0.03
SHOT_SKIPS = 3.0
SHOT_BEGAN_AGAIN = 25.0
# A number that runs on, at the settings of the series, outvotes a pause: the buffer was full.
SHOT_RUNS_ON = 5.0
# Number 1 behind a frame without a number, on a body that counts: a series begins. Some bodies may
# give their first frame none.
SHOT_BEGINS = 5.0
# Nobody switches the camera off within a series that it runs; a hand may wait so long that it
# falls asleep.
SWITCHED_OFF = 12.0
SWITCHED_OFF_BY_HAND = 4.0
# A hand does not count: a running shot number is a camera's.
SHOT_RUNS_BY_HAND = 4.0
OTHER_BURST_ID = 16.0
# More frames than the camera was set to take: no camera does that.
OVER_PLANNED = 15.0
# A series that ended where it was planned to, or was stopped before: one in ten is, and then at any
# of so many frames (the logarithm of the planned count comes on top, in part).
ENDED_AS_PLANNED = 0.1
STOPPED_EARLY = 2.3
STOPPED_ANYWHERE = 0.8
# A body that hides its focus bracketing runs it in single drive, and a burst stands in for it.
SINGLE_DRIVE_BURST = 1.5
# A focus bracket without a tag: this much, shared out over the moves of focus that prove it.
UNTAGGED_FOCUS = 9.0
# A stack turned by hand whose focus the camera tells, and it never moved: whole centimetres may hide
# a macro step, motor steps hide nothing.
STAYED_BY_CENTIMETRES = 5.0
STAYED_BY_STEPS = 12.0
# ... and each further frame at one motor step says it again.
STAYED_STEP = 2.5
# Whoever moves the camera by a screw, and not the ring, takes ten frames at least; fewer are tries.
BY_A_RAIL, STAYED_SHORT = 10, 1.7
# What stayed within a centimetre, and then turned by several: no slice of one stack.
LEAP_FROM_STAYS = 13.0
# Where nothing at all is told of focus, three frames or four at a hand's pace are no stack yet.
SHORT_WITHOUT_FOCUS = 5
TOO_FEW_WITHOUT_FOCUS = 1.7
# Focus moved on by so much more than the series' usual step that frames must be missing.
LEAP = 3.5
# A turn by hand of over a quarter of the distance is no slice of a macro stack.
LEAP_BY_HAND = 8.0
# ... which is so many times the usual step; every factor e beyond that costs LEAP_STEEP more.
LEAP_TIMES = 5.0
LEAP_STEEP = 4.0

# Turned back by up to so much of the usual step: a hand that slips.
SLIP = 0.5

# A shutter's own jitter, and the stamps' hundredths of a second at ten frames a second.
TIGHTEST_SPREAD = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class Pauses:
    """How a kind of series paces: seconds; spreads in natural logarithms.

    first, first_spread: before the series has a rhythm of its own. spread: around its own mean;
    where `learns`, its own spread replaces it as it goes on. hitch: cost of one pause
    out of rhythm of up to hitch_s, with `steep` more for every factor e beyond that.
    flash_*: the same where the flash fired and must recycle. limit_s: a longer pause ends the series.
    tightest, widest: no series of the kind keeps a steadier beat, and none a less steady one.
    fixed: its own pauses are not learned from at all. waits: it waits for its flash.
    quickest_s: a shorter pause costs `rushed` more for every factor e. slowest_s: a longer one costs
    `dragging` more, unless it is a hitch.
    steady_*: what counts in place of flash_* where the beat is steady: then the camera drives it, and
    only the flash's recycling makes it stumble; 0 s where the kind makes no difference.
    unlit: what each frame without flash costs in a series that is one for its flash.
    hitch_beats: where above 0, so many of its own beats stand in place of hitch_s.
    jitter_s: no beat is known better than by so many seconds, or MACHINE_JITTER of it.
    """

    first: float
    first_spread: float
    spread: float
    learns: bool
    hitch: float
    hitch_s: float
    steep: float
    limit_s: float
    flash_hitch: float = NEVER
    flash_hitch_s: float = 1.0
    tightest: float = TIGHTEST_SPREAD
    widest: float = NEVER
    fixed: bool = False
    waits: bool = False
    quickest_s: float = 0.0
    rushed: float = 0.0
    slowest_s: float = NEVER
    flash_slowest_s: float = NEVER
    dragging: float = 0.0
    steady_hitch: float = 0.0
    steady_hitch_s: float = 0.0
    unlit: float = 0.0
    hitch_beats: float = 0.0
    jitter_s: float = 0.0
    log_first: float = field(init=False)
    log_slowest: float = field(init=False)
    log_flash_slowest: float = field(init=False)
    log_hitch_beats: float = field(init=False)
    log_quickest: float = field(init=False)

    def __post_init__(self) -> None:
        """Takes the logarithms that are asked for at every pause."""
        for name in ("first", "slowest", "flash_slowest"):
            seconds = getattr(self, name if name == "first" else f"{name}_s")
            object.__setattr__(self, f"log_{name}", math.log(seconds))
        object.__setattr__(self, "log_hitch_beats", math.log(self.hitch_beats or 1.0))
        object.__setattr__(self, "log_quickest", math.log(self.quickest_s or 1.0))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Habits:
    """What is usual in one kind of series; costs in nats.

    start: how rare the kind is. goes_on, ends: a length of typically e^ends frames. shortest,
    longest: frames. drive, bracketing, focus_mode: what the camera says at the first frame; a
    camera that does not say costs nothing. pauses_untold: in place of pauses where it says neither
    a distance nor a focus mode; pauses_driven: where it says continuous drive, and pauses_off where it
    says besides that it brackets nothing. changed: a setting
    changes within. stays, moves: how many steps with focus unmoved, and moved, the habit counts for;
    the candidate's own steps are added to them (a rule of succession). against, thrown: a move that wavers
    back a little, that jumps back; with free_focus moves may go either way, and neither counts.
    ev_*: exposure stays, drifts (to 0.4 EV), jumps; ev_leap: what it costs more that it jumps by
    stops. onward, back: where focus is free, what it costs to go on the same way, and to turn.
    """

    kind: Kind
    start: float
    goes_on: float
    ends: float
    shortest: int
    longest: int
    pauses: Pauses
    drive: dict[DriveMode, float]
    bracketing: dict[Bracketing, float]
    focus_mode: dict[FocusMode, float]
    pauses_unknown: Pauses | None = None
    pauses_driven: Pauses | None = None
    pauses_off: Pauses | None = None
    stays: float = 1.0
    moves: float = 1.0
    against: float = 0.0
    thrown: float = 0.0
    ev_same: float = NEVER
    ev_small: float = NEVER
    ev_large: float = NEVER
    ev_leap: float = 0.0
    changed: dict[str, float] = field(default_factory=dict)
    either_way: float = 0.7  # one of two directions
    flash: tuple[float, float] = (0.7, 0.7)  # fired, not fired, at the first frame
    fewest: float = 0.0  # a series of no more than the shortest length
    usual: int = 0  # frames that it has at least, as a rule; each one fewer costs `too_few`
    too_few: float = 0.0
    at_most: int = (
        1_000_000  # frames that it has at most, as a rule; each one more costs `too_many`
    )
    too_many: float = 0.0
    leap: float = LEAP
    wide: float = 0.0  # a turn of an eighth of the distance
    needs_focus: bool = False  # without a tag, only focus that moves proves it
    turns_focus: bool = False  # focus that the camera tells should be seen to move
    free_focus: bool = False
    driven: bool = False  # the camera runs it: its shot number and planned count speak
    periodic: bool = False
    shortest_period_s: float = 0.0
    keep_open: int = 4  # so many open runs are followed; on the labelled cards more changed nothing
    onward: float = 0.0
    back: float = 0.0
    machine: bool = False  # a rail or a program runs it: the body says nothing of that
    # "set": a bracket's pattern; "ladder": changed by hand, mostly one way; "row": each by itself
    exposures: str = ""

    @property
    def when_unknown(self) -> Pauses:
        """How it paces where nothing is told of its focus."""
        return self.pauses_unknown or self.pauses

    @property
    def driven_on(self) -> Pauses:
        """How it paces where the camera says continuous drive."""
        return self.pauses_driven or self.pauses


# A change of lens parts series always; the rest may slip within one.
_CHANGES = {
    "lens": NEVER,  # nobody swaps a lens within a series
    "f_number": 8.0,
    "focal_length_mm": 5.0,  # zooming within a burst happens, breathing is below the threshold
    "flash_fired": 3.5,  # one misfire, or one frame without
    "focus_mode": 10.0,
    "drive_mode": 14.0,
    "bracketing": 14.0,
    "planned": 8.0,
    "orientation": 2.5,  # pointing straight down, the sensor tips over at will
    "iso": 1.0,  # its effect on exposure is judged apart
    TRADED: 5.0,
}

SINGLE = Habits(
    kind=Kind.SINGLE,
    start=0.5,
    goes_on=NEVER,
    ends=0.0,
    shortest=1,
    longest=1,
    pauses=Pauses(
        first=8.0, first_spread=1.6, spread=1.6, learns=False, hitch=NEVER, hitch_s=1.0,
        steep=0.0, limit_s=0.0,
    ),
    # A short press gives one frame in continuous drive too.
    drive={DriveMode.SINGLE: 0.3, DriveMode.CONTINUOUS: 1.0, DriveMode.TIMER: 3.0},
    # Bracketing left on, and one frame taken: rare, but it is a single all the same.
    bracketing={Bracketing.OFF: 0.07, Bracketing.FOCUS: 3.2, Bracketing.EXPOSURE: 3.5,
                Bracketing.OTHER: 3.5},
    focus_mode={FocusMode.AUTO: 0.5, FocusMode.MANUAL: 0.9},
)  # fmt: skip

_ONE_BY_ONE = Pauses(
    first=8.0, first_spread=1.3, spread=0.7, learns=True, tightest=0.3,
    quickest_s=1.0, rushed=4.0,
    hitch=3.0, hitch_s=60.0, steep=2.0, flash_hitch=3.0, flash_hitch_s=60.0, limit_s=300.0,
)  # fmt: skip

# Frames at a person's pace, each a picture by itself: tries at one subject, a walk, moths at a lamp.
# Without it each of them would pay for its boundary as if nothing were known of the one before, and
# whatever kind keeps a pace would swallow them.
ROW = Habits(
    kind=Kind.SINGLE,
    start=2.3,
    goes_on=0.03,
    ends=1.5,
    shortest=3,
    longest=100_000,
    pauses=_ONE_BY_ONE,
    # Where nothing is told of focus, a row is told from stacks by hand by its pace and its length:
    # hands take 3 to 12 s, and whoever looks for the next moth takes longer.
    pauses_unknown=replace(
        _ONE_BY_ONE, spread=0.5, learns=False, quickest_s=14.0, rushed=1.0,
        hitch=8.0, flash_hitch=8.0,
    ),
    drive={DriveMode.SINGLE: 0.1, DriveMode.CONTINUOUS: 3.0, DriveMode.TIMER: 4.0},
    bracketing={Bracketing.OFF: 0.02, Bracketing.FOCUS: 9.0, Bracketing.EXPOSURE: 8.0,
                Bracketing.OTHER: 5.0},
    focus_mode={FocusMode.AUTO: 0.2, FocusMode.MANUAL: 8.0},
    usual=22, too_few=0.35,  # a few singles are singles one by one; nothing need be said of them as a row
    # Where the next one is focused is anybody's guess; about one subject it comes and goes, and of
    # three places in a row the third lies beyond the second one time in three.
    stays=1.0, moves=1.5, free_focus=True, leap=0.7, onward=1.1, back=0.4,
    changed={"lens": NEVER, "f_number": 2.0, "focal_length_mm": 1.5, "flash_fired": 2.0,
             "focus_mode": 3.0, "drive_mode": 3.0, "bracketing": 9.0, "planned": 3.0,
             "orientation": 1.0, "iso": 0.3, TRADED: 0.7},
    exposures="row",
    keep_open=2,
)  # fmt: skip

FOCUS_BRACKET = Habits(
    kind=Kind.FOCUS_BRACKET,
    start=0.6,
    goes_on=0.03,
    ends=2.5,
    shortest=2,
    longest=1000,  # makers' menus end at 999
    pauses=Pauses(
        # 0.05 to 1 s without flash, 1 to 4 s with it; then as steady as the shutter.
        first=0.5, first_spread=1.3, spread=0.18, learns=True,
        # A full buffer slows down; a pause of over a second without flash is no hitch any more.
        hitch=4.0, hitch_s=0.8, steep=6.0,
        # Recycling takes 3 to 26 s.
        flash_hitch=5.0, flash_hitch_s=26.0, limit_s=60.0, waits=True,
        slowest_s=2.5, flash_slowest_s=8.0, dragging=2.0,
    ),
    drive={DriveMode.SINGLE: 0.8, DriveMode.CONTINUOUS: 0.8, DriveMode.TIMER: 2.3},
    # A body that has the tag says so in every bracket; one that says "off" is hardly wrong.
    bracketing={Bracketing.FOCUS: 0.01, Bracketing.OFF: 20.0, Bracketing.EXPOSURE: 13.0,
                Bracketing.OTHER: 9.0},
    focus_mode={FocusMode.AUTO: 0.5, FocusMode.MANUAL: 0.9},
    # Ties are normal: distances of whole centimetres are coarser than a macro step.
    stays=1.0, moves=1.5, against=4.0, thrown=16.0,
    ev_same=0.03, ev_small=3.0, ev_large=7.0, ev_leap=6.0,
    changed=_CHANGES,
    driven=True,
    needs_focus=True,
)  # fmt: skip

_BY_HAND = Pauses(
    # Hands take 1 to 30 s a slice and keep no beat: a few even pauses are luck.
    first=4.0, first_spread=0.8, spread=0.6, learns=True, tightest=0.3,
    quickest_s=1.0, rushed=5.0,
    # Whoever waits longer looks for another picture, or for the flash.
    slowest_s=8.0, flash_slowest_s=11.0, dragging=2.0,
    hitch=3.0, hitch_s=8.0, steep=5.0, flash_hitch=3.0, flash_hitch_s=8.0,
    limit_s=45.0,  # GroupingKnobs.hand_pause_s stands in its place
)  # fmt: skip

MANUAL_STACK = Habits(
    kind=Kind.MANUAL_STACK,
    start=2.8,
    goes_on=0.1,
    ends=2.1,
    shortest=3,
    longest=60,  # 3 to 16 is the habit; beyond 60 nobody turns by hand
    at_most=16, too_many=0.5,
    pauses=_BY_HAND,
    # Where nothing says that hands were at the ring, frames at a person's pace are singles first.
    # A row of them keeps a less even pace than a hand that turns and presses.
    pauses_unknown=replace(
        _BY_HAND, spread=0.32, learns=False, slowest_s=12.0, flash_slowest_s=12.0
    ),
    drive={DriveMode.SINGLE: 0.1, DriveMode.CONTINUOUS: 5.0, DriveMode.TIMER: 3.0},
    bracketing={Bracketing.OFF: 0.01, Bracketing.FOCUS: 7.0, Bracketing.EXPOSURE: 6.0,
                Bracketing.OTHER: 5.0},
    focus_mode={FocusMode.AUTO: 5.0, FocusMode.MANUAL: 0.02},
    stays=1.0, moves=1.5, against=3.5, thrown=13.0,
    ev_same=0.04, ev_small=3.5, ev_large=5.0, ev_leap=6.0,
    changed=_CHANGES,
    turns_focus=True,
    fewest=1.5,
    leap=LEAP_BY_HAND,
    wide=3.0,
    flash=(0.3, 1.0),  # flash is what forbids the camera's own bracketing
)  # fmt: skip

MACHINE_STACK = Habits(
    # A motor rail moves the body, or a program on a tethered body moves its focus.
    kind=Kind.MANUAL_STACK,
    start=2.2,
    goes_on=0.02,
    ends=3.5,
    shortest=8,
    longest=100_000,
    pauses=Pauses(
        # Every 0.6 to 16 s, to a twentieth of it, flash or not.
        first=2.5, first_spread=0.8, spread=0.05, learns=True, tightest=0.02, widest=0.08, jitter_s=0.1,
        # It waits a beat or two longer now and then; five beats are the way back to the start.
        hitch=5.0, hitch_s=NEVER, hitch_beats=2.0, steep=9.0, limit_s=600.0,
        quickest_s=0.5, rushed=5.0, slowest_s=16.0, flash_slowest_s=16.0, dragging=2.0,
    ),
    # Its frames come one by one; a body that runs a timer or brackets says so.
    drive={DriveMode.SINGLE: 0.1, DriveMode.CONTINUOUS: NEVER, DriveMode.TIMER: NEVER},
    bracketing={Bracketing.OFF: 0.01, Bracketing.FOCUS: NEVER, Bracketing.EXPOSURE: NEVER,
                Bracketing.OTHER: 10.0},
    focus_mode={FocusMode.AUTO: 3.0, FocusMode.MANUAL: 0.05},
    stays=2.0, moves=0.2, against=4.0, thrown=16.0, leap=16.0,
    ev_same=0.05, ev_small=4.0, ev_large=8.0, ev_leap=6.0,
    changed=_CHANGES,
    usual=26, too_few=0.4,
    machine=True,
    keep_open=2,
)  # fmt: skip

_IN_A_BURST = Pauses(
    # 2 to 40 frames a second; with a flash, or where it stands in for a bracket, slower.
    first=0.2, first_spread=1.1, spread=0.4, learns=True,
    slowest_s=1.5, flash_slowest_s=2.5, dragging=3.0,
    hitch=4.0, hitch_s=1.0, steep=7.0,
    # Where the flash drives the beat it may recycle for long; a fast beat does not wait.
    flash_hitch=3.0, flash_hitch_s=2.2, limit_s=30.0,
    steady_hitch=5.0, steady_hitch_s=26.0,
)  # fmt: skip

BURST = Habits(
    kind=Kind.BURST,
    start=1.0,
    goes_on=0.05,
    ends=3.0,
    shortest=2,
    longest=100_000,
    pauses=_IN_A_BURST,
    # In continuous drive it waits for its flash.
    pauses_driven=replace(_IN_A_BURST, flash_slowest_s=6.0, waits=True),
    # A burst that stands in for no bracket: whoever waits for many seconds has let go.
    pauses_off=replace(
        _IN_A_BURST, flash_slowest_s=6.0, waits=True, steady_hitch_s=0.0, flash_hitch_s=3.0
    ),
    drive={DriveMode.SINGLE: 3.0, DriveMode.CONTINUOUS: 0.07, DriveMode.TIMER: 4.0},
    bracketing={Bracketing.OFF: 0.02, Bracketing.FOCUS: 7.6, Bracketing.EXPOSURE: 7.0,
                Bracketing.OTHER: 4.0},
    focus_mode={FocusMode.AUTO: 0.7, FocusMode.MANUAL: 0.7},
    # Locked focus stays; tracking focus wanders, once it does, and goes on the same way.
    stays=4.0, moves=0.4, free_focus=True, onward=0.3, back=1.35,
    ev_same=0.05, ev_small=2.5, ev_large=6.0, ev_leap=4.0,
    changed=_CHANGES,
    driven=True,
)  # fmt: skip

# A flash-lit spray: the flash cannot keep up, so the beat is none: some frames at several a second,
# then a pause of 1 to 2 s, all at one focus. Its pauses are held against fixed figures, for a beat
# that is learned from them would find a new one in every few frames.
SPRAY = replace(
    BURST,
    pauses=Pauses(
        first=0.4, first_spread=0.8, spread=0.8, learns=False, fixed=True,
        hitch=NEVER, hitch_s=1.0, steep=8.0, flash_hitch=2.1, flash_hitch_s=2.2, limit_s=30.0,
        unlit=2.0,
    ),
    pauses_driven=None,
    pauses_off=None,
    flash=(0.02, NEVER),
    ends=2.5,
)  # fmt: skip

INTERVAL = Habits(
    kind=Kind.INTERVAL,
    start=3.5,
    goes_on=0.03,
    ends=3.0,
    shortest=4,
    longest=100_000,
    pauses=Pauses(
        # Every 2 to 60 s, to a tenth of a second or two in a hundred.
        first=10.0, first_spread=1.5, spread=0.02, learns=False,
        hitch=6.0, hitch_s=120.0, steep=6.0, limit_s=600.0,
    ),
    drive={DriveMode.SINGLE: 0.1, DriveMode.CONTINUOUS: 3.0, DriveMode.TIMER: 3.0},
    bracketing={Bracketing.OFF: 0.02, Bracketing.FOCUS: 11.0, Bracketing.EXPOSURE: 6.0,
                Bracketing.OTHER: 4.0},
    focus_mode={FocusMode.AUTO: 0.9, FocusMode.MANUAL: 0.5},
    stays=6.0, moves=0.05, free_focus=True,
    # The light changes over the series, slowly.
    ev_same=0.15, ev_small=2.0, ev_large=5.0, ev_leap=4.0,
    changed=_CHANGES,
    periodic=True,
    shortest_period_s=1.8,
    usual=9, too_few=1.0,  # nobody sets a timer for a handful of frames
    flash=(12.0, 0.01),  # a timer rarely fires a flash for an hour
)  # fmt: skip

EXPOSURE_SET = Habits(
    kind=Kind.EXPOSURE_BRACKET,
    start=3.0,
    goes_on=0.05,
    ends=0.7,
    shortest=2,
    longest=9,  # 3, 5, 7 and 9 frames
    pauses=Pauses(
        # Held down at several a second, or one press each, seconds apart.
        first=0.6, first_spread=1.6, spread=0.5, learns=True,
        hitch=4.0, hitch_s=4.0, steep=3.0, flash_hitch=4.0, flash_hitch_s=8.0, limit_s=30.0,
    ),
    drive={DriveMode.SINGLE: 0.7, DriveMode.CONTINUOUS: 0.8, DriveMode.TIMER: 2.3},
    bracketing={Bracketing.EXPOSURE: 0.15, Bracketing.OFF: 3.5, Bracketing.FOCUS: 9.0,
                Bracketing.OTHER: 4.0},
    focus_mode={FocusMode.AUTO: 0.7, FocusMode.MANUAL: 0.7},
    stays=6.0, moves=0.2, free_focus=True,
    ev_large=0.1,  # any exposure that the set has not yet
    changed={**_CHANGES, "flash_fired": 4.0, "planned": 4.0, "iso": 0.7, "f_number": 3.0},
    driven=True,
    keep_open=9,  # a set may begin at each frame of the one before
    exposures="set",
)  # fmt: skip

EXPOSURE_LADDER = Habits(
    kind=Kind.EXPOSURE_BRACKET,
    start=4.0,
    goes_on=0.08,
    ends=2.3,
    shortest=4,
    longest=40,  # 4 to 40 frames, 2 to 60 s apart, on a tripod
    pauses=Pauses(
        first=6.0, first_spread=1.1, spread=0.5, learns=True, tightest=0.15,
        quickest_s=1.5, rushed=4.0,
        hitch=3.5, hitch_s=30.0, steep=4.0, flash_hitch=3.5, flash_hitch_s=30.0,
        limit_s=120.0,
    ),
    drive={DriveMode.SINGLE: 0.2, DriveMode.CONTINUOUS: 3.0, DriveMode.TIMER: 1.8},
    bracketing={Bracketing.OFF: 0.05, Bracketing.EXPOSURE: 4.0, Bracketing.FOCUS: 9.0,
                Bracketing.OTHER: 5.0},
    focus_mode={FocusMode.AUTO: 0.9, FocusMode.MANUAL: 0.5},
    stays=6.0, moves=0.2, free_focus=True,
    ev_same=3.0, ev_small=0.9, ev_large=0.5,
    changed={**_CHANGES, "f_number": 4.0, "iso": 1.2, TRADED: 0.2},
    fewest=3.0,
    exposures="ladder",
)  # fmt: skip

MODELS = (
    SINGLE, FOCUS_BRACKET, MANUAL_STACK, BURST, SPRAY, INTERVAL, EXPOSURE_SET, EXPOSURE_LADDER,
    ROW, MACHINE_STACK,
)  # fmt: skip

# --- exposure brackets ----------------------------------------------------------------------------

# Three is what most people set; how much rarer the others are.
SET_SIZES = {3: 0.4, 5: 1.4, 7: 2.2, 9: 3.0}
# Nothing says that the camera did it: neither its own tag nor Exif's ExposureMode.
SET_WITHOUT_TAG = 1.0
SET_TOLERANCE_EV = 0.2  # rounding of nominal speeds, and of thirds of a stop
SET_REPEATED_EV = 0.15  # an exposure that was there already begins the next set
SET_UNEVEN = 6.0  # steps of unequal size
SET_OF_TWO = 5.0
SET_OF_THIRDS = 3.0  # steps of less than half a stop are seldom bracketed, and often light or whim
SET_ODD_ORDER = 3.0  # neither one way nor from the middle outward
SET_INCOMPLETE = 3.5  # an even number of frames: one was deleted, or it was stopped
RUNG_TOLERANCE_EV = 0.2  # between nominal speeds a third of a stop is 0.26 to 0.42
LADDER_SAME_RUNG = 0.3
LADDER_OTHER_RUNG = 1.8  # a step of another size than the last one: most hands count clicks
LADDER_TURNS = 6.0  # the exposure goes back by a rung
LADDER_TURNS_AGAIN = 4.0  # and once more: that is trying, and each further turn costs so much more
LADDER_OTHER_END = 3.0  # it goes on beyond its other end, with no rung twice: one set in two goes
LADDER_LONE = 1.0  # all the way back for one rung: there the next ladder begins
LADDER_BETWEEN = 3.0  # a rung between two others, which was passed over
LADDER_MIXED = 6.0  # once the brightness steps, and once the time alone
LADDER_TRADED = 0.3  # only the time steps, and the automatic makes up for it
LADDER_FELL_BACK = 10.0  # it goes back by more than a rung and a half: the next ladder

# Exposures that change by themselves, by what the camera says: automatic, and nothing set off. Real
# bodies say so of some of their own brackets, and of ladders that were turned by hand: no proof.
UNBIDDEN_EV = 3.5
# ... and nobody finds another light in less time.
ANOTHER_LIGHT_S = 1.0
# What the camera says counts by so much at every further frame of a row: each is a picture by itself.
INSISTS = 0.3
# ... and of a series: by how much, where the tags fit another kind better by more than is tolerated.
INSISTS_IN_SERIES = 0.2
INSISTS_FRAMES = 10  # a body that is wrong is so in every frame
TOLERATED = 6.0
# Autofocus that goes on following is no slice's, unless the camera says that it brackets.
FOLLOWS = 5.0
# Nothing says that focus was set by hand.
MACHINE_WITHOUT_FOCUS = 2.5
# A frame in manual focus, at a macro's distance or with flash, is rather a rail's than a timer's.
NO_TIMER = 0.1
# In a row of single frames: how often the next one's exposure is the same, and another, as a rule.
ROW_EV_SAME, ROW_EV_OTHER = 1.5, 1.0
# ... and another is a little off, or quite another.
ROW_EV_EITHER = 0.7
# Where the camera does not set it, somebody turned a dial for that one frame.
ROW_EV_BIDDEN = 2.5

# --- the search -----------------------------------------------------------------------------------

# An account that is so much worse than the best one so far is dropped: one in 160,000. What the
# margins find cheaper after all is put in its place.
DROP_BEHIND = 12.0
# A second account that is so much worse than the best is beyond doubt the worse one (margins).
GIVE_UP_BEHIND = 44.0
# --- rhythm ---------------------------------------------------------------------------------------

# Nobody turns by hand in a steadier rhythm than this (in natural logarithm): it is a machine's.
MACHINE_SPREAD = 0.12
# The first pause or two were out of rhythm, and now it settles: hands and flashes do that.
SETTLES = 2.0
# A pause three times the series' own (in natural logarithm), without a flash to wait for, tears it;
# every factor e beyond that so much more.
TORN_RATIO = 1.1
TORN = 4.0
# The pace changed for good, as when a buffer is full.
NEW_PACE = 1.5
# ... and a shutter that waits for a buffer or for an empty flash keeps no beat to speak of.
NEW_PACE_SPREAD = 0.35
# One series in fifty slows down like that: what its first slow pause cost more is given back.
SLOWS_DOWN = 4.0
# A series' habit of spread counts as much as so many pauses of its own.
HABIT_WEIGHT = 1.5
# With a flash, or by hand, a few even pauses prove no even beat.
UNEVEN_HABIT_WEIGHT = 5.0
# A machine's beat is known no better than by so much of it.
MACHINE_JITTER = 0.04
# It waits now and then, but it is hardly ever early.
MACHINE_EARLY = 5.0
# Of its frames so many may lack what tells of a rail: a flash that stayed dark.
UNPROVED = 0.1
# A second run of as many frames as the one before, at its beat: a rail does what it was set to.
AS_MANY = 0.5
# A timer never fires early; it may leave out a frame, and then waits for the next beat.
TIMER_EARLY = 16.0
TIMER_OFF_BEAT = 5.0
# No menu sets a timer to a part of a second; some bodies add the exposure to what was set.
TIMER_OFF_THE_SECOND = 8.0
# A series that keeps the rhythm of the one before: about every second one does.
SAME_RHYTHM = 0.7
# One frame a second (in logarithms: 0) is no spray: that comes at several a second.
SLOWER_THAN_SPRAY = 0.0
# With a flash no timer is set faster: it could not recycle for long.
FLASH_PERIOD_S = 4.0
# An interval timer is exact to a tenth of a second.
TIMER_JITTER_S = 0.1
# The light drifts by less than this from frame to frame.
EV_SMALL = 0.4
# No cloud changes it by more than this at once: somebody turned a dial.
EV_LEAP = 1.7
