"""How many threads linear algebra takes."""

from __future__ import annotations


def use_one_thread() -> None:
    """Let each computation of this process run on one thread, whatever the machine has.

    The matrices are small: more threads wait for each other (a fit took 25 times as long beside another busy
    process), and their number would show in the last digits of an answer, which is to be the same everywhere.
    Requests run side by side all the same.
    """
    import numpy as np  # noqa: F401 - only libraries that are loaded can be told
    import scipy.linalg  # noqa: F401
    from threadpoolctl import threadpool_limits

    threadpool_limits(limits=1, user_api="blas")
