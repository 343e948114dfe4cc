"""Kept memory: arrays that come and go are not asked of the system again, page after page (getrusage(2), ru_minflt)."""

import platform
import subprocess
import sys

import pytest

TIMES, PAGES = 50, 512  # arrays of 2 MB, each page of 4 kB touched

PROGRAM = f"""
import resource
import numpy as np
from composer.cli.kept_memory import keep_memory
np.ones({PAGES} * 512)
def asked():
    before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
    for _ in range({TIMES}):
        held = [np.ones({PAGES} * 512) for _ in range(4)]
        del held
    return resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before
print(keep_memory(), asked())
"""


@pytest.mark.skipif(platform.libc_ver()[0] != "glibc", reason="another C library")
def test_memory_that_is_given_back_is_kept() -> None:
    kept, asked = subprocess.run(
        [sys.executable, "-c", PROGRAM], capture_output=True, text=True, check=True
    ).stdout.split()  # fmt: skip
    assert kept == "True"
    assert int(asked) < 3 * 4 * PAGES  # the pages of four arrays a few times, where each time anew is 50 times
