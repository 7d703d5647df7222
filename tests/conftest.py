"""Shared by all tests.

numba keeps compiled kernels by the file they stand in, not by the files they call: an edit elsewhere would leave
stale code in the cache. So the cache folder of a test run is keyed by all sources.
"""

import hashlib
import importlib.util
import os
import tempfile
from pathlib import Path

_package = Path(importlib.util.find_spec("hbsim").origin).parent
_digest = hashlib.sha256()
for _source in sorted(_package.rglob("*.py")):
    _digest.update(_source.read_bytes())
os.environ.setdefault("NUMBA_CACHE_DIR", str(Path(tempfile.gettempdir()) / f"hbsim-kernels-{_digest.hexdigest()[:16]}"))
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import pytest  # noqa: E402
from hypothesis import settings  # noqa: E402

settings.register_profile("steady", deadline=None, derandomize=True, print_blob=True)
settings.load_profile("steady")

ROOT = Path(__file__).resolve().parent.parent


@pytest.fixture(scope="session")
def root() -> Path:
    """The project's top folder."""
    return ROOT


@pytest.fixture(scope="session")
def examples() -> Path:
    """The folder of examples."""
    return ROOT / "examples"
