"""Compiles the inner loops of pure computation, once for a machine.

Numba is slow to import, so modules of compiled functions are imported where they
are first needed, never while a server starts.
"""

from collections.abc import Callable
from typing import Any, TypeVar, cast

import numba

F = TypeVar("F", bound=Callable[..., Any])


def compiled(function: F) -> F:
    """Compile a function of numbers and arrays when it is first called.

    What is compiled is kept beside the source, or in the user's own cache where
    that cannot be written; where neither can, each process compiles for itself.
    """
    return _made(function)


def inlined(function: F) -> F:
    """Compile a function into those that call it.

    For parts of an inner loop that are handed many arrays: a call of its own counts
    references to each of them, which took a third of annealing's time.
    """
    return _made(function, forceinline=True)


def _made(function: F, *, forceinline: bool = False) -> F:
    try:
        made = numba.njit(cache=True, nogil=True, forceinline=forceinline)(function)
    except RuntimeError:
        made = numba.njit(nogil=True, forceinline=forceinline)(function)
    return cast(F, made)
