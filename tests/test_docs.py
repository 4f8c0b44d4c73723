"""The README tells the truth: its outputs are real, its commands run, every command is in it."""

from __future__ import annotations

import doctest
import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from processes import ran
from sorter.cli import COMMANDS
from sorter.disk.shoot import MEASUREMENTS

ROOT = Path(__file__).parent.parent
README = ROOT / "README.md"
BLOCK = re.compile(r"<!-- output: (.*?)(?:; only the (?:paragraph of sequence (\d+)|first (\d+) lines))? -->\n```text\n(.*?)```", re.DOTALL)  # fmt: skip
PYTHON = re.compile(r"^```python\n(.*?)^```", re.MULTILINE | re.DOTALL)
EXAMPLE = re.compile(r"^    (sorter .*?)(?:\s+#.*)?$", re.MULTILINE)


@pytest.fixture
def workplace(demo_card: Path, tmp_path: Path) -> Path:
    """A folder in which demo/card and fixtures lie as they do in the checkout."""
    (tmp_path / "demo").mkdir()
    (tmp_path / "demo" / "card").symlink_to(demo_card)
    (tmp_path / "fixtures").symlink_to(ROOT / "fixtures")
    (tmp_path / ".venv").symlink_to(sys.prefix)
    return tmp_path


def _run(line: str, place: Path) -> subprocess.CompletedProcess[str]:
    _, *arguments = shlex.split(line)
    return ran(arguments, place, os.environ | {"COLUMNS": "100", "PYTHONPATH": str(ROOT)})


def _usual(line: str) -> int:
    """The exit code on the demo card: a scan says 1, as one file of it is empty.

    An ingest carries that too. One lies in a trash, so that no copy has it: `verify --card` says 1.
    """
    command = line.split()[1]
    return int(command == "scan" or "--card" in line.split())


def _excerpt(output: str, number: str | None, lines: str | None) -> str:
    if lines is not None:
        return "\n".join(output.split("\n")[: int(lines)]) + "\n"
    if number is None:
        return output
    paragraphs = output.split("\n\n")
    return next(p for p in paragraphs if p.lstrip().startswith(f"{number}  ")) + "\n"


def test_the_outputs_in_the_readme_are_what_the_commands_print(
    workplace: Path, request: pytest.FixtureRequest
) -> None:
    text = README.read_text(encoding="utf-8")
    blocks = list(BLOCK.finditer(text))
    assert len(blocks) >= 5
    real = text
    for block in blocks:
        line, number, lines, shown = block.groups()
        said = _run(line, workplace).stdout.replace(str(workplace), "/home/you")
        output = _excerpt(said, number, lines)
        real = real.replace(block[0], block[0].replace(f"```text\n{shown}", f"```text\n{output}"))
    if request.config.getoption("--write-golden"):
        README.write_text(real, encoding="utf-8")
    assert real == README.read_text(encoding="utf-8")


def test_every_command_line_in_the_readme_runs(workplace: Path, demo_report: Path) -> None:
    """A check and a report find what was measured and drawn of these pictures when demo_report was made."""
    lines = EXAMPLE.findall(README.read_text(encoding="utf-8"))
    assert len(lines) >= 16
    shoot = workplace / "demo" / "shoot"
    for line in lines:
        done = _run(line, workplace)
        assert done.returncode == _usual(line), (line, done.stderr)
        if shoot.exists() and not (shoot / MEASUREMENTS).exists():
            for folder in (MEASUREMENTS, "report/pictures"):
                shutil.copytree(demo_report / folder, shoot / folder)
    assert (shoot / "report" / "index.html").exists()


def test_the_lines_of_python_in_the_readme_are_true(
    workplace: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    text = README.read_text(encoding="utf-8")
    lines = "".join(PYTHON.findall(text))
    test = doctest.DocTestParser().get_doctest(lines, {}, "README.md", str(README), 0)
    assert len(test.examples) >= 20
    monkeypatch.chdir(workplace)
    said: list[str] = []
    doctest.DocTestRunner().run(test, out=said.append)
    assert said == []


def test_every_command_has_a_heading_in_the_readme() -> None:
    text = README.read_text(encoding="utf-8")
    for name in COMMANDS:
        assert f"### sorter {name}" in text


def test_the_readme_cautions_about_formatting() -> None:
    assert "format it only when two verified copies of it exist" in README.read_text("utf-8")
