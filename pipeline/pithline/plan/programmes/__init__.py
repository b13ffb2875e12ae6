"""Exact programmes on a grid: what slabs, stacks, halves and fans are worth, and what nothing can exceed."""

import pithline.wood.threads  # noqa: F401 - before anything is compiled
