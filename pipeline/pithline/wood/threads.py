"""Which library lends its threads to compiled programmes that run in parallel.

OpenMP is asked first: it comes with every system that open3d runs on. Another that is too old would be told of in a warning, and left.
"""

from numba import config

config.THREADING_LAYER_PRIORITY = ["omp", "tbb", "workqueue"]  # type: ignore[attr-defined]  # numba sets its settings at run time
