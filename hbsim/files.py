"""Files: read with refusals instead of tracebacks; results replace what was there whole, or not at all."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO

from .errors import Refusal


_WATCHING: list[dict[Path, None]] = []


@contextmanager
def watched() -> Iterator[dict[Path, None]]:
    """All files that `read_bytes` reads while the block lasts, in their order: what an answer was computed from."""
    seen: dict[Path, None] = {}
    _WATCHING.append(seen)
    try:
        yield seen
    finally:
        _WATCHING.remove(seen)


def read_bytes(path: str | Path, most: int | None = None) -> bytes:
    """The bytes of a file; with `most`, not more than one byte beyond that many.

    Raises
    ------
    Refusal
        It is missing, is a folder, or cannot be read.
    """
    try:
        with open(path, "rb") as handle:
            content = handle.read() if most is None else handle.read(most + 1)
    except FileNotFoundError:
        raise Refusal("there is no such file; check the name and the folder", file=str(path)) from None
    except IsADirectoryError:
        raise Refusal("this is a folder; name a file in it", file=str(path)) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise Refusal(f"cannot be read ({reason}); check the file's name and permissions", file=str(path)) from None
    for seen in _WATCHING:
        seen[Path(path)] = None
    return content


@contextmanager
def replaced(path: str | Path, mode: str = "w") -> Iterator[IO]:
    """Open a temporary file beside `path`; when the block ends well it takes the place of `path`.

    A link stays and its target is replaced; what is no regular file (a pipe, a terminal) is written to as it stands.

    Raises
    ------
    Refusal
        The folder does not exist or cannot be written, or the disk is full.
    """
    options = {} if "b" in mode else {"encoding": "utf-8", "newline": ""}
    temporary = None
    try:
        if os.path.exists(path) and not os.path.isfile(path):
            with open(path, mode, **options) as handle:
                yield handle
            return
        target = Path(os.path.realpath(path))
        number, temporary = tempfile.mkstemp(dir=target.parent, prefix=f".{target.name}.")
        with os.fdopen(number, mode, **options) as handle:
            yield handle
        os.chmod(temporary, target.stat().st_mode & 0o777 if target.exists() else 0o666 & ~_umask())
        os.replace(temporary, target)
    except OSError as error:
        raise Refusal(f"cannot be written: {error.strerror}; name another place", file=str(path)) from None
    finally:
        if temporary is not None:
            Path(temporary).unlink(missing_ok=True)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def check_writable(path: str | Path) -> None:
    """Raise Refusal for a path that cannot be written, without touching what stands there."""
    if os.path.isdir(path) or not str(path):
        raise Refusal("this is a folder; name a file in it", file=str(path) or "''")
    folder = Path(os.path.realpath(path)).parent
    if not os.path.exists(path) and not folder.is_dir():
        raise Refusal(f"its folder '{Path(path).parent}' does not exist; make it first", file=str(path))
    replaces = os.path.isfile(path) or not os.path.exists(path)
    if os.path.exists(path) and not os.access(path, os.W_OK) or replaces and not os.access(folder, os.W_OK):
        raise Refusal("cannot be written; name a place that is yours", file=str(path))
