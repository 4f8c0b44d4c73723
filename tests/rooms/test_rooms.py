"""Holds who may import whom, and what only one module may do; then tries wrong edits."""

from __future__ import annotations

from pathlib import Path

import pytest

import sorter
from rooms.checker import NAMED_ELSEWHERE, OURS, faults

ROOT = Path(sorter.__file__).parent
MODULES = sorted(path.relative_to(ROOT).as_posix() for path in ROOT.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES)
def test_every_module_keeps_to_its_room(path: str) -> None:
    assert faults(path, (ROOT / path).read_text(encoding="utf-8")) == []


def test_no_room_may_import_what_leads_back_to_it() -> None:
    for room, allowed in OURS.items():
        for other in allowed:
            assert room not in OURS[other], f"{room} and {other} import each other"


def test_an_exception_names_a_module_that_is_there() -> None:
    assert set(NAMED_ELSEWHERE) <= set(MODULES)


WRONG = [
    ("model/frame.py", "from sorter.errors import SorterError"),
    ("model/frame.py", "import os"),
    ("grouping/candidates.py", "from sorter.manifest.rows import Row"),
    ("grouping/candidates.py", "from sorter import pipeline"),
    ("grouping/candidates.py", "import sorter.disk.card"),
    ("grouping/candidates.py", "from pathlib import Path"),
    ("grouping/candidates.py", "def f():\n    import random"),
    ("grouping/candidates.py", "import PIL.Image"),
    ("grouping/candidates.py", "text = open('x').read()"),
    ("grouping/candidates.py", "from . import search"),
    ("grouping/candidates.py", "TAG = 0x927C"),
    ("grouping/candidates.py", "if facts.make == 'Nikon Corporation': pass"),
    ("grouping/candidates.py", "def is_canon(facts): ..."),
    ("grouping/candidates.py", "HEAD = b'OM SYSTEM'"),
    ("reading/frames.py", "from sorter.grouping.account import account_for"),
    ("reading/frames.py", "is_olympus = True"),
    ("reading/frames.py", "open('x', 'w')"),
    ("reading/containers/raf.py", "name = 'Sony'"),
    ("manifest/csvfile.py", "from sorter.reading.cards import read_card"),
    ("manifest/csvfile.py", "path.write_bytes(data)"),
    ("manifest/csvfile.py", "import pandas"),
    ("manifest/csvfile.py", "print('done')"),
    ("disk/card.py", "import os\nos.replace('a', 'b')"),
    ("disk/card.py", "temporary.replace(target)"),
    ("disk/card.py", "path.unlink()"),
    ("disk/card.py", "os.open(path, os.O_WRONLY)"),
    ("disk/card.py", "with path.open(mode='r+b') as file: pass"),
    ("disk/card.py", "from sorter.reading.names import role"),
    ("handoff/deliver.py", "import os\nos.link('a', 'b')"),
    ("handoff/deliver.py", "folder.mkdir()"),
    ("handoff/choose.py", "from sorter.writing.records import entries_of"),
    ("settings.py", "from sorter.pipeline import scan"),
    ("pipeline.py", "from sorter.cli import console"),
    ("cli/scan.py", "from sorter.manifest.rows import make_rows"),
    ("cli/scan.py", "import click\nclick.echo('hello')"),
    ("cli/scan.py", "import sys\nsys.stderr.write('hello')"),
    ("cli/scan.py", "def f():\n    from rich.table import Table"),
    ("cli/console.py", "from rich.console import Console"),
    ("reading/standard.py", "import zlib\ndef f(data):\n    return zlib.decompress(data)"),
    ("reading/containers/heif.py", "from zlib import decompressobj as unpack"),
    ("reading/frames.py", "def f():\n    from PIL import Image"),
    ("disk/card.py", "import zipfile"),
    ("disk/files.py", "import sys\nif sys.platform == 'win32': pass"),
    ("writing/helping.py", "import os\nif os.name == 'posix': pass"),
    ("disk/shoot.py", "import os\nif hasattr(os, 'statvfs'): pass"),
    ("handoff/running.py", "import platform"),
    ("attic/anything.py", "pass"),
]


@pytest.mark.parametrize(("path", "source"), WRONG)
def test_a_wrong_edit_is_caught(path: str, source: str) -> None:
    assert faults(path, source)


RIGHT = [
    (
        "grouping/candidates.py",
        "from sorter.model.frame import Frame\nfrom sorter.grouping import costs",
    ),
    ("grouping/candidates.py", "from dataclasses import replace\nreplace(frame, notes=())"),
    ("grouping/candidates.py", '"""Nikon calls this otherwise."""\nLIMIT = 0x7F\ncanonical = 1'),
    ("grouping/candidates.py", "text.replace('a', 'b')"),
    ("reading/makers/nikon.py", "NAME = 'Nikon'\nTAG = 0x00A9"),
    ("reading/standard.py", "DATE = 0x9003"),
    ("manifest/csvfile.py", "def f():\n    import pandas"),
    ("disk/shoot.py", "path.unlink()\npath.open('xb')"),
    ("disk/stacks.py", "folder.mkdir()\nos.link('a', 'b')\npath.rename(target)"),
    ("handoff/deliver.py", "from sorter.disk import stacks\nstacks.make_folder(path)"),
    ("disk/card.py", "os.open(path, os.O_RDONLY)\npath.open('rb')"),
    ("cli/scan.py", "from sorter import __version__, api\nfrom sorter.cli import console"),
    ("cli/console.py", "def f():\n    from rich.text import Text\n    print(Text('a'))"),
    ("writing/ledger/connection.py", "path.touch()"),
    ("disk/card.py", "import zlib\nmark = zlib.crc32(data)"),
    ("disk/systems/linux.py", "import os, sys\nFLAG = getattr(os, 'O_DIRECT', 0)\nsys.platform"),
    ("pixels/measures.py", "def f():\n    from PIL import Image"),
]


@pytest.mark.parametrize(("path", "source"), RIGHT)
def test_what_is_right_is_let_be(path: str, source: str) -> None:
    assert faults(path, source) == []
