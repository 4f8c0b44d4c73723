"""A short run of scripts/fuzz with every test run, and that it would see what it looks for."""

from __future__ import annotations

import struct
from collections.abc import Callable
from functools import cache
from pathlib import Path

import pytest

from fuzzing import campaign, command, seeds
from fuzzing.campaign import PARTS, Cases, Part
from fuzzing.command import CORPUS
from fuzzing.seeds import Seed
from reading.small import SMALL
from sorter.model.values import Moment
from sorter.reading import standard
from sorter.reading.builder import FactsBuilder
from sorter.reading.containers import block
from sorter.reading.directories import Directory, Tiff
from sorter.reading.source import Source

NUMBER = 20_000
SEED = 20260517


@cache
def made() -> tuple[Seed, ...]:
    return tuple(seeds.made())


@cache
def all_cases() -> Cases:
    """Those of the made files, of small ones of rarer forms, and of the corpus where there is one."""
    corpus = Path(__file__).parents[2] / CORPUS
    rarer = (seeds.seed(name, make()) for name, make in SMALL.items())
    real = seeds.of_folder(corpus) if corpus.is_dir() else ()
    return Cases([*made(), *rarer, *real], SEED)


@pytest.mark.parametrize(
    ("part", "number"),
    [("cut", NUMBER // 4), ("flip", NUMBER // 4), ("random", NUMBER // 2)],
)
def test_no_damage_brings_the_reader_down_or_makes_it_say_what_cannot_be(
    part: Part, number: int
) -> None:
    """Field cases: wrong byte orders, absurd counts, pointers in circles, heads cut at any byte."""
    tally = campaign.tried(campaign.turns(all_cases(), part, 0, number))
    assert tally.done == number
    assert [(one.case.label, one.case.name, one.fault) for one in tally.failures] == []


def test_the_made_files_are_of_every_container() -> None:
    names = {one.extension for one in made()}
    assert names >= {"jpg", "cr3", "cr2", "nef", "arw", "pef", "dng", "orf", "rw2", "raf"}
    assert names >= {"heic", "png", "webp", "jxl", "jp2", "mrw", "mp4"}


def test_the_reader_was_watched_where_it_looked() -> None:
    """A made JPEG's Exif begins at its twelfth byte; the entries of IFD0 ten bytes behind that."""
    (canon,) = (one for one in made() if one.name == "Canon.jpg")
    (count,) = struct.unpack("<H", canon.data[20:22])
    assert (22, 22 + 12 * count + 4) in canon.tables
    assert all(0 <= start < end <= len(canon.data) for start, end in canon.ranges)


def test_a_case_is_the_same_each_time_and_another_with_another_seed() -> None:
    one, again, other = (Cases(made(), number) for number in (7, 7, 8))
    for part in PARTS:
        assert one.case(part, 321) == again.case(part, 321)
    assert one.case("random", 321) != other.case("random", 321)


def test_every_byte_of_the_front_is_cut_at_and_every_byte_looked_at_is_flipped() -> None:
    (first, second) = made()[:2]
    cases = Cases([first, second], 1)
    cuts = [cases.case("cut", n) for n in range(cases.count("cut"))]
    front = min(seeds.FRONT, len(first.data))
    assert [len(one.data) for one in cuts[:front]] == list(range(front))
    assert cuts[front].name == second.name
    flips = [cases.case("flip", n) for n in range(cases.count("flip"))]
    for one in flips:
        whole = first if one.name == first.name else second
        changed = sum(a != b for a, b in zip(one.data, whole.data, strict=True))
        assert changed == 1


@pytest.mark.parametrize("part", ["cut", "flip"])
def test_every_case_of_a_part_has_one_turn_and_a_few_turns_go_over_all_files(part: Part) -> None:
    for number in (1, 2, 7):
        for files in (made()[:1], made()[:2], made()[:9]):
            cases = Cases(files, number)
            count = cases.count(part)
            assert {cases.number(part, turn) for turn in range(count)} == set(range(count))
    cases = Cases(files, 7)
    names = {one.name for one in campaign.turns(cases, part, 0, 40 * len(files))}
    assert names == {one.name for one in files}


@pytest.mark.parametrize(
    ("parts", "most", "shared"),
    [
        (PARTS, 0, {"cut": 0, "flip": 0, "random": 0}),
        (PARTS, 2, {"cut": 1, "flip": 0, "random": 1}),
        (PARTS, 3000, {"cut": 1000, "flip": 1000, "random": 1000}),
        (PARTS, 3002, {"cut": 1001, "flip": 1000, "random": 1001}),
        (PARTS, 9000, {"cut": 2000, "flip": 1500, "random": 5500}),
        (("cut", "flip"), 9000, {"cut": 2000, "flip": 1500}),
        (("cut", "flip"), 3200, {"cut": 1700, "flip": 1500}),
        (("random",), 70, {"random": 70}),
    ],
)
def test_the_bound_is_shared_out_over_the_parts(
    parts: tuple[Part, ...],
    most: int,
    shared: dict[Part, int],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(
        Cases, "count", lambda _, part: {"cut": 2000, "flip": 1500, "random": 0}[part]
    )
    assert campaign.shares(Cases(made()[:1], 1), parts, most) == shared


# ---- that it would see what it looks for ----------------------------------------------------


def raising(_main: Directory | None, _exif: Directory | None, _draft: FactsBuilder) -> None:
    raise LookupError("planted")


def saying(**said: object) -> Callable[[Directory | None, Directory | None, FactsBuilder], None]:
    def read(_main: Directory | None, _exif: Directory | None, draft: FactsBuilder) -> None:
        draft.facts.update(said)  # type: ignore[typeddict-item]

    return read


@pytest.mark.parametrize(
    ("planted", "fault"),
    [
        (raising, "LookupError: planted"),
        (saying(f_number=float("nan")), "f_number is nan"),
        (saying(make="a\nb"), "make is"),
        (saying(exposure_time_s=-1.0), "exposure_time_s is -1.0"),
        (saying(focus_near_m=2.0, focus_far_m=1.0), "near is 2.0, far is 1.0"),
        (saying(moment=Moment(local_s=1 << 50)), "moment is"),
        (saying(moment=Moment(local_s=1, digits="१")), "moment is"),
    ],
)
def test_a_planted_fault_is_found(
    planted: Callable[[Directory | None, Directory | None, FactsBuilder], None],
    fault: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(standard, "read", planted)
    tally = campaign.tried(campaign.turns(Cases(made(), 1), "random", 0, 40))
    assert fault in " ".join(one.fault for one in tally.failures)


def test_an_exception_behind_the_net_is_found_too(monkeypatch: pytest.MonkeyPatch) -> None:
    def failing(_source: Source) -> None:
        raise ZeroDivisionError("planted")

    made()  # once for all tests, and before anything fails
    monkeypatch.setattr("sorter.reading.cards.recognise", failing)
    tally = campaign.tried(campaign.turns(Cases(made(), 1), "random", 0, 2))
    assert {one.fault.partition(" (")[0] for one in tally.failures} == {
        "ZeroDivisionError: planted"
    }


def test_reading_on_and_on_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    directories = block.directories

    def greedy(main: Directory, exif: Directory | None, draft: FactsBuilder) -> None:
        greedy_tiff = Tiff(main.tiff.source, 0, "<", main.tiff.source.size)
        for _ in range(40_000):
            greedy_tiff.source.read(0, 2)
        directories(main, exif, draft)

    monkeypatch.setattr(block, "directories", greedy)
    (whole,) = (one for one in made() if one.name == "Canon.jpg")
    tally = campaign.tried([campaign.Case("file:1", whole.name, whole.data)])
    assert ["reads of" in one.fault for one in tally.failures] == [True]


# ---- the command ----------------------------------------------------------------------------


def test_the_command_tells_how_many_and_what_was_slowest(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    options = ["--number", "50", "--part", "random", "--corpus", str(tmp_path / "none")]
    assert command.main([*options, "--out", str(tmp_path)]) == 0
    told = capsys.readouterr().out
    assert "50 cases" in told
    assert "the slowest again: scripts/fuzz --seed 1 --case random:" in told


@pytest.mark.parametrize("number", ["0", "2", "500"])
@pytest.mark.parametrize("parts", [[], ["cut"], ["flip", "random"], ["random", "flip", "flip"]])
def test_the_number_bounds_all_parts_together(
    number: str, parts: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """It bounded the random cases alone: of 3,000 with a corpus three millions were done."""
    options = ["--number", number, *(word for part in parts for word in ("--part", part))]
    assert command.main([*options, "--corpus", str(tmp_path / "none"), "--out", str(tmp_path)]) == 0
    assert f" {number} cases " in capsys.readouterr().out


def test_a_number_that_is_none_is_a_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    for wrong in ("-1", "many"):
        with pytest.raises(SystemExit, match="2"):
            command.main(["--number", wrong])
        said = capsys.readouterr().err
        assert f"--number: '{wrong}' is no whole number from 0 on" in said


def test_a_failure_is_kept_and_told_with_how_to_repeat_it(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(standard, "read", saying(make="a\x1bb"))
    options = ["--number", "9", "--part", "random", "--corpus", str(tmp_path / "none")]
    assert command.main([*options, "--out", str(tmp_path)]) == 1
    told = capsys.readouterr().out
    (path,) = tmp_path.iterdir()
    assert f"again: scripts/fuzz --file {path}" in told
    case = f"random:{path.stem.partition('-')[2]}"
    again = tmp_path / "again"
    assert command.main(["--file", str(path), "--out", str(again)]) == 1
    assert command.main(["--case", case, *options[4:], "--out", str(again)]) == 1
    assert {one.read_bytes() for one in again.iterdir()} == {path.read_bytes()}


def test_a_corpus_folder_is_read_with_the_folders_below(tmp_path: Path) -> None:
    (tmp_path / "pool").mkdir()
    (tmp_path / "pool" / "a.jpg").write_bytes(made()[0].data)
    (tmp_path / "b.png").write_bytes(b"\x89PNG\r\n\x1a\n" + b"\0" * (seeds.MOST + 5))
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "tiny.txt").write_bytes(b"tide")
    files = list(seeds.of_folder(tmp_path))
    found = {one.name: len(one.data) for one in files}
    assert found == {"b.png": seeds.MOST, "pool/a.jpg": len(made()[0].data), "tiny.txt": 4}
    assert Cases([files[-1]], 1).count("flip") == 4


def test_two_processes_do_what_one_does(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    options = ["--number", "6000", "--part", "random", "--corpus", str(tmp_path / "none")]
    assert command.main([*options, "--jobs", "2"]) == 0
    assert "6,000 cases" in capsys.readouterr().out
