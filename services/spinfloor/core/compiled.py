"""How the core compiles: three decorators, so that a change of mind about numba is made in one place.

`inner` functions are called by compiled code only: without the wrappers that would let Python call them they compile
twice as fast. `shared` ones may be called from Python too. `entry` points are the few that Python drives; they alone
are kept on disk, with everything they call inside. Division by zero gives inf or nan, as in numpy, never an exception.
"""

from typing import Any, Final

import numba

inner: Final[Any] = numba.njit(no_cpython_wrapper=True, no_cfunc_wrapper=True, error_model="numpy")
shared: Final[Any] = numba.njit(error_model="numpy")
entry: Final[Any] = numba.njit(cache=True, error_model="numpy")
