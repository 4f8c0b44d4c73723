from __future__ import annotations

import csv
import hashlib
import io
import shutil
import subprocess
import tempfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from manifest.accounts import rock_pool
from sorter.manifest.csvfile import manifest_bytes, read_manifest, sums_bytes
from sorter.manifest.figures import rounded
from sorter.manifest.rows import make_rows
from sorter.model.kinds import DriveMode, FocusMode, Kind, Role
from sorter.model.note import texts
from sorter.model.row import COLUMNS, Row
from sorter.planning.names import legal

GOLDEN = Path(__file__).parent / "golden"
COMPUTED = ("=", "+", "-", "@", "\t", "\r")

_texts = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
_spiked = st.one_of(
    _texts,
    st.builds(str.__add__, st.sampled_from([*COMPUTED, "'=", "''+", "'", '"', "\r\n"]), _texts),
)
_paths = _spiked.filter(lambda text: text and not text.startswith("./"))
_figures = st.one_of(st.none(), st.floats()).map(rounded)
_whole = st.one_of(st.none(), st.integers(0, 10**12))
_rows = st.builds(
    Row,
    source=_paths,
    destination=_paths | st.just(""),
    frame=_whole,
    sequence=_whole,
    kind=st.sampled_from(Kind),
    position=_whole,
    frames=_whole,
    planned=_whole,
    role=st.sampled_from(Role),
    captured=_texts,
    camera=_spiked,
    serial=_spiked,
    lens=_spiked,
    focal_length_mm=_figures,
    f_number=_figures,
    exposure_time_s=_figures,
    iso=_figures,
    exposure_bias_ev=_figures,
    flash=st.sampled_from(["", "fired", "off"]),
    focus_mode=st.sampled_from([None, *FocusMode]),
    drive_mode=st.sampled_from([None, *DriveMode]),
    focus_near_m=_figures,
    focus_far_m=_figures,
    bytes=st.integers(0, 10**12),
    sha256=st.just(""),
    grounds=_spiked,
    remarks=st.lists(_spiked, max_size=2).map(tuple),
)


@given(st.lists(_rows, max_size=4))
def test_a_manifest_reads_back_as_it_was_written(rows: list[Row]) -> None:
    told = [replace(row, remarks=texts(row.remarks)) for row in rows]
    assert read_manifest(manifest_bytes(rows)) == tuple(told)


@given(_rows)
def test_no_text_is_computed_by_a_spreadsheet(row: Row) -> None:
    cells = list(csv.reader(io.StringIO(manifest_bytes([row]).decode(), newline="")))[1]
    numbers = {"exposure_bias_ev", "focal_length_mm", "f_number", "exposure_time_s", "iso"}
    numbers |= {"focus_near_m", "focus_far_m"}
    for name, cell in zip(COLUMNS, cells, strict=True):
        assert name in numbers or not cell.startswith(COMPUTED)


def test_a_path_is_defused_by_a_dot_and_other_text_by_an_apostrophe() -> None:
    row = Row(
        source="=a.JPG", kind=Kind.OTHER, role=Role.OTHER, bytes=1, lens="@home", remarks=("-b",)
    )
    line = manifest_bytes([row]).decode().splitlines()[1]
    assert line.startswith("./=a.JPG,")
    assert ",'@home," in line
    assert line.endswith(",'-b")


def test_lines_end_in_crlf_and_there_is_no_byte_order_mark() -> None:
    data = manifest_bytes(make_rows(rock_pool()))
    assert data.startswith(b"source,destination,")
    assert data.count(b"\r\n") == data.count(b"\n") == 1 + len(make_rows(rock_pool()))


def test_a_lone_surrogate_anywhere_does_not_stop_the_writing() -> None:
    row = Row(source="a", kind=Kind.OTHER, role=Role.OTHER, bytes=1, lens="\udc80\ud800")
    assert b"\\x80\\ud800" in manifest_bytes([row])


@pytest.mark.parametrize("data", [b"", b"source\r\n", b"a,b\r\n1,2\r\n"])
def test_other_columns_are_no_manifest(data: bytes) -> None:
    with pytest.raises(ValueError, match="columns"):
        read_manifest(data)


def test_the_manifest_of_the_rock_pool(golden: Callable[[Path, bytes], None]) -> None:
    golden(GOLDEN / "rock-pool.csv", manifest_bytes(make_rows(rock_pool())))


# ---- digests --------------------------------------------------------------------------------

_names = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0/"), min_size=1, max_size=20)  # fmt: skip


def placed(destination: str, content: bytes = b"") -> Row:
    digest = hashlib.sha256(content).hexdigest()
    about = {"kind": Kind.OTHER, "role": Role.OTHER}
    return Row(source="a", destination=destination, bytes=len(content), sha256=digest, **about)  # type: ignore[arg-type]


def test_digests_stand_one_a_line_before_two_blanks_and_the_path() -> None:
    empty = "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"  # of no bytes: FIPS 180-4
    lines = sums_bytes([placed("singles/tide pool.JPG"), placed("unsorted/Tümpel")])
    assert lines == f"{empty}  singles/tide pool.JPG\n{empty}  unsorted/Tümpel\n".encode()


def test_what_has_no_digest_has_no_line() -> None:
    assert sums_bytes([replace(placed("a"), sha256="")]) == b""
    assert sums_bytes([]) == b""


@pytest.mark.parametrize(
    ("path", "written"),
    [("a\\b", "a\\\\b"), ("a\nb", "a\\nb"), ("a\rb", "a\\rb"), ("\\n\n", "\\\\n\\n")],
)
def test_a_path_that_needs_escapes_has_a_backslash_before_its_line(path: str, written: str) -> None:
    line = sums_bytes([placed(path)]).decode()
    assert line.startswith("\\e3b0c442")
    assert line.endswith(f"  {written}\n")


def _check(shoot: Path) -> subprocess.CompletedProcess[bytes]:
    command = ["sha256sum", "--strict", "-c", "SHA256SUMS"]
    return subprocess.run(command, cwd=shoot, capture_output=True, check=False)  # noqa: S603  fixed words


@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="no GNU coreutils on this system")
@settings(max_examples=25, deadline=None)
@given(st.dictionaries(_names.map(legal), st.binary(max_size=9), min_size=1, max_size=5))
@example({"tide\\pool": b"1", "a\nb": b"2", " blank ": b"3", "*star": b"4"})
def test_sha256sum_of_coreutils_reads_our_digests(contents: dict[str, bytes]) -> None:
    with tempfile.TemporaryDirectory() as shoot:
        (Path(shoot) / "singles").mkdir()
        paths = {f"singles/{name}": content for name, content in contents.items()}
        for path, content in paths.items():
            (Path(shoot) / path).write_bytes(content)
        sums = sums_bytes(placed(path, content) for path, content in paths.items())
        (Path(shoot) / "SHA256SUMS").write_bytes(sums)
        checked = _check(Path(shoot))
        assert checked.returncode == 0, checked.stderr
        changed = Path(shoot) / next(iter(paths))
        changed.write_bytes(b"not a byte of it")
        assert _check(Path(shoot)).returncode == 1
