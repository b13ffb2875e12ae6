"""The wood field: rings, fibre, grades and unusable wood."""

import pithline.wood.threads  # noqa: F401 - before anything is compiled
