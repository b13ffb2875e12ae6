"""Pithline: from the scan of one hardwood log to a cut script for quartersawn instrument wood."""

import os

__version__ = "0.1.0"

# numba tries TBB first by default and warns where the one it finds is too old; OpenMP and its own pool are nearly everywhere
os.environ.setdefault("NUMBA_THREADING_LAYER_PRIORITY", "omp workqueue tbb")
# the fit's linear systems have some hundred unknowns: threads of the linear algebra wait for one another longer than they save
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
