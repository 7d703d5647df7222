"""Reading a TOML file, with refusals instead of tracebacks."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from ..errors import Refusal, nearest
from ..files import read_bytes

_TOUCHSTONE_NAME = re.compile(r"\.(s[0-9]+p|ts)$", re.IGNORECASE)


def read_toml(path: str | Path) -> dict[str, Any]:
    """The tree of a TOML file.

    Raises
    ------
    Refusal
        The file is missing, is a folder, cannot be read, is not UTF-8, or is not TOML (with the line).
    """
    file = str(path)
    content = ""
    try:
        # "utf-8-sig": some editors put a byte-order mark before the text, which TOML does not know.
        content = read_bytes(path).decode("utf-8-sig").replace("\r\n", "\n").replace("\r", "\n")
        return tomllib.loads(content)
    except UnicodeDecodeError as error:
        raise Refusal(f"byte {error.start + 1} is not UTF-8 text; save the file as UTF-8", file=file) from None
    except RecursionError:
        raise Refusal("brackets are nested too deep; remove some", file=file) from None
    except ValueError as error:
        if _TOUCHSTONE_NAME.search(file):
            raise Refusal("a Touchstone file by its name, not a circuit file (TOML); 'hbsim touchstone' looks at it, "
                          "and a circuit holds it as a part with data from a file", file=file) from None
        mend = "keep one of the two" if any(word in str(error) for word in ("twice", "overwrite")) else \
            "texts and quantities stand in quotes, a table starts with [name]"
        wrong = str(error).replace("at end of document", f"at the end of the file, line {len(content.splitlines())}")
        raise Refusal(f"not a TOML file: {wrong}; {mend}", file=file) from None


def table(tree: dict[str, Any], key: str) -> dict[str, Any]:
    """The table `key` of `tree`, empty if it is not there; anything else than a table is refused."""
    found = tree.get(key, {})
    if not isinstance(found, dict):
        raise Refusal(f"'{key}' must be a table; write [{key}] on a line of its own")
    return found


def text(tree: dict[str, Any], key: str, place: str = "", default: str | None = None) -> str:
    """The text under `key`; without a default it must be there."""
    found = tree.get(key, default)
    if found is None:
        raise Refusal(f"'{key}' is missing; write {key} = \"...\"", place)
    if not isinstance(found, str) or (default is None and not found.strip()):
        raise Refusal(f"{found!r} is not a name or a text; write {key} = \"...\"", f"{place}.{key}".lstrip("."))
    return found


def check_keys(tree: dict[str, Any], known: tuple[str, ...], place: str = "") -> None:
    """Refuse a key that is not known here, with the nearest one that is."""
    for key in tree:
        if key not in known:
            raise Refusal(f"unknown key '{key}'{nearest(key, known)}", place)
