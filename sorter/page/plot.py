"""Focus over the slices of a stack, as SVG geometry: how much is sharpest in each, and its distance."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from sorter.model.finding import Check, listed
from sorter.model.row import Row
from sorter.page import labels
from sorter.page.parts import AxisLabel, Plot

WIDTH: Final = 480.0
HEIGHT: Final = 230.0
LEFT, RIGHT, TOP, FOOT = 44.0, 62.0, 12.0, 40.0
NICE: Final = (1, 2, 5, 10, 20, 25, 50, 100, 200, 500)
MIDDLE: Final = 4.0
"""From the foot of a text to its middle."""
LABELS: Final = 10
"""Slice numbers below the plot, at most."""
_LEAST_SHOWN: Final = 0.02
_FEW: Final = 0.1


def plot(
    check: Check, shares: Sequence[float | None], rows: Sequence[Row], out: frozenset[int]
) -> Plot | None:
    """The plot of a stack; None where its pictures tell nothing. rows: one a slice. out: positions."""
    known = [share for share in shares if share is not None]
    if not known or len(shares) != len(rows):
        return None
    most = max(_LEAST_SHOWN, *known)
    step = (WIDTH - LEFT - RIGHT) / len(shares)
    distances = [_distance(row) for row in rows]
    line, right = _line(distances, step)
    bars = [_bar(position, share or 0, most, step) for position, share in enumerate(shares, 1)]
    return Plot(
        bars="".join(bar for position, bar in enumerate(bars, 1) if position not in out),
        outs="".join(bar for position, bar in enumerate(bars, 1) if position in out),
        line=line,
        below=tuple(
            AxisLabel(at=_x(position, step), text=str(position))
            for position in _numbers(len(shares))
        ),
        left=tuple(
            AxisLabel(at=_y(half / 2) + MIDDLE, text=_percent(most * half / 2, most))
            for half in range(3)
        ),
        right=right,
        gaps=tuple(round(LEFT + gap * step, 1) for gap in check.gaps),
        stated=_said(check, shares, distances),
    )


def _percent(share: float, most: float) -> str:
    return f"{share:.1%}" if most <= _FEW else f"{share:.0%}"


def _x(position: int, step: float) -> float:
    return round(LEFT + (position - 0.5) * step, 1)


def _y(share: float) -> float:
    return round(HEIGHT - FOOT - share * (HEIGHT - TOP - FOOT), 1)


def _bar(position: int, share: float, most: float, step: float) -> str:
    """A slice's bar as a part of an SVG path, never less than a unit high."""
    width = round(step * 0.72, 1)
    height = max(1.0, HEIGHT - FOOT - _y(share / most))
    left = round(_x(position, step) - width / 2, 1)
    return f"M{left:g} {HEIGHT - FOOT:g}v-{height:.1f}h{width:g}v{height:.1f}z"


def _distance(row: Row) -> float | None:
    near, far = row.focus_near_m, row.focus_far_m
    if near is None or far is None or math.isinf(near) or math.isinf(far):
        return None
    return (near + far) / 2


def _line(distances: Sequence[float | None], step: float) -> tuple[str, tuple[AxisLabel, ...]]:
    """The points of the distances, and the axis that they are read from; nothing where too few are known."""
    known = [each for each in distances if each is not None]
    if len(known) < 2 or min(known) == max(known):  # noqa: PLR2004  two make a line
        return "", ()
    low, high = min(known), max(known)
    line = " ".join(
        f"{_x(position, step):g},{_y((each - low) / (high - low)):g}"
        for position, each in enumerate(distances, 1)
        if each is not None
    )
    axis = ((low, 0.0), ((low + high) / 2, 0.5), (high, 1.0))
    return line, tuple(
        AxisLabel(at=_y(share) + MIDDLE, text=f"{value:.3g} m") for value, share in axis
    )


def _numbers(count: int) -> list[int]:
    """The first, every so many, and the last, which keeps its distance from the one before it."""
    every = next((each for each in NICE if count / each <= LABELS), NICE[-1])
    inner = [n for n in range(every, count, every) if n > 1 and count - n >= every * 0.6]
    return [1, *inner, *([count] if count > 1 else [])]


def _said(check: Check, shares: Sequence[float | None], distances: Sequence[float | None]) -> str:
    """What the plot shows, for those who do not see it."""
    known = {n: share for n, share in enumerate(shares, 1) if share is not None}
    top = max(known, key=lambda n: known[n])
    known_values = [each for each in distances if each is not None]
    parts = [f"Sharpest in each of {len(shares)} slices: most, {known[top]:.0%}, in slice {top}."]
    if known_values and distances[0] is not None and distances[-1] is not None:
        parts.append(
            f"Focus from {labels.metres(distances[0])} m to {labels.metres(distances[-1])} m."
        )
    if check.gaps:
        parts.append(f"Gaps behind {listed(check.gaps)}.")
    return " ".join(parts)
