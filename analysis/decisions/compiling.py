"""Compiling the kernel with numba.

numba takes 0.3 s to import and the kernel seconds to compile, so this module and those that use it
are imported only when weeks are simulated. The machine code is kept on disk (`code_folder.py`).
"""

from __future__ import annotations

import numba

from analysis.decisions.code_folder import cache_folder


def compiled(function):
    """The function as machine code: releases the lock, divides by zero as numpy does.

    Not `fastmath`: sums keep their order, and a run has the same bits however it is done.
    """
    return numba.njit(cache=True, nogil=True, error_model="numpy")(function)


# numba makes its settings up as it is imported, so that no checker can know them.
numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]
