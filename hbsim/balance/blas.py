"""One thread for linear algebra while the solver runs: its matrices are small, and sweeps use the cores themselves.

scipy's wheels carry an OpenBLAS of their own, whose number of threads can be set in a running process. Where scipy was
built on another library nothing is done, and the environment decides (OMP_NUM_THREADS and the like).
"""

from __future__ import annotations

import ctypes
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from threading import Lock

_PREFIXES = ("scipy_openblas", "openblas")
_lock = Lock()
_inside, _before = 0, 1  # how many hold it to one thread now, and the number of threads outside


@lru_cache(maxsize=1)
def _library() -> tuple | None:
    """Functions that read and set the number of threads; None where there are none."""
    import scipy
    beside = Path(scipy.__file__).parent
    for folder in (beside.parent / "scipy.libs", beside / ".dylibs"):
        for path in sorted(folder.glob("*openblas*")) if folder.is_dir() else ():
            try:
                library = ctypes.CDLL(str(path))
            except OSError:
                continue
            for prefix in _PREFIXES:
                read, put = (getattr(library, f"{prefix}_{verb}_num_threads", None) for verb in ("get", "set"))
                if read is not None and put is not None:
                    return read, put
    return None


@contextmanager
def one_thread() -> Iterator[None]:
    """Hold linear algebra to one thread; may be entered from several threads and within itself."""
    global _inside, _before
    library = _library()
    if library is None:
        yield
        return
    read, put = library
    with _lock:
        _inside += 1
        if _inside == 1:
            _before = read()
            put(1)
    try:
        yield
    finally:
        with _lock:
            _inside -= 1
            if _inside == 0:
                put(_before)
