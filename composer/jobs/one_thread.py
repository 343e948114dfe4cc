"""One thread a head: heads run side by side, and the same sums come out on every machine.

To be set before numpy is loaded; so this module loads nothing.
"""

ONE_THREAD = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
"""What the environment of a process that takes heads says."""
