"""The command line of a stacking program: how it is split, checked and filled in."""

from __future__ import annotations

import shlex

import pytest
from hypothesis import given
from hypothesis import strategies as st

from handoff.pools import stack
from sorter.errors import BadChoice
from sorter.handoff.command import parse_command
from sorter.model.kinds import Kind
from sorter.model.row import Row

ROW: Row = stack(3, 2)[0].row
TEXTS = {
    "result": "/pool/.sorter/work/3/limpet.tif",
    "name": "0003_limpet",
    "list": "/l",
    "folder": "/f",
}
SLICES = ("/pool/a.JPG", "/pool/b.JPG")


def filled(command: str) -> tuple[str, ...]:
    return parse_command(command).filled(ROW, TEXTS, {"frames": SLICES})


def test_frames_become_an_argument_each() -> None:
    assert filled("merge -o {result} {frames}") == ("merge", "-o", TEXTS["result"], *SLICES)


def test_an_argument_around_frames_is_there_once_for_each() -> None:
    assert filled("merge --in={frames} {result}") == (
        "merge",
        "--in=/pool/a.JPG",
        "--in=/pool/b.JPG",
        TEXTS["result"],
    )


def test_the_manifests_columns_are_fields_with_formats() -> None:
    command = "merge {sequence:04d} {kind} x{f_number}x {folder} {list} {name} {result}"
    assert filled(command) == (
        *("merge", "0003", "focus-bracket", "xx", "/f", "/l"),
        *("0003_limpet", TEXTS["result"]),
    )


@pytest.mark.parametrize(
    "value", ["100mm F2.8 Macro", "a'b", 'a"b', "$(rm x)", "a;b", "-x", "é|>&"]
)
def test_whatever_a_value_holds_it_stays_in_its_argument(value: str) -> None:
    """POSIX, Shell Command Language 2.2 and 2.6: nothing that is filled in is split or expanded."""
    texts = {**TEXTS, "name": value, "result": f"/pool/{value}.tif"}
    made = parse_command("merge {name} {result} {frames}").filled(ROW, texts, {"frames": [value]})
    assert made == ("merge", value, f"/pool/{value}.tif", value)


@given(st.lists(st.text(min_size=1).filter(lambda text: "\0" not in text), min_size=1, max_size=5))
def test_a_command_is_split_as_a_shell_does_it(words: list[str]) -> None:
    """What `shlex.join` quotes for a POSIX shell comes back word for word; braces are doubled."""
    text = shlex.join(word.replace("{", "{{").replace("}", "}}") for word in ["merge", *words])
    made = parse_command(f"{text} {{result}} {{frames}}")
    assert made.filled(ROW, TEXTS, {"frames": SLICES}) == (
        *("merge", *words),
        *(TEXTS["result"], *SLICES),
    )


def test_braces_are_written_twice() -> None:
    assert filled("merge {{x}} {result} {frames}")[1] == "{x}"


@pytest.mark.parametrize(
    ("command", "said"),
    [
        ("", "is empty"),
        ("merge 'x {result} {frames}", "cannot be split"),
        ("merge {frames}", "does not say {result}"),
        ("merge {result}", "is given no slices"),
        ("{name} {result} {frames}", "the program comes first"),
        ("'' {result} {frames}", "no program is named"),
        ("merge {result} {frame_list}", "there is no field 'frame_list'"),
        ("merge {result} {frames.x}", "without a dot"),
        ("merge {result} {frames[0]}", "without a dot"),
        ("merge {result} {}", "fields go by name"),
        ("merge {result} {frames:>3}", "takes no format"),
        ("merge {result} {frames}{frames}", "two fields"),
        ("merge {result} {frames} {sequence:zz}", "cannot be written so"),
        ("merge {result} {frames} {related}", "there is no field 'related'"),
        ("merge {result} {frames", "braces do not match"),
    ],
)
def test_what_cannot_be_filled_in_is_refused(command: str, said: str) -> None:
    with pytest.raises(BadChoice, match="--run") as caught:
        parse_command(command)
    assert said in str(caught.value)


def test_related_frames_are_a_field_where_they_are_asked_for() -> None:
    made = parse_command("merge {result} {frames} --over {related}", with_related=True)
    assert made.filled(ROW, TEXTS, {"frames": SLICES, "related": ["/s"]})[-2:] == ("--over", "/s")
    with pytest.raises(BadChoice, match="with-related"):
        parse_command("merge {result} {frames}", with_related=True)


def test_a_long_path_is_never_cut() -> None:
    long = "/pool/" + "/".join(["tide" * 20] * 40)
    made = parse_command("merge {result} {frames}").filled(
        ROW, {**TEXTS, "result": long}, {"frames": [long]}
    )
    assert made == ("merge", long, long)
    assert ROW.kind is Kind.FOCUS_BRACKET
