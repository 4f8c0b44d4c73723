"""Rows and findings of shoots at a rock pool, as a page is made of them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta

from sorter.model.finding import Check, FrameFindings, Verdict
from sorter.model.kinds import STACK_KINDS, Kind, Role
from sorter.model.note import Note
from sorter.model.report import Material, Pictured, Trial
from sorter.model.row import Row

LOW_TIDE = datetime(2026, 5, 17, 13, 2, 11)  # noqa: DTZ001  by the camera's clock


class Tide:
    """A shoot that grows: sequences, one after the other."""

    def __init__(self) -> None:
        self.material = Material(title="rock-pool", rows=(), colours=("#440154", "#fde725"))
        self.when = LOW_TIDE
        self._frames = 0
        self._sequences = 0

    def add(
        self,
        kind: Kind,
        frames: int = 1,
        *,
        after_s: float = 20.0,
        step_s: float = 0.5,
        camera: str = "Tidepool R8",
        remarks: tuple[Note, ...] = (),
        check: Check | None = None,
        offset: str = "",
        role: Role = Role.IMAGE,
    ) -> int:
        """A sequence of so many frames behind the last one; its number."""
        self._sequences += 1
        number = self._sequences
        self.when += timedelta(seconds=after_s)
        rows = []
        for position in range(1, frames + 1):
            self._frames += 1
            rows.append(
                Row(
                    source=f"DCIM/100TIDES/IMG_{self._frames:04d}.JPG",
                    destination=f"{number:04d}_{kind}/IMG_{self._frames:04d}.JPG",
                    frame=self._frames,
                    sequence=number,
                    kind=kind,
                    position=position,
                    frames=frames,
                    role=role,
                    captured=self.when.isoformat() + offset,
                    camera=camera,
                    serial="0417",
                    lens="100mm Macro",
                    f_number=5.6,
                    exposure_time_s=0.004,
                    focus_near_m=0.3 + position / 100,
                    focus_far_m=0.32 + position / 100,
                    bytes=1000,
                    sha256="0" * 64,
                    grounds="low tide" if position == 1 else "",
                    remarks=remarks if position == 1 else (),
                )
            )
            self.when += timedelta(seconds=step_s)
        self._grow(tuple(rows))
        if frames > 1:
            self._judge(number, kind, frames, check)
        return number

    def add_row(self, row: Row) -> None:
        """Any other row."""
        self.material = replace(self.material, rows=(*self.material.rows, row))

    def _grow(self, rows: tuple[Row, ...]) -> None:
        pictures = {
            row.frame or 0: Pictured(
                small=f"pictures/small-{row.frame:016x}.jpg",
            )
            for row in rows
        }
        self.material = replace(
            self.material,
            rows=(*self.material.rows, *rows),
            pictures={**self.material.pictures, **pictures},
        )

    def _judge(self, number: int, kind: Kind, frames: int, check: Check | None) -> None:
        told = check or Check(sequence=number, kind=kind, frames=frames)
        told = replace(told, sequence=number, kind=kind, frames=frames)
        look = FrameFindings(
            use=(True,) * frames,
            shares=(1 / frames,) * frames if kind in STACK_KINDS else (None,) * frames,
            places=((0.0, 0.0, 1.0),) * frames,
            sizes=((1620, 1080),) * frames,
        )
        positions = tuple(range(1, frames + 1))
        trial = Trial(
            picture=f"pictures/merge-{number:016x}.jpg",
            depth=f"pictures/depth-{number:016x}.png",
            slices=positions,
            order=positions,
        )
        self.material = replace(
            self.material,
            checks={**self.material.checks, number: told},
            frame_findings={**self.material.frame_findings, number: look},
            trials={**self.material.trials, number: trial}
            if kind in STACK_KINDS
            else self.material.trials,
        )


def complete(**more: object) -> Check:
    """A stack without a fault."""
    check = Check(sequence=0, kind=Kind.FOCUS_BRACKET, frames=0, verdict=Verdict.COMPLETE)
    return replace(check, **more)  # type: ignore[arg-type]
