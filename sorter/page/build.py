"""The manifest's rows, the findings and the pictures as the parts of the page."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

from sorter.model.boxes import joined
from sorter.model.finding import Check, FrameFindings, Verdict, listed
from sorter.model.kinds import PICTURE_ROLES, SEQUENCE_KINDS, STACK_KINDS, Kind
from sorter.model.note import Related, texts
from sorter.model.relation_kind import RelationKind
from sorter.model.report import Material, Pictured
from sorter.model.row import Row, is_brought_back
from sorter.page import labels
from sorter.page.attention import reasons
from sorter.page.parts import (
    Attempt,
    AxisLabel,
    Figure,
    KindCount,
    Loose,
    Merge,
    Page,
    Plot,
    Relation,
    Section,
    Shot,
)
from sorter.page.plot import plot
from sorter.page.proofs import proofs
from sorter.page.timeline import Item, time_line

ALONE: Final = frozenset({Kind.SINGLE, Kind.MARKER})
LABELS: Final = 7
"""Slice numbers in a legend, at most."""
_LEFT_OUT: Final = (
    ("dark", "dark"),
    ("odd", "shows something else"),
    ("unseen", "cannot be looked at"),
    ("surplus", "sharpest nowhere"),
)
_WHY: Final = {
    Kind.CLIP: "video or sound",
    Kind.UNDATED: "no usable time of capture",
    Kind.UNREADABLE: "nothing in it can be read",
    Kind.OTHER: "no picture that a camera took",
}
_NO_PICTURE: Final = "was not drawn"
_NOT_JUDGED: Final = "not judged"


@dataclass(frozen=True, slots=True, kw_only=True)
class _Sequence:
    """A sequence's rows. frames: of each frame in order the rows of its files; others: its results."""

    number: int
    frames: tuple[tuple[Row, ...], ...]
    others: tuple[Row, ...]
    body: int

    @property
    def heads(self) -> list[Row]:
        """A row for each frame."""
        return [rows[0] for rows in self.frames]

    @property
    def first(self) -> Row:
        return self.frames[0][0]

    @property
    def kind(self) -> Kind:
        return self.first.kind

    @property
    def notes(self) -> tuple[str, ...]:
        """Those of all its files, each once; a file's own with its name. Without relations."""
        rows = [row for frame in self.frames for row in frame]
        known = [(row, text) for row in rows for text in _plain(row, rows[0])]
        return tuple(
            dict.fromkeys(
                text if row is rows[0] else f"{_name(row)}: {text}" for row, text in known
            )
        )

    @property
    def relations(self) -> tuple[Related, ...]:
        """How it stands to other sequences, which its first row says."""
        related = (each for each in self.first.remarks if isinstance(each, Related))
        return tuple(
            dict.fromkeys(each for each in related if each.what is not RelationKind.RESULT)
        )


def make_page(material: Material) -> Page:
    """The page of a shoot."""
    bodies = list(dict.fromkeys(_body(row) for row in material.rows if row.sequence))
    sequences = list(_sequences(material.rows, bodies))
    attention = {
        each.number: reasons(
            material.checks.get(each.number),
            each.notes,
            [text for h in each.heads if (text := material.suggested.get(h.frame or 0))],
        )
        for each in sequences
    }
    return Page(
        title=material.title,
        figures=tuple(_figures(material, sequences, attention)),
        kinds=tuple(_kinds(sequences)),
        attention_count=sum(bool(each) for each in attention.values()),
        has_stacks=bool(material.trials),
        line=time_line(list(_items(sequences, attention)), bodies),
        colours=tuple(
            AxisLabel(
                at=round(100 * n / max(1, len(material.colours) - 1), 1), text="", colour=colour
            )
            for n, colour in enumerate(material.colours)
        ),
        sections=tuple(
            _section(each, material, attention[each.number])
            for each in sequences
            if each.kind not in ALONE
        ),
        wall=tuple(
            shot
            for each in sequences
            if each.kind in ALONE
            for shot in _shots(each, material, attention[each.number])
        ),
        loose=tuple(_loose(material.rows)),
    )


# ---- rows --------------------------------------------------------------------------------------


def _sequences(rows: Sequence[Row], bodies: Sequence[str]) -> Iterator[_Sequence]:
    """Every sequence with the frames whose pictures lie in the shoot: those that were looked at."""
    frames: dict[int, dict[int, list[Row]]] = {}
    others: dict[int, list[Row]] = {}
    for row in rows:
        if row.sequence is None or not row.destination:
            continue
        if row.position is None:
            others.setdefault(row.sequence, []).append(row)
        else:
            frames.setdefault(row.sequence, {}).setdefault(row.position, []).append(row)
    for number, positions in sorted(frames.items()):
        ordered = [sorted(positions[p], key=_is_beside) for p in sorted(positions)]
        seen = tuple(tuple(each) for each in ordered if not _is_beside(each[0]))
        if seen:
            yield _Sequence(
                number=number,
                frames=seen,
                others=tuple(others.get(number, ())),
                body=bodies.index(_body(seen[0][0])),
            )


def _is_beside(row: Row) -> bool:
    """Whether the file lies beside a picture, and is none."""
    return row.role not in PICTURE_ROLES


def _body(row: Row) -> str:
    return " ".join(part for part in (row.camera, row.serial) if part) or "a body that is not told"


def _name(row: Row) -> str:
    return row.source.rpartition("/")[2] or row.destination.rpartition("/")[2]


def _loose(rows: Sequence[Row]) -> Iterator[Loose]:
    for row in rows:
        if row.sequence is None or not (row.destination or is_brought_back(row)):
            why = row.notes or _WHY.get(row.kind, "it is not in the shoot yet")
            yield Loose(
                path=row.source, kind=labels.label(row.kind), place=row.destination, why=why
            )


# ---- the head ----------------------------------------------------------------------------------


def _figures(
    material: Material, sequences: Sequence[_Sequence], attention: Mapping[int, tuple[str, ...]]
) -> Iterator[Figure]:
    frames = sum(len(each.frames) for each in sequences)
    moments = [m for m in (labels.moment(h) for each in sequences for h in each.heads) if m]
    ordered = sorted(moments, key=lambda each: each.replace(tzinfo=None))
    if ordered:
        yield Figure(
            label="taken",
            value=f"{ordered[0]:%Y-%m-%d}",
            more=labels.span(ordered[0], ordered[-1]).removeprefix(f"{ordered[0]:%Y-%m-%d} "),
        )
    yield Figure(
        label="frames", value=f"{frames:,}", more=labels.counted(len(sequences), "sequence")
    )
    stacks = [each for each in sequences if _is_stack(each, material.checks.get(each.number))]
    verdicts = Counter(_verdict(material.checks.get(each.number)) or _NOT_JUDGED for each in stacks)
    order = (*Verdict, _NOT_JUDGED)
    clauses = ", ".join(f"{verdicts[name]} {name}" for name in order if verdicts[name])
    yield Figure(label="stacks", value=str(len(stacks)), more=clauses)
    count = sum(bool(each) for each in attention.values())
    yield Figure(label="deserve a look", value=str(count), more=f"of {len(sequences)}")
    placed = [row for row in material.rows if row.destination]
    yield Figure(
        label="files", value=f"{len(placed):,}", more=labels.size(sum(row.bytes for row in placed))
    )
    lenses = list(dict.fromkeys(each.first.lens for each in sequences if each.first.lens))
    cameras = list(dict.fromkeys(each.first.camera for each in sequences if each.first.camera))
    if cameras:
        yield Figure(
            label=labels.counted(len(cameras), "camera").partition(" ")[2],
            value=", ".join(cameras),
            more=", ".join(lenses),
        )


def _verdict(check: Check | None) -> str:
    return str(check.verdict) if check is not None and check.verdict else ""


def _is_stack(sequence: _Sequence, check: Check | None) -> bool:
    return check.is_stack if check is not None else sequence.kind in STACK_KINDS


def _kinds(sequences: Sequence[_Sequence]) -> Iterator[KindCount]:
    counts = Counter(each.kind for each in sequences)
    for kind in SEQUENCE_KINDS:
        if counts[kind]:
            yield KindCount(kind=kind, label=labels.label(kind), count=counts[kind])


def _items(
    sequences: Sequence[_Sequence], attention: Mapping[int, tuple[str, ...]]
) -> Iterator[Item]:
    spans = [(labels.moment(each.heads[0]), labels.moment(each.heads[-1])) for each in sequences]
    plain = labels.comparable(moment for span in spans for moment in span)
    pairs = zip(plain[::2], plain[1::2], strict=True)
    for each, (shown, _), (first, last) in zip(sequences, spans, pairs, strict=True):
        if first is None or shown is None:
            continue
        clauses = f"{each.number}: {labels.label(each.kind)}"
        if each.kind not in ALONE:
            clauses += f", {labels.counted(len(each.frames), 'frame')}"
        yield Item(
            number=each.number,
            kind=each.kind,
            body=each.body,
            first=first,
            last=max(first, last or first),
            shown=shown,
            stated=f"{clauses}, {shown:%H:%M:%S}",
            needs_attention=bool(attention[each.number]),
        )


# ---- a sequence --------------------------------------------------------------------------------


def _section(sequence: _Sequence, material: Material, attention: tuple[str, ...]) -> Section:
    check = material.checks.get(sequence.number)
    first = sequence.first
    shots = tuple(_shots(sequence, material, ()))
    folder = _common([shot.cell for shot in shots])
    shots = tuple(replace(shot, cell=shot.cell.removeprefix(folder)) for shot in shots)
    best = check.best_frames if check is not None else ()
    return Section(
        number=sequence.number,
        kind=sequence.kind,
        label=labels.label(sequence.kind),
        body=sequence.body,
        frames=len(sequence.frames),
        planned=first.planned,
        when=labels.span(labels.moment(first), labels.moment(sequence.heads[-1])),
        setting=labels.setting(sequence.heads),
        folder=first.destination.rpartition("/")[0],
        folder_of=folder,
        verdict=_verdict(check),
        attention=attention,
        says=check.says if check is not None else "",
        proofs=() if check is None else tuple(proofs(check)),
        grounds=next((row.grounds for rows in sequence.frames for row in rows if row.grounds), ""),
        notes=sequence.notes,
        relations=tuple(
            Relation(words=str(each.what), number=each.sequence) for each in sequence.relations
        ),
        attempts=tuple(_attempts(sequence.number, check, material)),
        results=tuple(row.destination for row in sequence.others),
        merge=_merge(sequence, check, material),
        plot=_plot(sequence, check, material),
        best=tuple(shots[position - 1] for position in best if position <= len(shots)),
        shots=shots,
    )


def _common(cells: Sequence[str]) -> str:
    """The folder that all paths begin with; empty where there is none."""
    folders = {cell.rpartition("/")[0] for cell in cells}
    return f"{folders.pop()}/" if len(folders) == 1 and "" not in folders else ""


def _plain(row: Row, first: Row) -> tuple[str, ...]:
    """What is said of the row in words; relations of the first row are told by themselves."""
    return texts(each for each in row.remarks if row is not first or not isinstance(each, Related))


def _attempts(number: int, check: Check | None, material: Material) -> Iterator[Attempt]:
    for place, other in enumerate(check.attempts if check is not None else ()):
        found, trial = material.checks.get(other), material.trials.get(other)
        if found is not None:
            yield Attempt(
                number=other,
                picture=trial.picture if trial is not None else "",
                frames=found.frames,
                verdict=_verdict(found),
                is_best=place == 0,
                is_this=other == number,
            )


def _shots(sequence: _Sequence, material: Material, attention: tuple[str, ...]) -> Iterator[Shot]:
    check, found = (
        material.checks.get(sequence.number),
        material.frame_findings.get(sequence.number),
    )
    states = _states(check)
    for index, rows in enumerate(sequence.frames):
        head, position = rows[0], index + 1
        made = material.pictures.get(head.frame or 0, Pictured(why=_NO_PICTURE))
        size = found.sizes[index] if found is not None and index < len(found.sizes) else None
        state, words_of_it = states.get(position, ("", ""))
        yield Shot(
            sequence=sequence.number,
            position=position,
            cell=material.cell(head.source),
            name=_name(head),
            clock=labels.clock(labels.moment(head)),
            focus=labels.focus(head),
            small=made.small,
            why=made.why,
            tall=size is not None and size[1] > size[0],
            state=state,
            state_words=words_of_it,
            kind=sequence.kind,
            body=sequence.body,
            attention=attention,
        )


def _states(check: Check | None) -> dict[int, tuple[str, str]]:
    """Of positions that are something else than one of many: what, and in words."""
    if check is None:
        return {}
    found = {position: ("out", why) for name, why in _LEFT_OUT for position in getattr(check, name)}
    best = {p: ("best", f"best frame, number {n}") for n, p in enumerate(check.best_frames, 1)}
    return found | best


def _merge(sequence: _Sequence, check: Check | None, material: Material) -> Merge | None:
    trial = material.trials.get(sequence.number)
    if trial is None:
        return None
    out = sorted(set(range(1, len(sequence.frames) + 1)) - set(trial.slices))
    states = _states(check)
    reasons_of: dict[str, list[int]] = {}
    for position in out:
        why = states.get(position, ("", "of another size, or cannot be lined up"))[1]
        reasons_of.setdefault(why, []).append(position)
    return Merge(
        picture=trial.picture,
        depth=trial.depth,
        of=f"{len(trial.slices)} of {labels.counted(len(sequence.frames), 'slice')}",
        left_out=tuple(f"{listed(tuple(p))} ({why})" for why, p in reasons_of.items()),
        legend=tuple(_legend(trial.order)),
        frame=_frame(material.frame_findings.get(sequence.number)),
        boxes=() if check is None else joined(check.boxes),
    )


def _frame(found: FrameFindings | None) -> tuple[int, int]:
    """The size of the first frame that has a picture; one pixel where none has."""
    sizes = found.sizes if found is not None else ()
    return next((size for size in sizes if size is not None), (1, 1))


def _legend(order: Sequence[int]) -> Iterator[int]:
    """Slices as far apart as the colours that they stand for: the first, the last, and some between."""
    last, count = len(order) - 1, min(LABELS, len(order))
    yield from (order[round(n * last / max(1, count - 1))] for n in range(count))


def _plot(sequence: _Sequence, check: Check | None, material: Material) -> Plot | None:
    found = material.frame_findings.get(sequence.number)
    if check is None or found is None or not check.is_stack:
        return None
    out = frozenset(p for p, (state, _) in _states(check).items() if state == "out")
    return plot(check, found.shares, sequence.heads, out)
