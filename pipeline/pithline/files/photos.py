"""Photographs: any format a phone writes, turned upright as its own tag says, brought to a working size."""

from __future__ import annotations

import io
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from pithline.errors import InputError
from pithline.files.read import read_bytes

LEAST_SIDE = 300
"""A picture smaller than this on its shorter side shows no rings. [px]"""


def read_photo(path: str | Path, working: int) -> tuple[NDArray[np.float64], float]:
    """A photograph as colours (h, w, 3) from 0 to 1, its longer side at most `working` pixels, and by how much it was
    made smaller (pixels of the file in one of the result).

    Raises
    ------
    InputError
        If the file is missing, no picture, or too small.
    """
    from PIL import Image, ImageOps, UnidentifiedImageError

    data = read_bytes(path)
    try:
        with Image.open(io.BytesIO(data)) as opened:
            upright = ImageOps.exif_transpose(opened).convert("RGB")
    except (UnidentifiedImageError, OSError, ValueError, Image.DecompressionBombError) as error:
        raise InputError(f"{path} cannot be read as a photograph; save it as JPEG or PNG.") from error
    if min(upright.size) < LEAST_SIDE:
        wide, high = upright.size
        raise InputError(f"{path} has only {wide} x {high} pixels; a photograph as the camera took it is needed.")
    smaller = max(max(upright.size) / working, 1.0)
    if smaller > 1.0:
        size = (round(upright.size[0] / smaller), round(upright.size[1] / smaller))
        upright = upright.resize(size, Image.Resampling.LANCZOS)
    return np.asarray(upright, dtype=np.float64) / 255.0, smaller
