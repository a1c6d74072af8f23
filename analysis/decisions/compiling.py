"""Compiling the kernel with numba.

numba takes 0.3 s to import and the kernel seconds to compile, so this module and those that use it
are imported only when weeks are simulated. The machine code is kept on disk (`code_folder.py`).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar, cast

import numba

from analysis.decisions.code_folder import cache_folder

Function = TypeVar("Function", bound=Callable)


def compiled(function: Function) -> Function:
    """The function as machine code: releases the lock, divides by zero as numpy does.

    Not `fastmath`: sums keep their order, and a run has the same bits however it is done. numba
    takes no notice of the function's annotations, which say what callers pass: a `np.record` is one
    of `floor.py`, its fields being its attributes; `stretches` are (hands, n) of `hours.STRETCH`.
    """
    in_machine_code = numba.njit(cache=True, nogil=True, error_model="numpy")(function)
    return cast(Function, in_machine_code)  # it is called as the function is


# numba makes its settings up as it is imported, so that no checker can know them.
numba.config.CACHE_DIR = str(cache_folder())  # type: ignore[attr-defined]
