from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from sorter.model.kinds import FocusMode, Kind, Role
from sorter.model.row import Row
from sorter.planning import names
from sorter.planning.pattern import DEFAULT, FIELDS, PatternFault, parse

ROW = Row(
    source="DCIM/100TIDES/IMG_0010.CR3",
    frame=12,
    sequence=7,
    kind=Kind.FOCUS_BRACKET,
    position=1,
    frames=40,
    role=Role.RAW,
    captured="2026-05-17T13:02:11.25",
    camera="Tidepool R8",
    lens="100mm F2.8 Macro",
    f_number=5.6,
    exposure_time_s=0.016667,
    focus_mode=FocusMode.MANUAL,
    focus_near_m=0.22,
    focus_far_m=math.inf,
    bytes=31_000_000,
)


def filled(pattern: str, name: str = "", **path_facts: object) -> str:
    return parse(pattern).filled(replace(ROW, **path_facts), name)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("pattern", "name", "folder"),
    [
        (DEFAULT, "limpet", "0007_focus-bracket_40_limpet"),
        (DEFAULT, "", "0007_focus-bracket_40"),
        ("{sequence:03d} {kind} f{f_number}", "", "007 focus-bracket f5.6"),
        ("{captured:.10}", "", "2026-05-17"),
        ("{exposure_time_s:.4f}s", "", "0.0167s"),
        ("{focus_near_m}-{focus_far_m:.2f}", "", "0.22-inf"),
        ("{focus_mode!s:>8}", "", "manual"),
        ("{{{kind}}}", "", "{focus-bracket}"),
        ("{f_number!s:x<5}", "", "5.6xx"),
        ("low tide", "", "low tide"),
    ],
)
def test_a_pattern_is_filled_in(pattern: str, name: str, folder: str) -> None:
    assert filled(pattern, name) == folder


@pytest.mark.parametrize(
    ("pattern", "folder"),
    [
        ("{name}_{kind}", "focus-bracket"),
        ("{kind}_{name}_{sequence}", "focus-bracket_7"),
        ("{kind} - {name}", "focus-bracket"),
        ("{name}_{planned}_{kind}", "focus-bracket"),
        ("{name}{planned}_{kind}", "focus-bracket"),
        ("{kind}_{name}_{planned}_{serial}", "focus-bracket"),
        ("{planned:03d}_{iso:.1f}_{kind}", "focus-bracket"),
        ("{drive_mode:>10}_{kind}", "focus-bracket"),
        ("{name}", "_"),
        ("{name}_{planned}", "_"),
    ],
)
def test_what_is_not_known_takes_the_mark_beside_it_along(pattern: str, folder: str) -> None:
    assert filled(pattern) == folder


@pytest.mark.parametrize(
    ("pattern", "says"),
    [
        ("", "empty"),
        ("  ", "empty"),
        ("{colour}", "no field 'colour'. There are: source, "),
        ("{ kind }", "no field ' kind '"),
        ("{lens.__class__}", "without a dot or a bracket"),
        ("{lens[0]}", "without a dot or a bracket"),
        ("{kind._value_.__init__.__globals__}", "without a dot or a bracket"),
        ("{}", "by name, such as {sequence}"),
        ("{0}", "by name, such as {sequence}"),
        ("{sequence:{frames}d}", "plain format, such as :04d"),
        ("{lens!r}", "plain format, such as :04d"),
        ("{lens!a}", "plain format, such as :04d"),
        ("{sequence:0300d}", "wider than 255"),
        ("{f_number:.999f}", "wider than 255"),
        ("{kind:>1000000000}", "wider than 255"),
        ("{sequence:" + "9" * 5000 + "d}", "wider than 255"),
        ("{kind}/{frames}", "no slash"),
        ("..\\{kind}", "no slash"),
        ("{kind", "braces do not match up"),
        ("kind}", "braces do not match up"),
        ("{sequence!}", "braces do not match up"),
        ("{lens:.1f}", "the field lens cannot be written so"),
        ("{kind:d}", "the field kind cannot be written so"),
        ("{kind:=9}", "the field kind cannot be written so"),
        ("{f_number:d}", "the field f_number cannot be written so"),
        ("{sequence:s}", "the field sequence cannot be written so"),
        ("{captured:%Y}", "the field captured cannot be written so"),
        ("{bytes:c}", "the field bytes cannot be written so"),
    ],
)
def test_a_pattern_that_cannot_be_filled_in_is_refused_with_the_reason(
    pattern: str, says: str
) -> None:
    with pytest.raises(PatternFault) as caught:
        parse(pattern)
    assert says in str(caught.value)


_whole = st.one_of(st.none(), st.integers(0, 2**63 - 1))
_figures = st.one_of(st.none(), st.floats(allow_nan=False))
_spiked = st.one_of(
    st.text(),
    st.sampled_from(["../../x", "a\r\nb", "=cmd()", "[bold]x[/]", "CON", "nul.txt", "x" * 5000])
    | st.sampled_from(["\0", "\0\0_", "\ud800", "~", ".", "..", "{lens}", "%s", "\u202e", "C:"]),
)
_rows = st.builds(
    Row,
    source=_spiked,
    frame=_whole,
    sequence=_whole,
    kind=st.sampled_from(Kind),
    position=_whole,
    frames=_whole,
    planned=_whole,
    role=st.sampled_from(Role),
    captured=_spiked,
    camera=_spiked,
    serial=_spiked,
    lens=_spiked,
    focal_length_mm=_figures,
    f_number=_figures,
    exposure_time_s=_figures,
    iso=_figures,
    exposure_bias_ev=_figures,
    focus_mode=st.none() | st.sampled_from(FocusMode),
    focus_near_m=_figures,
    focus_far_m=_figures,
    bytes=st.integers(0, 2**63 - 1),
)
# Formats of Python's "Format Specification Mini-Language", good and bad for the fields.
_forms = st.sampled_from(["", ":04d", ":.1f", ":>9", ":.10", ":c", ":x", ":e", ":n", ":,", ":%", ":/^20", ":\0<5"])  # fmt: skip
_patterns = st.lists(
    st.one_of(
        st.builds("{{{}{}}}".format, st.sampled_from(FIELDS), _forms),
        st.sampled_from(["_", "-", " ", ".", "..", "tide ", ":", "\n", "{{", "}}"]),
    ),
    min_size=1,
    max_size=5,
).map("".join)


@given(pattern=_patterns, row=_rows, name=_spiked)
def test_whatever_the_card_says_a_folder_is_one_legal_component(
    pattern: str, row: Row, name: str
) -> None:
    try:
        parsed = parse(pattern)
    except PatternFault:
        return
    folder = parsed.filled(row, name)
    assert names.is_legal(folder)
    assert folder not in (".", "..")
    assert not set(folder) & set("/\\\0\n\r")
    assert len(folder.encode()) <= 240  # a number and .txt, for a list, make no more than 255 of it


@given(st.text(max_size=40))
def test_any_text_is_a_pattern_or_is_refused_with_a_sentence(text: str) -> None:
    try:
        parsed = parse(text)
    except PatternFault as fault:
        assert str(fault)  # noqa: PT017  both ways are right
    else:
        assert names.is_legal(parsed.filled(ROW, "limpet"))
