"""The page as text: escaped, with a policy for its own script alone, and light."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from page.shoots import Tide, complete
from sorter.model.kinds import SEQUENCE_KINDS, Kind
from sorter.page.build import make_page
from sorter.page.render import GENERATOR, render
from sorter.pixels.drawn import colours


class Read(HTMLParser):
    """What a browser would find. texts: of every element by its name."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self._open = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        self._open = tag

    def handle_data(self, data: str) -> None:
        self.texts.setdefault(self._open, []).append(data)

    def named(self, tag: str) -> list[dict[str, str | None]]:
        return [attrs for name, attrs in self.tags if name == tag]


def rock_pool() -> Tide:
    tide = Tide()
    tide.add(Kind.SINGLE)
    tide.add(Kind.FOCUS_BRACKET, 12, check=complete(gaps=(3,)))
    tide.add(Kind.BURST, 5, check=complete(verdict=None, best_frames=(2, 4)))
    return tide


def test_the_policy_names_the_digests_of_its_own_style_and_script() -> None:
    """W3C, Content Security Policy Level 3: the base64 of the SHA-256 of what stands between the tags."""
    text = render(make_page(rock_pool().material))
    found = Read(text)
    policy = next(m["content"] for m in found.named("meta") if m.get("http-equiv")) or ""
    for tag in ("style", "script"):
        (inner,) = re.findall(f"<{tag}>(.*?)</{tag}>", text, re.DOTALL)
        digest = base64.b64encode(hashlib.sha256(inner.encode()).digest()).decode()
        assert f"{tag}-src 'sha256-{digest}'" in policy
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy


def test_nothing_of_it_lies_elsewhere() -> None:
    found = Read(render(make_page(rock_pool().material)))
    asked = [attrs.get(name) or "" for _, attrs in found.tags for name in ("src", "href")]
    assert not [each for each in asked if re.match(r"[a-z]+:|//|/", each)]
    assert not [attrs for _, attrs in found.tags if "style" in attrs]
    assert not [name for _, attrs in found.tags for name in attrs if name.startswith("on")]


def test_its_maker_is_named_early() -> None:
    text = render(make_page(rock_pool().material))
    assert f'content="{GENERATOR}"' in text[:1000]


def test_texts_of_files_are_escaped_wherever_they_stand() -> None:
    bad = "\"><script>ran()</script>&amp;'"
    tide = rock_pool()
    rows = tuple(
        replace(
            row,
            source=f"DCIM/{bad}/IMG_{row.frame}.JPG",
            destination=f"{bad}/IMG_{row.frame}.JPG",
            camera=bad,
            lens=bad,
            remarks=(bad,) if row.position == 1 else (),
            grounds=bad if row.position == 1 else "",
        )
        for row in tide.material.rows
    )
    text = render(make_page(replace(tide.material, title=bad, rows=rows)))
    found = Read(text)
    assert len(found.named("script")) == 1
    assert "<script>ran" not in text
    assert found.texts["title"][0].startswith(bad)
    assert any((b.get("data-s") or "").startswith(f"DCIM/{bad}") for b in found.named("button"))


def test_every_id_is_there_once_and_every_link_leads_somewhere() -> None:
    found = Read(render(make_page(rock_pool().material)))
    ids = [attrs["id"] for _, attrs in found.tags if "id" in attrs]
    assert len(ids) == len(set(ids))
    links = [a["href"] or "" for a in (*found.named("a"), *found.named("use"))]
    assert {link.removeprefix("#") for link in links} <= set(ids)


def test_every_kind_has_its_sign() -> None:
    found = Read(render(make_page(rock_pool().material)))
    ids = {attrs.get("id") for _, attrs in found.tags}
    assert {f"k-{kind}" for kind in SEQUENCE_KINDS} <= ids


def test_the_legend_has_the_colours_of_the_map() -> None:
    tide = rock_pool()
    found = Read(render(make_page(replace(tide.material, colours=colours(13)))))
    assert tuple(stop["stop-color"] for stop in found.named("stop")) == colours(13)


@pytest.mark.parametrize(
    ("stacks", "frames", "singles"),
    [(40, 50, 0), (60, 25, 500), (0, 0, 2000), (200, 10, 0)],
    ids=["long stacks", "stacks and singles", "singles", "short stacks"],
)
def test_two_thousand_frames_make_a_page_of_under_a_megabyte(
    stacks: int, frames: int, singles: int
) -> None:
    tide = Tide()
    for _ in range(stacks):
        tide.add(Kind.FOCUS_BRACKET, frames, check=complete(surplus=(1, 2, 50)))
    for _ in range(singles):
        tide.add(Kind.SINGLE)
    assert len(tide.material.rows) == 2000
    text = render(make_page(replace(tide.material, colours=colours(13))))
    assert len(text.encode()) < 1_000_000
