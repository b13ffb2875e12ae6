"""Which library lends its threads to compiled programmes that run in parallel.

OpenMP is asked first: it comes with every system that open3d runs on. Another that is too old would be told of in a warning, and left.
Its threads sleep between two programmes: by themselves they would go round and round, and take a core from whoever has work for it.
"""

import os

from numba import config

# read when the library is loaded
os.environ.setdefault("OMP_WAIT_POLICY", "passive")

config.THREADING_LAYER_PRIORITY = ["omp", "tbb", "workqueue"]  # type: ignore[attr-defined]  # numba sets its settings at run time
