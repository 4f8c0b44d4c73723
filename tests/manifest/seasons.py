"""Rows of a season at the rock pool, built by hand or drawn; and tallies as plain counters."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from typing import Any, Final

from hypothesis import strategies as st

from sorter.manifest import tables
from sorter.model.kinds import NO_FRAME_KINDS, SEQUENCE_KINDS, STACK_KINDS, Kind, Role
from sorter.model.row import Row
from sorter.model.tally import Group, Tables

NAMES: Final = {
    "kind": "kinds",
    "lens": "lenses",
    "f_number": "f_numbers",
    "hour": "hours",
    "day": "days",
}


def file(
    path: str,
    size: int,
    *,
    of: tuple[int, Kind] | None = None,
    at: tuple[int, int] | None = None,
    role: Role = Role.RAW,
    **about: Any,  # noqa: ANN401  the row's own fields
) -> Row:
    """A file in its place. of: its sequence. at: its frame's number and place in the
    sequence, 0 where it is a result."""
    number, kind = of or (None, Kind.OTHER)
    frame, position = at or (None, None)
    position = position or None
    told: dict[str, Any] = {"kind": kind, "source": f"DCIM/{path}", "destination": path, **about}
    return Row(
        **told,
        sequence=number,
        frame=frame,
        position=position,
        role=role,
        bytes=size,
    )


def back(path: str, size: int, *, of: tuple[int, Kind]) -> Row:
    """A result as another program made it: of no card, of no frame, and it tells nothing."""
    return file(path, size, of=of, role=Role.RESULT, source="")


LIMPETS: Final = (1, Kind.FOCUS_BRACKET)
ANEMONE: Final = (2, Kind.FOCUS_BRACKET)
BARNACLES: Final = (3, Kind.MANUAL_STACK)
SPLASH: Final = (4, Kind.BURST)
MACRO: Final[dict[str, Any]] = {"lens": "100mm Macro", "f_number": 5.6}


def rock_pool() -> tuple[Row, ...]:
    """Two brackets, of which one was merged in the camera and twice elsewhere; a stack and a burst."""
    noon, one = "2026-05-17T12:59:59.9+01:00", "2026-05-17T13:00:00+01:00"
    return (
        file("1/a.ORF", 1000, of=LIMPETS, at=(1, 1), captured=noon, **MACRO),
        file("1/a.JPG", 100, of=LIMPETS, at=(1, 1), role=Role.IMAGE, captured=noon, **MACRO),
        file("1/b.ORF", 1000, of=LIMPETS, at=(2, 2), captured=one, **MACRO),
        file("1/b.xmp", 10, of=LIMPETS, at=(2, 2), role=Role.SIDECAR, captured=one, **MACRO),
        file("results/r.JPG", 7, of=LIMPETS, at=(3, 0), role=Role.RESULT, captured=one, **MACRO),
        back("results/s.tif", 5000, of=LIMPETS),
        back("results/t.tif", 6000, of=LIMPETS),
        file("2/a.ORF", 2000, of=ANEMONE, at=(4, 1), captured=one, lens="60mm Macro", f_number=8.0),
        file("3/a.JPG", 300, of=BARNACLES, at=(5, 1), role=Role.IMAGE, captured=one, lens=" "),
        file("3/b.JPG", 300, of=BARNACLES, at=(6, 2), role=Role.IMAGE, captured="2026-05-18T09:10:00"),
        back("results/u.tif", 70, of=BARNACLES),
        file("4/a.JPG", 40, of=SPLASH, at=(7, 1), role=Role.IMAGE, captured="0033-04-03T23:59:00"),
        file("unsorted/tides.txt", 3, role=Role.OTHER),
        file("lost.ORF", 9999, of=SPLASH, at=(8, 2), destination=""),
    )  # fmt: skip


def tabled(shoots: Mapping[str, Iterable[Row]]) -> Tables:
    """All shoots together."""
    return tables.tables_of(tables.measure(tables.file_table(shoots)))


def counters(found: Tables) -> dict[str, dict[str, Counter[str]]]:
    """The tables with what is not zero in them, by table and key."""
    return {
        table: {group.key: counter(group) for group in getattr(found, name)}
        for table, name in NAMES.items()
    }


def counter(group: Group) -> Counter[str]:
    """What is not zero of a group."""
    return +Counter(asdict(group.counts))


# ---- drawn --------------------------------------------------------------------------------------

_LENSES: Final = st.sampled_from(["", "100mm Macro", "60mm Macro", "nan", "None"])
_STOPS: Final = st.sampled_from([None, 2.8, 5.6, 11.0])
_TIMES: Final = st.one_of(
    st.just(""),
    st.datetimes().map(lambda at: at.isoformat()),
    st.sampled_from(["2026-05-17T13:02:11.34+01:00", "2026-05-17T23:59:59.999999999-11:30"]),
)
_SIZES: Final = st.integers(0, 10**11)
_EXTENSIONS: Final = st.lists(
    st.sampled_from([Role.RAW, Role.IMAGE, Role.SIDECAR, Role.THUMBNAIL]), min_size=1, max_size=3
)


@st.composite
def seasons(draw: st.DrawFn) -> tuple[Row, ...]:
    """A shoot of a few sequences, some with results, and of loose files; not all in their places."""
    rows: list[Row] = []
    for number in range(1, draw(st.integers(0, 4)) + 1):
        rows += _sequence(draw, number, 10 * number)
    for place in range(draw(st.integers(0, 3))):
        kind = draw(st.sampled_from(sorted(NO_FRAME_KINDS)))
        about: dict[str, Any] = {"kind": kind, "captured": draw(_TIMES), "lens": draw(_LENSES)}
        rows.append(file(f"unsorted/{place}", draw(_SIZES), role=Role.OTHER, **about))
    return tuple(draw(st.permutations(rows)))


def _sequence(draw: st.DrawFn, number: int, first: int) -> list[Row]:
    of = (number, draw(st.sampled_from(SEQUENCE_KINDS)))
    rows: list[Row] = []
    count = draw(st.integers(1, 4))
    for place in range(1, count + 1):
        about: dict[str, Any] = {
            "captured": draw(_TIMES),
            "lens": draw(_LENSES),
            "f_number": draw(_STOPS),
        }
        for role in draw(_EXTENSIONS):
            path = f"{number}/{place}-{len(rows)}.{role}"
            where: dict[str, Any] = {"destination": path if draw(st.integers(0, 9)) else ""}
            rows.append(
                file(
                    path,
                    draw(_SIZES),
                    of=of,
                    at=(first + place, place),
                    role=role,
                    **about,
                    **where,
                )
            )
    if of[1] in STACK_KINDS and any(row.destination for row in rows):
        rows += _results(draw, of, first)
    return rows


def _results(draw: st.DrawFn, of: tuple[int, Kind], first: int) -> list[Row]:
    """In the camera with a sidecar beside it, and from elsewhere."""
    rows = [
        back(f"results/{of[0]}-{n}.tif", draw(_SIZES), of=of)
        for n in range(draw(st.integers(0, 2)))
    ]
    if draw(st.booleans()):
        at = (first, 0)
        about: dict[str, Any] = {"lens": draw(_LENSES), "captured": draw(_TIMES)}
        for role in (Role.RESULT, Role.SIDECAR):
            path = f"results/{of[0]}.{role}"
            rows.append(file(path, draw(_SIZES), of=of, at=at, role=role, **about))
    return rows
