"""The arithmetic of a stack as a picture."""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import TYPE_CHECKING

from sorter.disk.output import PLOTTER
from sorter.model.steps import Setup, StepRow

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def plot(rows: Sequence[StepRow], setup: Setup) -> bytes:
    """A PNG: depth of field over f-numbers by both criteria, and below it the frames where told.

    It names us as its software, so that a later plot may take its place.
    """
    # Takes half a second to import, so only where a plot is asked for.
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415
    from matplotlib.figure import Figure  # noqa: PLC0415

    count = 1 if setup.subject_mm is None else 2
    figure = Figure(figsize=(7, 3.6 * count), layout="constrained")
    FigureCanvasAgg(figure)
    panels = figure.subplots(count, 1, squeeze=False, sharex=True)[:, 0]
    _depths(panels[0], rows, setup)
    if setup.subject_mm is not None:
        _frames(panels[1], rows, setup)
    _f_numbers(panels[-1], rows)
    made = io.BytesIO()
    figure.savefig(made, format="png", dpi=150, metadata={"Software": PLOTTER})
    return made.getvalue()


def _depths(axes: Axes, rows: Sequence[StepRow], setup: Setup) -> None:
    stops = [row.f_number for row in rows]
    circle = f"geometric, c = {setup.circle_mm:g} mm"
    axes.plot(stops, [row.geometric_mm for row in rows], "o-", color="#1b6f7a", label=circle)
    wave = f"wave, λ = {setup.wavelength_um:g} µm"
    axes.plot(stops, [row.wave_mm for row in rows], "s--", color="#b5532a", label=wave)
    axes.set(xscale="log", yscale="log", ylabel="depth of field (mm)")
    axes.yaxis.set_major_formatter("{x:g}")
    about = " (estimated)" if setup.estimated else ""
    axes.set_title(f"magnification {setup.magnification:.3g}{about}, pupil {setup.pupil:g}")
    axes.legend()
    axes.grid(visible=True, which="both", alpha=0.3)


def _frames(axes: Axes, rows: Sequence[StepRow], setup: Setup) -> None:
    stops = [row.f_number for row in rows]
    frames = [row.frames or 0 for row in rows]
    axes.plot(stops, frames, "o-", color="#1b6f7a")
    for stop, count in zip(stops, frames, strict=True):
        axes.annotate(str(count), (stop, count), (0, 6), textcoords="offset points", ha="center")
    axes.set(xscale="log", ylabel=f"frames for {setup.subject_mm:g} mm")
    axes.set_ylim(0, max(frames) * 1.15)
    axes.set_title(f"overlap {setup.overlap:.0%}, criterion: {setup.criterion}")
    axes.grid(visible=True, which="both", alpha=0.3)


def _f_numbers(axes: Axes, rows: Sequence[StepRow]) -> None:
    """The f-numbers themselves as ticks, for nobody thinks in powers of ten there."""
    stops = [row.f_number for row in rows]
    axes.set_xticks(stops, [f"{stop:g}" for stop in stops])
    axes.minorticks_off()
    axes.set_xlabel("f-number as marked")
