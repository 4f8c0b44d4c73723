"""Where the corpus comes from: packages of two registries, and what of them is unpacked.

Debian's are taken from one release by name, whatever release this system is: other versions hold
other pictures, and the table of known differences beside the test is made for these.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

RELEASE: Final = "bookworm"
MIRROR: Final = "http://deb.debian.org/debian"
KEYS: Final = "/usr/share/keyrings/debian-archive-keyring.gpg"


@dataclass(frozen=True, slots=True, kw_only=True)
class Package:
    """A package of a registry, the folder within its archive, and where that goes in the corpus."""

    name: str
    version: str
    within: str
    folder: str


DEBIAN: Final = (
    Package(name="libimage-exiftool-perl", version="12.57", within="t/images", folder="exiftool"),
    Package(name="exiv2", version="0.27.6", within="test/data", folder="exiv2"),
    Package(name="libexif", version="0.6.24", within="test/testdata", folder="libexif"),
)
PYPI: Final = (Package(name="piexif", version="1.1.3", within="tests/images", folder="piexif"),)
WHEELS: Final = (Package(name="scikit_image", version="0.16.2", within="data", folder="depth"),)
"""Built packages: only their data is unpacked. The folder within is below the archive's first one."""
WHEEL_OF: Final = ("3.7", "cp", "cp37m", "manylinux1_x86_64")
"""Python, implementation, ABI and platform of these: the ones that still carried the data."""
BARE: Final = "exiv2"
"""The folder whose bare metadata files are wrapped up as JPEGs."""
WRAPPED: Final = "exv"
"""The folder that they go to."""
FOLDERS: Final = (*(package.folder for package in (*DEBIAN, *PYPI, *WHEELS)), WRAPPED)
STAMP: Final = (
    "".join(
        f"{package.folder}/ is {package.within} of {package.name} {package.version}\n"
        for package in (*DEBIAN, *PYPI, *WHEELS)
    )
    + f"{WRAPPED}/ holds the .exv files of {BARE}/ as JPEGs\n"
)
"""What stands in the file beside a corpus that is complete."""
