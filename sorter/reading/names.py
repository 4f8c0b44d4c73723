"""What file names tell: a role where the content cannot, and the number that joins files.

Numbers and prefixes: CIPA DC-009 (DCF), four free characters and four digits.
"""

from __future__ import annotations

import re
from typing import Final

from sorter.model.kinds import Role

SIDECARS: Final = frozenset({"xmp", "aae"})
THUMBNAILS: Final = frozenset({"thm"})
SOUNDS: Final = frozenset({"wav", "mp3", "m4a", "aac", "flac", "ogg"})
CLIPS: Final = frozenset(
    {"mp4", "mov", "m4v", "avi", "mts", "m2ts", "mkv", "mxf", "3gp", "crm", "braw", "webm", "insv"}
    | {"mpg", "mpeg", "mod", "tod"}
)
IMAGES: Final = frozenset(
    {"jpg", "jpeg", "jpe", "mpo", "heic", "heif", "hif", "avif", "tif", "tiff", "png", "webp"}
    | {"jxl", "gif", "jp2", "j2c"}
)
RAWS: Final = frozenset(
    {"cr2", "cr3", "crw", "nef", "nrw", "arw", "sr2", "srf", "orf", "ori", "rw2", "rwl", "raf"}
    | {"pef", "dng", "srw", "x3f", "3fr", "fff", "iiq", "mrw", "raw", "gpr"}
)
_ROLES: Final = {
    **dict.fromkeys(SIDECARS, Role.SIDECAR),
    **dict.fromkeys(THUMBNAILS, Role.THUMBNAIL),
    **dict.fromkeys(SOUNDS, Role.SOUND),
    **dict.fromkeys(CLIPS, Role.CLIP),
    **dict.fromkeys(IMAGES, Role.IMAGE),
    **dict.fromkeys(RAWS, Role.RAW),
}
_CONTENTS: Final = {
    **dict.fromkeys(("jpg", "jpeg", "jpe", "mpo", "thm"), "jpeg"),
    **dict.fromkeys(("heic", "heif", "hif", "avif"), "heif"),
    **dict.fromkeys(("tif", "tiff"), "tiff"),
    **{one: one for one in ("png", "webp", "cr2", "cr3", "orf", "rw2", "raf", "dng")},
}
_NUMBERED: Final = re.compile(r"([A-Z0-9_]{4})(\d{4})", re.IGNORECASE)
_OTHER_COLOUR_SPACE: Final = "_"


def role(extension: str) -> Role:
    """The part that a file of this extension plays; other where the extension is none of ours."""
    return _ROLES.get(extension, Role.OTHER)


def lies(extension: str, container: str) -> bool:
    """Whether the extension names another container than the content is."""
    facts = _CONTENTS.get(extension)
    return facts is not None and container not in {facts, ""}


def number(stem: str) -> tuple[str, str] | None:
    """The four free characters, folded, and the file number; None where the name is not DCF's."""
    found = _NUMBERED.fullmatch(stem)
    return (found[1].lower(), found[2]) if found and found[2] != "0000" else None


def one_counter(one: str, other: str) -> bool:
    """Whether two prefixes differ only by the colour space that DCF marks with a leading bar.

    The bar stands for one of the four characters, not always the first: so the rest must be found
    in the other prefix in the same order.
    """
    if one.startswith(_OTHER_COLOUR_SPACE) == other.startswith(_OTHER_COLOUR_SPACE):
        return False
    marked, plain = (one, other) if one.startswith(_OTHER_COLOUR_SPACE) else (other, one)
    rest = iter(plain)
    return all(letter in rest for letter in marked[1:])
