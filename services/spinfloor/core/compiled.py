"""How the core compiles: four decorators, so that a change of mind about numba is made in one place.

`inner` functions are called by compiled code only: without the wrappers that would let Python call them they compile
twice as fast. `hot` ones are inner functions on the path of every frame, put into their caller whole: with their many
arguments a call costs more than the work. `shared` ones may be called from Python too. `entry` points are the few that
Python drives; they alone are kept on disk, with everything they call inside. Division by zero gives inf or nan, as in
numpy, never an exception.

All are handed their arrays and make none, so numba's counting of references is switched off: it took a third of a
frame's time. The option is numba's own and not public (the version is pinned in the lock); a function that allocates
does not compile with it, so it cannot go wrong in silence.
"""

from typing import Any, Final

import numba

_INNER: Final[dict[str, Any]] = {"no_cpython_wrapper": True, "no_cfunc_wrapper": True, "error_model": "numpy"}

inner: Final[Any] = numba.njit(_nrt=False, **_INNER)
hot: Final[Any] = numba.njit(_nrt=False, forceinline=True, **_INNER)
shared: Final[Any] = numba.njit(_nrt=False, error_model="numpy")
entry: Final[Any] = numba.njit(_nrt=False, cache=True, error_model="numpy")
