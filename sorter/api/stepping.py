"""How deep the slices of a stack are, and how many it takes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from sorter import pipeline
from sorter.api.paths import StrPath, optional_path
from sorter.api.plain import Json, plain_dict
from sorter.disk.output import Output, check_target
from sorter.errors import BadChoice
from sorter.model.steps import Covered, Setup, StepRow
from sorter.pipeline.stepping import (
    ESTIMATED,
    FULL_STOPS,
    NEAR,
    circle_of,
    draw,
    estimated_magnification,
    is_near,
)
from sorter.pipeline.stepping import steps as steps_at

if TYPE_CHECKING:
    from concurrent.futures import Executor

    import pandas as pd

    from sorter.api.progress import Cancel, Progress

DEFAULT_SENSOR = "full-frame"


@dataclass(frozen=True, slots=True, kw_only=True)
class StepsRequest:
    """What is asked, by the names of the command's options; lengths in mm, distances in m."""

    shoot: Path | None = None
    sequence: int | None = None
    magnification: float | None = None
    focal_length: float | None = None
    distance: float | None = None
    f_number: tuple[float, ...] = ()
    sensor: str | None = None
    coc: float | None = None
    depth: float | None = None
    overlap: float = 0.25
    pupil: float = 1.0
    wavelength: float = 0.55
    criterion: str = "larger"
    plot: Path | None = None

    def __post_init__(self) -> None:
        """Raises BadChoice where the options do not go together, or are not enough."""
        if self.sensor and self.coc:
            raise BadChoice("--sensor and --coc are two ways to say the same. Give one of them.")
        if (self.shoot is None) != (self.sequence is None):
            raise BadChoice(
                "SHOOT and --sequence go together: sorter steps rock-pool --sequence 7."
            )
        if self.shoot is not None:
            self._refuse_beside_a_sequence()
        else:
            self._refuse_too_little()

    def _refuse_beside_a_sequence(self) -> None:
        own = (self.magnification, self.focal_length, self.distance, self.depth)
        if any(each is not None for each in (*own, self.plot)) or len(self.f_number) > 1:
            raise BadChoice(
                "of a sequence, magnification, distance and depth come from the shoot, and it has one "
                "f-number; there is no plot of it."
            )

    def _refuse_too_little(self) -> None:
        by_lens = (self.focal_length is not None, self.distance is not None)
        if any(by_lens) and (not all(by_lens) or self.magnification is not None):
            raise BadChoice("give --magnification, or --focal-length and --distance together.")
        if self.magnification is None and not all(by_lens):
            raise BadChoice(
                "say how large: --magnification 1, or --focal-length 100 --distance 0.4."
            )

    @property
    def circle(self) -> str:
        """Where the circle of confusion comes from."""
        if self.coc:
            return "as given"
        return self.sensor or f"{DEFAULT_SENSOR}, as nothing else was said"

    def setup(self) -> Setup:
        """What the arithmetic starts from."""
        magnification, estimated = self.magnification, ""
        if self.shoot is not None:
            magnification = 1.0
        if magnification is None:
            focal, distance = self.focal_length or 0.0, self.distance or 0.0
            magnification = estimated_magnification(focal, distance)
            near = f"{NEAR}; " if is_near(focal, distance) else ""
            estimated = f"from {focal:g} mm at {distance:g} m: {near}{ESTIMATED}"
        return Setup(
            magnification=magnification,
            circle_mm=self.coc or circle_of(self.sensor or DEFAULT_SENSOR),
            overlap=self.overlap,
            pupil=self.pupil,
            wavelength_um=self.wavelength,
            subject_mm=self.depth,
            criterion=self.criterion,
            estimated=estimated,
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Steps:
    """The answers. rows: one an f-number; or covered, what a sequence covered, and why it is an estimate."""

    setup: Setup
    rows: tuple[StepRow, ...] = ()
    covered: Covered | None = None
    estimated: str = ""

    def to_dict(self) -> dict[str, Json]:
        """What `sorter steps --json` prints, as plain values."""
        if self.covered is None:
            known: dict[str, object] = {
                "setup": asdict(self.setup),
                "steps": [asdict(row) for row in self.rows],
            }
        else:
            known = {
                **asdict(self.covered),
                "estimated": self.estimated,
                "circle_mm": self.setup.circle_mm,
            }
        return plain_dict(known)

    def to_pandas(self) -> pd.DataFrame:
        """A line for each f-number; of a sequence for its near and its far end. Lengths in mm."""
        import pandas as pd  # noqa: PLC0415  slow to load, and few calls want a table

        ends = (self.covered.near, self.covered.far) if self.covered else ()
        return pd.DataFrame([asdict(row) for row in (*self.rows, *ends)])


def steps(
    shoot: StrPath | None = None,
    *,
    sequence: int | None = None,
    magnification: float | None = None,
    focal_length: float | None = None,
    distance: float | None = None,
    f_number: float | Iterable[float] = (),
    sensor: str | None = None,
    coc: float | None = None,
    depth: float | None = None,
    overlap: float = 0.25,
    pupil: float = 1.0,
    wavelength: float = 0.55,
    criterion: str = "larger",
    plot: StrPath | None = None,
    progress: Progress | None = None,
    cancel: Cancel | None = None,
    executor: Executor | None = None,
) -> Steps:
    """Depth of field, effective f-number, diffraction, step and frames; or what a sequence covered.

    The options are those of `sorter steps`; lengths in mm, distance in m, wavelength in µm. Raises BadChoice,
    OutputNotWritable, and NoShoot, ShootBusy, LedgerDamaged where a shoot is named.

    >>> (row,) = steps(magnification=1, f_number=5.6, depth=10).rows
    >>> row.effective_f_number, row.frames
    (11.2, 20)
    """
    del progress, cancel, executor
    stops = (f_number,) if isinstance(f_number, int | float) else tuple(f_number)
    return answered(
        StepsRequest(
            shoot=optional_path(shoot),
            sequence=sequence,
            magnification=magnification,
            focal_length=focal_length,
            distance=distance,
            f_number=stops,
            sensor=sensor,
            coc=coc,
            depth=depth,
            overlap=overlap,
            pupil=pupil,
            wavelength=wavelength,
            criterion=criterion,
            plot=optional_path(plot),
        )
    )


def answered(request: StepsRequest) -> Steps:
    """The request answered."""
    setup = request.setup()
    if request.shoot is not None and request.sequence is not None:
        stop = request.f_number[0] if request.f_number else None
        found = pipeline.covered(request.shoot, request.sequence, setup, stop)
        near = is_near(found.focal_mm, found.near_m)
        why = (f"the nearest focus is {NEAR}; " if near else "") + ESTIMATED
        return Steps(setup=setup, covered=found, estimated=why)
    if request.plot is not None:
        check_target(request.plot, output=Output.PLOT)
    rows = steps_at(request.f_number or FULL_STOPS, setup)
    if request.plot is not None:
        draw(request.plot, rows, setup)
    return Steps(setup=setup, rows=rows)
