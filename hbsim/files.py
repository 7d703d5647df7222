"""Results files replace what was there whole, or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from .errors import Refusal


@contextmanager
def replaced(path: str | Path, mode: str = "w") -> Iterator[IO]:
    """Open a temporary file beside `path`; when the block ends well it takes the place of `path`.

    Raises
    ------
    Refusal
        The folder does not exist or cannot be written.
    """
    target = Path(path)
    try:
        number, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
    except OSError as error:
        raise Refusal(f"cannot be written: {error.strerror}; name a folder that exists and is yours", file=str(path)) \
            from None
    try:
        options = {} if "b" in mode else {"encoding": "utf-8", "newline": ""}
        with os.fdopen(number, mode, **options) as handle:
            yield handle
        os.chmod(temporary, 0o666 & ~_umask())
        try:
            os.replace(temporary, target)
        except OSError as error:
            raise Refusal(f"cannot be written: {error.strerror}", file=str(path)) from None
    finally:
        Path(temporary).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def check_writable(path: str | Path) -> None:
    """Raise Refusal for a path that cannot be written, without touching what stands there."""
    target = Path(path)
    if target.is_dir():
        raise Refusal("is a folder; name a file", file=str(path))
    if not target.parent.is_dir():
        raise Refusal(f"its folder '{target.parent}' does not exist; make it first", file=str(path))
    if not os.access(target.parent, os.W_OK):
        raise Refusal("its folder cannot be written; name one that is yours", file=str(path))
