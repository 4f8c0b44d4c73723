"""File names that are legal on Linux, macOS and Windows, and told apart there.

Rules: POSIX (a name is no more than 255 bytes and holds no slash and no NUL); Microsoft's "Naming
Files, Paths, and Namespaces" (reserved signs and device names, no dot or blank at the end); APFS
compares names without regard to case and Unicode form and takes assigned characters only.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable
from typing import Final

MOST_BYTES: Final = 255
STAND_IN: Final = "_"

_RESERVED_SIGNS: Final = frozenset('<>:"/\\|?*')
_REFUSED: Final = frozenset({"Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp"})
_DEVICES: Final = re.compile(
    r"(con|prn|aux|nul|conin\$|conout\$|com[0-9\u00b9\u00b2\u00b3]|lpt[0-9\u00b9\u00b2\u00b3])"
    r" *(\.|$)",
    re.IGNORECASE,
)
_LONGEST_EXTENSION: Final = 32  # bytes; a longer one is no extension to be kept whole


def legal(name: str, most: int = MOST_BYTES) -> str:
    """The name where it is legal everywhere and has at most so many bytes, else the nearest such.

    A sign that is refused somewhere becomes a low line; so does an empty name.
    """
    text = "".join(STAND_IN if _is_refused(sign) else sign for sign in name)
    text = _shortened(text.rstrip(". ").lstrip(" "), most)
    if _DEVICES.match(text):
        text = _shortened(STAND_IN + text, most)
    return text or STAND_IN


def is_legal(name: str) -> bool:
    """Whether the name can stand everywhere as it is."""
    return legal(name) == name


def same(name: str) -> str:
    """Equal for names that some file system takes for one: folded, and in one Unicode form."""
    folded = unicodedata.normalize("NFD", name).casefold()
    return unicodedata.normalize("NFC", unicodedata.normalize("NFD", folded).casefold())


def numbered(name: str, stem: int, number: int) -> str:
    """The name with `_2` and so on behind its first `stem` signs; as it is for 1."""
    if number == 1:
        return name
    suffix, rest = f"_{number}", name[stem:]
    room = MOST_BYTES - len(suffix) - len(rest.encode())
    if room < 1:  # the rest alone is too long: no extension, then
        return _cut(name, MOST_BYTES - len(suffix)) + suffix
    return (_cut(name[:stem], room).rstrip(". ") or STAND_IN) + suffix + rest


def stem_lengths(names: Iterable[str]) -> dict[str, int]:
    """Where a suffix goes in each of the names of one frame, so that they still go together.

    Before the extension; in NAME.EXT.xmp, which stands beside NAME.EXT, before both.
    """
    all_names = list(names)
    there = {name.casefold() for name in all_names}
    lengths = {}
    for name in all_names:
        stem = _stem(name)
        lengths[name] = len(_stem(stem)) if stem.casefold() in there else len(stem)
    return lengths


def _is_refused(sign: str) -> bool:
    return sign in _RESERVED_SIGNS or unicodedata.category(sign) in _REFUSED


def _stem(name: str) -> str:
    dot = name.rfind(".")
    return name if dot <= 0 else name[:dot]


def _shortened(name: str, most: int) -> str:
    """At most so many bytes, cut before the extension where there is one."""
    if len(name.encode()) <= most:
        return name
    extension = name[len(_stem(name)) :]
    if len(extension.encode()) > min(_LONGEST_EXTENSION, most - 1):
        return _cut(name, most).rstrip(". ")
    return _cut(name, most - len(extension.encode())).rstrip(". ") + extension


def _cut(text: str, most: int) -> str:
    """The text's first bytes, without a part of a sign at the end."""
    return text.encode()[:most].decode(errors="ignore")
