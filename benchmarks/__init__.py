"""Timings on one core: the libraries under numpy read these before it is loaded. No test looks at the clock."""

import os

for _threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
    os.environ[_threads] = "1"
