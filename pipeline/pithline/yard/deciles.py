"""What a few drawn logs foretell: the span that one more log falls into four times in five."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray


def deciles(values: Sequence[float] | NDArray[np.float64]) -> tuple[float, float, float]:
    """The 10th, 50th and 90th percentile of drawn outcomes, in the unit of `values` (n,), n at least 9.

    Place p (n + 1) in order of size (Weibull; type 6 of Hyndman and Fan, The American Statistician 50 (1996) 361): a further
    draw lies below it with probability p where p (n + 1) is whole, and nearly so elsewhere (80 to 82 % lie in the span of 16
    draws). The usual linear rule is too narrow: 77 % from 64 draws, 71 % from 16.
    """
    low, middle, high = np.percentile(np.asarray(values, float), [10, 50, 90], method="weibull")
    return float(low), float(middle), float(high)
