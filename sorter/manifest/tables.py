"""Rows of shoots as tables, and what these come to by kind, lens, aperture, hour and day.

Every file has one place in each table, so that each adds up to the total. A file stands where its
frame does, a result where its stack's first frame does, and what is no frame where it says itself.
A sequence is counted with its first frame.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping
from dataclasses import fields
from datetime import datetime
from typing import TYPE_CHECKING, Any, Final

from sorter.manifest.figures import figure
from sorter.manifest.rows import in_order
from sorter.model.kinds import STACK_KINDS, Kind, Role
from sorter.model.row import Row
from sorter.model.tally import Counts, Group, Spread, Tables

if TYPE_CHECKING:
    import pandas as pd

MEASURES: Final = tuple(each.name for each in fields(Counts))
_SHARED: Final = ("captured", "lens", "f_number")
"""What all files of a frame have in common; of a stack, its results have it from the first frame."""
_FRAME: Final = ["shoot", "frame"]
_SEQUENCE: Final = ["shoot", "sequence"]
_TYPES: Final = {
    "shoot": "object",
    "sequence": "Int64",
    "frame": "Int64",
    "position": "Int64",
    "kind": "object",
    "role": "object",
    "captured": "datetime64[us]",
    "lens": "object",
    "f_number": "float64",
    "bytes": "int64",
    "destination": "object",
}


def file_table(shoots: Mapping[str, Iterable[Row]]) -> pd.DataFrame:
    """A line for each file that is in its shoot, by shoot and in the manifest's order.

    shoots: the rows of each by its name. captured: the camera's wall clock; NaT where it is not
    told. Other things that are not told: None, NA or NaN, as the column has it. An aperture of zero
    is what bodies write for a lens that tells none.
    """
    import pandas as pd  # noqa: PLC0415  slow to load, and few commands count

    lines = [
        _line(name, row)
        for name, rows in shoots.items()
        for row in in_order(rows)
        if row.destination
    ]
    columns = zip(*lines, strict=True) if lines else ((),) * len(_TYPES)
    return pd.DataFrame(
        {
            name: pd.Series(list(column), dtype=kind)
            for (name, kind), column in zip(_TYPES.items(), columns, strict=True)
        }
    )


def _line(shoot: str, row: Row) -> tuple[object, ...]:
    return (
        shoot,
        row.sequence,
        row.frame,
        row.position,
        str(row.kind),
        str(row.role),
        wall_clock(row.captured),
        row.lens.strip() or None,
        row.f_number or None,
        row.bytes,
        row.destination,
    )


def wall_clock(captured: str) -> datetime | None:
    """The time as the camera's own clock showed it, whatever its zone; None where it is not told."""
    try:
        return datetime.fromisoformat(captured).replace(tzinfo=None)
    except ValueError:
        return None


def tables_of(
    measured: pd.DataFrame, *, shoot: str = "", path: str = "", absent: int = 0
) -> Tables:
    """The tables of these files. measured: what `measure` gives, or some of its lines."""
    captured = measured["captured"].dt
    groups = {
        "kinds": sorted(_groups(measured, measured["kind"]), key=_kinds_place),
        "lenses": _groups(measured, measured["lens"]),
        "f_numbers": _groups(measured, measured["f_number"]),
        "hours": _groups(measured, captured.strftime("%H")),
        "days": _groups(measured, captured.strftime("%Y-%m-%d")),
    }
    return Tables(
        shoot=shoot,
        path=path,
        total=_group("", measured),
        stacks=tuple(_spread(measured, kind) for kind in (*sorted(STACK_KINDS), None)),
        absent=absent,
        **{name: tuple(found) for name, found in groups.items()},
    )


def measure(files: pd.DataFrame) -> pd.DataFrame:
    """The files with a column for each of the counts: what each file adds to it.

    A frame is counted with its first file, a sequence with its first, a result with its first. What
    another program brought back has no frame: each such file is a result.
    """
    files = _settled(files)
    begins = _is_first(files, _SEQUENCE)
    is_stack = files["kind"].isin(STACK_KINDS) & files["sequence"].notna()
    merged = files["role"].eq(Role.RESULT)
    has_result = merged.groupby([files["shoot"], files["sequence"]]).transform("any").eq(True)
    in_camera = _is_first(files[merged], _FRAME).reindex(files.index, fill_value=False)
    source = is_stack & ~files["is_result"]
    return files.assign(
        sequences=begins.astype(int),
        frames=(_is_first(files, _FRAME) & ~files["is_result"]).astype(int),
        stacks=(begins & is_stack).astype(int),
        stacks_with_result=(begins & is_stack & has_result).astype(int),
        results=(in_camera | (merged & files["frame"].isna())).astype(int),
        files=1,
        archivable_bytes=files["bytes"].where(source & has_result, 0),
        waiting_bytes=files["bytes"].where(source & ~has_result, 0),
    )


def _settled(files: pd.DataFrame) -> pd.DataFrame:
    """Each file with what its frame tells, each result with what its stack's first frame tells.

    is_result: results and what lies beside them under their name, as sidecars do.
    """
    of_result = files["frame"].notna() & files["sequence"].notna() & files["position"].isna()
    files = files.assign(is_result=files["role"].eq(Role.RESULT) | of_result)
    by_frame = files.groupby(_FRAME)
    for name in _SHARED:
        files[name] = by_frame[name].transform("first").fillna(files[name])
    heads = files[_is_first(files, _SEQUENCE)][[*_SEQUENCE, *_SHARED]]
    stack = files.merge(heads, on=_SEQUENCE, how="left", suffixes=("_own", ""))
    for name in _SHARED:
        files[name] = files[name].where(~files["is_result"], stack[name])
    return files


def _is_first(files: pd.DataFrame, names: list[str]) -> pd.Series[bool]:
    """Whether it is the first line of its frame or sequence; False where it is of none."""
    return ~files.duplicated(names) & files[names[-1]].notna()


def _groups(measured: pd.DataFrame, by: pd.Series[Any]) -> list[Group]:
    """A group for each value in their order; last that of the files which do not tell it."""
    parts = measured.groupby(by, dropna=False, sort=True)
    return [_group(_key(value), part) for value, part in parts]


def _key(value: Hashable) -> str:
    """The value as text; empty for what is not told, which alone is unlike itself or NA."""
    if isinstance(value, float):
        return "" if value != value else figure(value)  # noqa: PLR0124  NaN
    return value if isinstance(value, str) else ""


def _group(key: str, part: pd.DataFrame) -> Group:
    taken = part.loc[part["frames"].eq(1), "captured"].dropna()
    ends = (taken.min(), taken.max()) if len(taken) else ()
    first, last = (end.isoformat(timespec="seconds") for end in ends) if ends else ("", "")
    sums = {name: int(part[name].sum()) for name in MEASURES}
    return Group(key=key, counts=Counts(**sums), first=first, last=last)


def _kinds_place(group: Group) -> int:
    return list(Kind).index(Kind(group.key))


def _spread(measured: pd.DataFrame, kind: Kind | None) -> Spread:
    """Frames per stack, over the stacks that have any."""
    of_kind = measured["kind"].isin(STACK_KINDS if kind is None else [kind])
    stacks = measured[of_kind & measured["frames"].eq(1)].groupby(_SEQUENCE)["frames"].sum()
    if stacks.empty:
        return Spread(kind=kind)
    return Spread(
        kind=kind,
        stacks=len(stacks),
        least=int(stacks.min()),
        median=float(stacks.median()),
        most=int(stacks.max()),
    )
