"""What hbsim says when it will not, or cannot, give a number."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class HbsimError(Exception):
    """Root of everything that hbsim raises on purpose; its text is meant for the person at the bench."""


class Refusal(HbsimError):
    """Input that is refused: names the file, the place in it, what is wrong and the mend.

    Parameters
    ----------
    what : str
        What is wrong, and how to mend it ("'3' has no unit; write it like '1.5 mm'").
    place : str
        Key path or line ("part.match_stub.width", "line 12"); empty when the whole file is meant.
    file : str
        File name; empty for a circuit built in Python.
    """

    def __init__(self, what: str, place: str = "", file: str = "") -> None:
        self.what, self.place, self.file = what, place, file
        super().__init__(what)

    def __str__(self) -> str:
        where = ", ".join(text for text in (self.file, self.place) if text)
        return f"{where}: {self.what}" if where else self.what

    def located(self, place: str = "", file: str = "") -> Refusal:
        """The same refusal, with a place put before its own and a file if it had none."""
        joined = ".".join(text for text in (place, self.place) if text)
        return Refusal(self.what, joined, self.file or file)


class NotSolved(HbsimError):
    """No steady state was found; carries the reason and the last iterate for diagnosis.

    Parameters
    ----------
    reason : str
        The sentence people see.
    iterate : object
        Device-node voltages at the last step, harmonic form, or None. [V]
    """

    def __init__(self, reason: str, iterate: object = None) -> None:
        self.reason, self.iterate = reason, iterate
        super().__init__(reason)


def closest(word: str, known: Iterable[str], least: float) -> str:
    """The known word most like `word`, capitals apart; "" if none is at least so much like it (0 to 1)."""
    lowered = {choice.lower(): choice for choice in known}
    close = difflib.get_close_matches(word.lower(), lowered, n=1, cutoff=least)
    return lowered[close[0]] if close else ""


def nearest(word: str, known: Iterable[str]) -> str:
    """Say which known word was probably meant: "; did you mean 'width'?", or list what there is."""
    choices = list(known)
    close = closest(word, choices, 0.6)
    if close:
        return f"; did you mean '{close}'?"
    return f"; known here: {', '.join(choices)}" if choices else ""
