"""Integral images: sums over any rectangle of a grid from four look-ups."""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

Number = TypeVar("Number", bound=np.generic)


def integral_images(values: NDArray[Any], dtype: type[Number]) -> NDArray[Number]:
    """Sum each layer of (k, m, n) values from its first corner: (k, m + 1, n + 1), the first row and column 0.

    The sum over rows a … b − 1 and columns c … d − 1 is then out[b, d] − out[a, d] − out[b, c] + out[a, c].
    """
    out = np.zeros((values.shape[0], values.shape[1] + 1, values.shape[2] + 1), dtype)
    np.cumsum(np.cumsum(values, axis=1, dtype=dtype), axis=2, out=out[:, 1:, 1:])
    return out
