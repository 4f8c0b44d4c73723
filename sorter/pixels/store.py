"""What was measured of a series as bytes, so that a second check need not look again."""

from __future__ import annotations

import json
import zipfile
from dataclasses import asdict
from io import BytesIO
from typing import Any, Final

from sorter.model.measurement import Displacement, MeasuredSeries, Measurement, TooLarge

FORMAT_VERSION: Final = 6
"""Goes up whenever something else is measured, or measured otherwise."""
_GRIDS: Final = ("energy", "coarse", "light")
_FIGURES: Final = ("scale", "cell", "width", "height")
MOST_BYTES: Final = 256 * 1024 * 1024
"""Of what a store unpacks to: a series of ten thousand frames has less."""


def stored(measured: MeasuredSeries) -> bytes:
    """The measurements as a NumPy archive; grids are kept as half floats of their logarithm."""
    import numpy as np  # noqa: PLC0415  slow to load, and few commands look at pictures

    about = {
        "form": FORMAT_VERSION,
        "frames": [
            None if each is None else {name: getattr(each, name) for name in _FIGURES}
            for each in measured.measurements
        ],
        "too_large": [asdict(each) for each in measured.too_large],
        "moves": [None if each is None else asdict(each) for each in measured.displacements],
    }
    arrays = {"about": np.frombuffer(json.dumps(about).encode(), dtype=np.uint8)}
    for index, each in enumerate(measured.measurements):
        if each is not None:
            for name in _GRIDS:
                arrays[f"{name}{index}"] = np.log1p(getattr(each, name)).astype(np.float16)
            arrays[f"thumb{index}"] = each.thumb
    out = BytesIO()
    save: Any = np.savez  # its stub takes no arrays by name
    save(out, **arrays)
    return out.getvalue()


def restored(data: bytes) -> MeasuredSeries | None:
    """The measurements out of their bytes; None where these are of another form, or damaged."""
    import numpy as np  # noqa: PLC0415  see above

    try:
        with zipfile.ZipFile(BytesIO(data)) as archive:
            if sum(each.file_size for each in archive.infolist()) > MOST_BYTES:
                return None
        with np.load(BytesIO(data), allow_pickle=False) as arrays:
            about = json.loads(bytes(arrays["about"]))
            if about["form"] != FORMAT_VERSION:
                return None
            measurements = tuple(
                None
                if figures is None
                else Measurement(
                    **figures,
                    **{
                        name: np.expm1(arrays[f"{name}{index}"].astype(np.float32))
                        for name in _GRIDS
                    },
                    thumb=arrays[f"thumb{index}"],
                )
                for index, figures in enumerate(about["frames"])
            )
            displacements = tuple(
                None if each is None else Displacement(**each) for each in about["moves"]
            )
            too_large = tuple(TooLarge(**each) for each in about["too_large"])
    except Exception:  # noqa: BLE001  a damaged store raises anything; it is made anew then
        return None
    return MeasuredSeries(
        measurements=measurements, displacements=displacements, too_large=too_large
    )
