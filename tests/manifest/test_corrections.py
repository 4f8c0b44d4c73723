from __future__ import annotations

import csv
import io
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from manifest.accounts import account_of, at, frame, grounds, single
from sorter.errors import BadCorrections
from sorter.manifest.corrections import corrections_bytes, corrections_of, read_corrections
from sorter.manifest.csvfile import defused_path, defused_text
from sorter.model.correction import Correction
from sorter.model.kinds import Kind
from sorter.model.sequence import Sequence

HEADER = "first,last,kind,name\n"
LIMPET = Correction(first="DCIM/IMG_1.CR3", last="DCIM/IMG_9.CR3", kind="burst", name="limpet")


def read(folder: Path, text: str | bytes) -> tuple[Correction, ...]:
    file = folder / "c.csv"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_corrections(file)


def refused(folder: Path, text: str | bytes) -> str:
    with pytest.raises(BadCorrections) as caught:
        read(folder, text)
    said = str(caught.value)
    assert said.startswith(f"{folder / 'c.csv'}")
    assert caught.value.exit_code == 2
    return said.removeprefix(f"{folder / 'c.csv'}")


@pytest.mark.parametrize("bom", ["", "\ufeff"], ids=["plain", "BOM"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=["LF", "CRLF", "CR"])
@pytest.mark.parametrize("sign", [",", ";"])
def test_a_row_is_a_correction(tmp_path: Path, bom: str, end: str, sign: str) -> None:
    rows = (HEADER, "DCIM/IMG_1.CR3,DCIM/IMG_9.CR3,burst,limpet\n")
    text = bom + "".join(row.replace("\n", end).replace(",", sign) for row in rows)
    assert read(tmp_path, text) == (LIMPET,)


def test_lines_that_say_nothing_are_passed_over_and_counted(tmp_path: Path) -> None:
    text = "\n,,,\nfirst,last,kind,name\n\n , ,,\nDCIM/A.JPG\n\nDCIM/B.JPG,,,\n"
    assert [each.line for each in read(tmp_path, text)] == [6, 8]


def test_a_line_is_where_a_row_begins(tmp_path: Path) -> None:
    found = read(tmp_path, f'{HEADER}A.JPG,,,"low\ntide"\nB.JPG,,,\n')
    assert [(each.line, each.name) for each in found] == [(2, "low\ntide"), (4, "")]


def test_an_empty_last_is_the_first(tmp_path: Path) -> None:
    (only,) = read(tmp_path, f"{HEADER}DCIM/A.JPG,,marker,\n")
    assert (only.first, only.last, only.kind, only.name) == ("DCIM/A.JPG", "DCIM/A.JPG", "marker", "")  # fmt: skip


def test_blanks_around_names_and_cells_say_nothing(tmp_path: Path) -> None:
    text = ' first , last,kind , "name"\nDCIM/IMG_1.CR3, DCIM/IMG_9.CR3 , burst, "limpet"\n'
    assert read(tmp_path, text) == (LIMPET,)


def test_columns_may_stand_in_any_order(tmp_path: Path) -> None:
    text = "name,kind,first,last\nlimpet,burst,DCIM/IMG_1.CR3,DCIM/IMG_9.CR3\n"
    assert read(tmp_path, text) == (LIMPET,)


def test_what_the_manifest_defused_is_understood(tmp_path: Path) -> None:
    (only,) = read(tmp_path, f"{HEADER}./=TIDE.JPG,./@TIDE.JPG,burst,'=wave\n")
    assert (only.first, only.last, only.name) == ("=TIDE.JPG", "@TIDE.JPG", "=wave")


def test_a_file_without_rows_corrects_nothing(tmp_path: Path) -> None:
    assert read(tmp_path, HEADER) == ()


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", ", line 1: the column 'first' is missing. The first line is first,last,kind,name."),
        ("first,last,kind\n", ", line 1: the column 'name' is missing."),
        ("first,last,kind,name,notes\n", ", line 1: there is no column called 'notes'."),
        ("first,last,kind,name,\nA,,,\n", ", line 1: there is no column called ''."),
        ("\nfirst,first,last,kind,name\n", ", line 2: the column 'first' is there twice."),
        (f"{HEADER}A,,,x,y\n", ", line 2: there are 5 cells in 4 columns."),
        (f"{HEADER}\n,B.JPG,,\n", ", line 3: the first frame is not named."),
        (f'{HEADER}A,,,\nB,,,"x\nC,,,\n', ", line 3: this is no CSV (unexpected end of data)."),
        (f'{HEADER}A,,,"x"y\n', ", line 2: this is no CSV"),
        (f"{HEADER}A,,,\n".encode() + b"\xe9,,,\n", ", line 3: this is no UTF-8."),
        (HEADER.encode("utf-16"), ", line 1: this is no UTF-8. Save the file as CSV in UTF-8."),
    ],
)  # fmt: skip
def test_what_is_no_corrections_file_is_refused_with_its_line(
    tmp_path: Path, text: str | bytes, says: str
) -> None:
    assert refused(tmp_path, text).startswith(says)


@pytest.mark.parametrize(
    ("kind", "near"),
    [("brust", "burst"), ("Focus bracket", "focus-bracket"), ("MARKER", "marker")],
)
def test_an_unknown_kind_names_the_nearest_right_one(tmp_path: Path, kind: str, near: str) -> None:
    said = refused(tmp_path, f"{HEADER}A,,{kind},\n")
    assert said == (
        f", line 2: there is no kind of sequence called {kind!r}. Did you mean {near!r}?"
    )


@pytest.mark.parametrize("kind", ["clip", "undated", "unreadable", "other"])
def test_what_is_no_kind_of_sequence_is_refused(tmp_path: Path, kind: str) -> None:
    assert f"no kind of sequence called {kind!r}" in refused(tmp_path, f"{HEADER}A,,{kind},\n")


def test_a_file_that_cannot_be_read_is_refused(tmp_path: Path) -> None:
    for path in (tmp_path / "none.csv", tmp_path):
        with pytest.raises(BadCorrections, match="the corrections cannot be read"):
            read_corrections(path)


_kinds = st.sampled_from(["", *(k for k in Kind if k not in ("clip", "undated", "unreadable", "other"))])  # fmt: skip
_texts = st.text("ab=+-@'\"\n;,. /", max_size=6).map(str.strip)
_paths = _texts.filter(lambda path: not path.startswith("./"))  # no path below a card does


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.tuples(_paths.filter(bool), _paths, _kinds, _texts), max_size=4), st.sampled_from(",;"))  # fmt: skip
def test_what_is_written_as_the_manifest_is_comes_back(
    tmp_path: Path, rows: list[tuple[str, str, str, str]], sign: str
) -> None:
    out = io.StringIO(newline="")
    writer = csv.writer(out, delimiter=sign, quoting=csv.QUOTE_ALL)
    writer.writerow(("first", "last", "kind", "name"))
    for first, last, kind, name in rows:
        writer.writerow((defused_path(first), defused_path(last), kind, defused_text(name)))
    found = read(tmp_path, out.getvalue())
    assert [(c.first, c.last, c.kind, c.name) for c in found] == [
        (first, last or first, kind, name) for first, last, kind, name in rows
    ]


# ---- written ----------------------------------------------------------------------------------

_blanks = st.text("ab=+-@'\"\n\r\t;,. /\\\xa0\udcff", min_size=1, max_size=8)
_whole_paths = _blanks.filter(lambda path: not path.startswith("./") and path.strip())


def _as_the_manifest_spells(path: str) -> str:
    return path.replace("\udcff", "\\xff")


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None)
@given(st.lists(st.builds(Correction, first=_whole_paths, last=_whole_paths, kind=_kinds, name=_texts), max_size=4))  # fmt: skip
def test_what_is_written_comes_back(tmp_path: Path, asked: list[Correction]) -> None:
    found = read(tmp_path, corrections_bytes(asked))
    assert [(c.first, c.last, c.kind, c.name) for c in found] == [
        (_as_the_manifest_spells(c.first), _as_the_manifest_spells(c.last), c.kind, c.name)
        for c in asked
    ]


def test_a_row_is_written_as_rfc_4180_wants_it_and_no_spreadsheet_computes_it() -> None:
    asked = Correction(first="=TIDE.JPG", last=' "low", A\udcff.JPG', kind="burst", name="+wave")
    assert corrections_bytes([asked]) == (
        b'first,last,kind,name\r\n./=TIDE.JPG,"./ ""low"", A\\xff.JPG",burst,\'+wave\r\n'
    )


def test_an_account_is_a_row_for_each_sequence_in_order_of_capture() -> None:
    wave = Sequence(
        kind=Kind.BURST,
        frames=(frame("B", at(1), "CR3", "JPG"), frame("C", at(2), "CR3")),
        results=(frame("D", at(3), "JPG"),),
        grounds=grounds(),
        name="wave",
    )
    account = account_of(wave, single(7, 9))
    one = account.sequences[1].frames[0].path
    assert corrections_of(account) == (
        Correction(first="B.CR3", last="C.CR3", kind="burst", name="wave"),
        Correction(first=one, last=one, kind="single"),
    )


def test_what_the_camera_merged_out_of_nothing_on_the_card_has_no_row() -> None:
    merged = Sequence(
        kind=Kind.SINGLE, frames=(frame("A", at(0, merged="focus"), "JPG"),), grounds=grounds()
    )
    assert corrections_of(account_of(merged)) == ()
