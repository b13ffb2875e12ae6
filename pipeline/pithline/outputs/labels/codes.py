"""The cells of a QR code, its mask chosen from all eight at once: the same code as is made by trying one after another, sooner."""

from __future__ import annotations

import re
from functools import lru_cache

import numpy as np
import segno
from numpy.typing import NDArray

Cells = NDArray[np.uint8]

TABLED = (25, 29, 33, 37, 41)
"""Sides of the codes, versions 2 to 6, that have one alignment pattern and no version information. [cells]"""
RUN = 5
"""So many cells of one colour in a row count against a mask (ISO/IEC 18004, 7.8.3.1), and one point more for each cell beyond."""
LIKE_A_FINDER = re.compile(b"\1\0\1\1\1\0\1(?:(?=\0\0\0\0)|(?<=\0\0\0\0\1\0\1\1\1\0\1))")
"""Dark and light as across a finder pattern, before or after four light cells."""


def code_cells(text: str) -> Cells:
    """The QR code of a text (n, n), 1 where a cell is dark; error correction M or better."""
    code = segno.make(text, error="m", micro=False, mask=0)
    cells = np.array([list(row) for row in code.matrix], np.uint8)
    if len(cells) not in TABLED:
        return np.array([list(row) for row in segno.make(text, error="m", micro=False).matrix], np.uint8)
    masks, told = _masks(len(cells))
    bare = cells ^ masks[0]
    bare[told] = 0  # the format is not told yet where masks are judged (7.8)
    codes = bare ^ masks
    best = int(np.argmin(_penalties(codes)))
    return np.where(told, _format(int(code.version), code.error, best), codes[best])


@lru_cache
def _format(version: int, error: str, mask: int) -> Cells:
    """A code (n, n) of this version, correction and mask: all such have their format told alike."""
    like = segno.make("0", version=version, error=error, mask=mask, micro=False, boost_error=False)
    return np.array([list(row) for row in like.matrix], np.uint8)


@lru_cache
def _masks(side: int) -> tuple[Cells, NDArray[np.bool_]]:
    """The masks (8, n, n), nothing where a code has its patterns; and where its format is told (n, n)."""
    told = np.zeros((side, side), bool)
    told[[*range(9), *range(side - 8, side)], 8] = told[8, [*range(9), *range(side - 8, side)]] = True
    told[6, 8] = told[8, 6] = False
    free = np.ones((side, side), bool)
    free[:9, :9] = free[:9, -8:] = free[-8:, :9] = free[6] = free[:, 6] = free[-9:-4, -9:-4] = False
    i, j = np.indices((side, side))
    masks = np.array(
        [
            (i + j) % 2 == 0,
            i % 2 == 0,
            j % 3 == 0,
            (i + j) % 3 == 0,
            (i // 2 + j // 3) % 2 == 0,
            i * j % 2 + i * j % 3 == 0,
            (i * j % 2 + i * j % 3) % 2 == 0,
            ((i + j) % 2 + i * j % 3) % 2 == 0,
        ]
    )
    return (masks & free).astype(np.uint8), told


def _penalties(codes: Cells) -> NDArray[np.int64]:
    """What counts against each of several codes (k, n, n), (k,)."""
    count, side = len(codes), codes.shape[1]
    lines = np.concatenate([codes, codes.transpose(0, 2, 1)], axis=1)  # rows and columns alike
    same = lines[..., 1:] == lines[..., :-1]
    long = np.logical_and.reduce([same[..., k : same.shape[2] - RUN + 2 + k] for k in range(RUN - 1)])
    begin = long.copy()
    begin[..., 1:] &= ~long[..., :-1]
    runs = long.sum(axis=(1, 2)) + 2 * begin.sum(axis=(1, 2))
    level = same[:, :side]
    blocks = level[:, 1:] & level[:, :-1] & (codes[:, 1:, 1:] == codes[:, :-1, 1:])
    padded = np.zeros((count, 2 * side, side + 8), np.uint8)
    padded[..., 4:-4] = lines
    finders = np.array([len(LIKE_A_FINDER.findall(one.tobytes())) for one in padded])
    dark = codes.sum(axis=(1, 2), dtype=np.int64) / side**2
    return np.asarray(
        runs + 3 * blocks.sum(axis=(1, 2)) + 40 * finders + 10 * (abs(dark * 100 - 50) / 5).astype(np.int64)
    )
