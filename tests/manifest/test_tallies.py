"""A tally as CSV, read with the standard library and with pandas, and as JSON."""

from __future__ import annotations

import csv
import io
import json
from collections import Counter
from collections.abc import Mapping
from dataclasses import asdict, replace

import pandas as pd
import pytest

from manifest.recount import recount
from manifest.seasons import LIMPETS, back, file, rock_pool
from sorter.manifest import tables
from sorter.manifest.csvfile import manifest_bytes
from sorter.manifest.tallies import COLUMNS, MEASURES, tally_bytes, tally_document
from sorter.model.kinds import Role
from sorter.model.row import Row
from sorter.model.tally import Shared, Tally

POOL = rock_pool()
SURF = (file("5/a.ORF", 70, of=LIMPETS, at=(1, 1), f_number=2.8), back("r.tif", 8, of=LIMPETS))


def tally(shoots: Mapping[str, tuple[Row, ...]], *shared: Shared) -> Tally:
    measured = tables.measure(tables.file_table(shoots))
    each = [
        tables.tables_of(measured[measured["shoot"].eq(name)], shoot=name, path=f"/tide/{name}")
        for name in shoots
    ]
    return Tally(shoots=tuple(each), together=tables.tables_of(measured), shared=shared)


TIDES = tally({"pool": POOL, "surf": SURF}, Shared(one="pool", two="surf", pictures=3))


def lines(data: bytes) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(data.decode(), newline="")))


def test_the_file_is_rfc_4180_and_utf_8() -> None:
    data = tally_bytes(tally({"Gezeiten-Tümpel": POOL}))
    assert data.decode("utf-8").split("\r\n")[0] == ",".join(COLUMNS)
    assert data.endswith(b"\r\n")
    assert data.count(b"\n") == data.count(b"\r\n")
    assert {len(cells) for cells in csv.reader(io.StringIO(data.decode(), newline=""))} == {
        len(COLUMNS)
    }


def test_each_table_of_each_shoot_is_what_its_manifest_says() -> None:
    found = lines(tally_bytes(TIDES))
    for shoot, rows in (("pool", POOL), ("surf", SURF)):
        for table, groups in recount(manifest_bytes(rows)).items():
            told = {
                line["key"]: +Counter({name: int(line[name]) for name in MEASURES})
                for line in found
                if (line["shoot"], line["table"]) == (shoot, table)
            }
            assert told == {key or "not told": count for key, count in groups.items()}


def test_a_table_adds_up_to_what_all_come_to_as_pandas_sums_it() -> None:
    read = pd.read_csv(io.BytesIO(tally_bytes(TIDES)), keep_default_na=False)
    whole = read[read["table"].eq("all")][list(MEASURES)].iloc[0].tolist()
    names = set(read["table"]) - {"all"}
    assert names == {"total", "kind", "lens", "f_number", "hour", "day"}
    for name in names:
        assert read[read["table"].eq(name)][list(MEASURES)].sum().tolist() == whole, name
    assert read["shoot"].tolist()[-1] == ""
    assert read["table"].tolist()[-1] == "all"


def test_frames_of_stacks_stand_where_there_are_stacks() -> None:
    found = {
        (line["shoot"], line["table"], line["key"]): line["frames_median"]
        for line in lines(tally_bytes(TIDES))
        if line["frames_median"]
    }
    assert found == {
        ("pool", "total", ""): "2",
        ("pool", "kind", "focus-bracket"): "1.5",
        ("pool", "kind", "manual-stack"): "2",
        ("surf", "total", ""): "1",
        ("surf", "kind", "focus-bracket"): "1",
        ("", "all", ""): "1.5",
    }


# A cell that begins with one of these is computed by spreadsheets: OWASP, "CSV Injection"; from memory.
@pytest.mark.parametrize("sign", ["=", "+", "-", "@", "\t", "\r"])
def test_nothing_is_computed_by_a_spreadsheet(sign: str) -> None:
    name = f"{sign}HYPERLINK(1)"
    rows = (file("a.ORF", 1, of=LIMPETS, at=(1, 1), lens=f"{sign}cmd"),)
    cells = {
        cell for line in lines(tally_bytes(tally({name: rows}))) for cell in line.values() if cell
    }
    assert not [cell for cell in cells if cell[0] in "=+-@\t\r"]
    assert f"'{name}" in cells


def test_a_name_with_undecodable_bytes_is_spelled_out() -> None:
    name = b"tide-\xff".decode("utf-8", "surrogateescape")
    tide = tally({name: POOL})
    assert lines(tally_bytes(tide))[0]["shoot"] == "tide-\\xff"
    assert json.loads(tally_document(tide))["shoots"][0]["shoot"] == "tide-\\xff"


def test_the_document_has_the_same_figures_and_null_for_what_is_not_told() -> None:
    read = json.loads(tally_document(TIDES))
    pool = read["shoots"][0]
    assert (pool["shoot"], pool["path"], read["form"]) == ("pool", "/tide/pool", 1)
    for name in MEASURES:
        sums = {
            sum(group[name] for group in pool[table])
            for table in ("kinds", "lenses", "f_numbers", "hours", "days")
        }
        assert sums == {pool["total"][name]}
    assert [each["f_number"] for each in pool["f_numbers"]] == [5.6, 8.0, None]
    assert [each["hour"] for each in pool["hours"]] == [9, 12, 13, 23, None]
    assert pool["lenses"][-1]["lens"] is None
    assert read["together"]["frames_per_stack"][-1] == {
        "kind": None, "stacks": 4, "least": 1, "median": 1.5, "most": 2,
    }  # fmt: skip
    assert read["shared"] == [{"shoots": ["pool", "surf"], "pictures": 3}]
    assert read["together"]["total"]["bytes"] == sum(
        row.bytes for row in (*POOL, *SURF) if row.destination
    )


def test_a_tally_holds_plain_values() -> None:
    def kinds(value: object) -> set[type]:
        if isinstance(value, dict):
            return set().union(*map(kinds, value.values()))
        if isinstance(value, list | tuple):
            return set().union(*map(kinds, value))
        return {type(value)}

    found = kinds(asdict(TIDES))
    assert {each.__module__.partition(".")[0] for each in found} <= {"builtins", "sorter"}
    assert {int, str, float} <= found


def test_an_empty_shoot_has_its_line_of_zeros() -> None:
    absent = tuple(replace(row, destination="") for row in POOL)
    total, whole = lines(tally_bytes(tally({"pool": absent})))
    assert (total["table"], whole["table"]) == ("total", "all")
    assert {total[name] for name in MEASURES} == {"0"}
    assert total["frames_median"] == total["first"] == ""


def test_a_lens_that_is_called_like_a_gap_is_a_lens() -> None:
    rows = tuple(
        file(f"{lens}.ORF", 1, of=(number, LIMPETS[1]), at=(number, 1), role=Role.RAW, lens=lens)
        for number, lens in enumerate(("nan", "None", "NA", ""), 1)
    )
    keys = {
        each["key"] for each in lines(tally_bytes(tally({"pool": rows}))) if each["table"] == "lens"
    }
    assert keys == {"nan", "None", "NA", "not told"}
