"""The keywords of Touchstone version 2.

Source: Touchstone File Format Specification, Version 2.1, IBIS Open Forum, 26 January 2024. Versions 2.0 and 2.1
differ in the number after [Version] only.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import TypeVar

from ...errors import Refusal, closest
from .header import Header
from .mixed import check_pairs, read_modes
from .options import Options, read_options, resistance
from .text import Marked, Range, Text, plain

VERSIONS = ("2.0", "2.1")
ORDERS = ("12_21", "21_12")
FORMS = ("full", "lower", "upper")
_KEYWORDS = ("Version", "Number of Ports", "Two-Port Data Order", "Number of Frequencies",
             "Number of Noise Frequencies", "Reference", "Matrix Format", "Mixed-Mode Order", "Begin Information",
             "End Information", "Network Data", "Noise Data", "End")
_OVER_LINES = ("Reference", "Mixed-Mode Order", "Network Data", "Noise Data")
_BY_SPELLING = {name.lower().replace("-", " "): name for name in _KEYWORDS}  # a dash counts as a blank

_Read = TypeVar("_Read")


@dataclass
class _Section:
    """A keyword, its words, and what stands below it up to the next keyword."""

    name: str
    line: int
    words: list[str]
    below: list[Range] = field(default_factory=list)

    @property
    def place(self) -> str:
        return f"line {self.line}"


def keyword(mark: Marked) -> tuple[str, str, str]:
    """Name (as in `_KEYWORDS`, or as written where it is unknown), argument and an oddity, "" for none."""
    text = plain(mark.text, mark.place)
    inside, bracket, argument = text[1:].partition("]")
    if not bracket:
        raise Refusal(f"'{text[:60]}' has no closing bracket; write such as [Number of Ports] 2", mark.place)
    spelling = re.sub(r"[\s-]+", " ", inside).strip().lower()
    name = _BY_SPELLING.get(spelling, inside.strip())
    odd = inside != inside.strip() or re.search(r"\s\s|\t", inside) or argument and not argument[0].isspace()
    return name, argument, f"unusual blanks at [{name}] in {mark.place}" if odd else ""


def starts_version_2(text: Text) -> bool:
    """Whether the first line that says something is [Version]; refuses keywords in any other file.

    Raises
    ------
    Refusal
        Keywords stand in a file that does not begin with [Version].
    """
    marks = [mark for mark in text.marked if mark.text.startswith("[")]
    if not marks:
        return False
    name = keyword(marks[0])[0]
    first = text.first_words([(1, 0, len(text.code))])
    leads = first is not None and first[0] == marks[0].line
    if name == "Version" and leads:
        return True
    if name == "Version":
        raise Refusal("[Version] must stand above everything but comments; move it to the top", marks[0].place)
    if leads and closest(name, ["Version"], 0.6):
        raise Refusal(f"[{name}] unknown; [Version] meant?", marks[0].place)
    raise Refusal(f"keyword [{name[:60]}] in a file that does not begin with [Version]; write '[Version] 2.0' above "
                  "all else, or remove the keywords", marks[0].place)


def read_keywords(text: Text) -> Header:
    """Everything above the data of a version 2 file, and where the data stand.

    Raises
    ------
    Refusal
        A keyword is unknown, missing, doubled, misplaced, or its argument does not fit.
    """
    sections, options, information, notes = _sections(text)
    said = {section.name: section for section in sections}
    ports = _count(said, "Number of Ports")
    if not options.line < said["Number of Ports"].line:
        notes.append(f"line {options.line}: the option line stands below [Number of Ports]; read all the same")
    if sections[1].name != "Number of Ports":
        notes.append(f"line {sections[1].line}: [{sections[1].name}] stands above [Number of Ports]; read all the same")
    if len(options.resistances) > 1:
        raise Refusal("several resistances on the option line are for version 1; write them under [Reference]",
                      f"line {options.line}")
    options.check(ports)
    points = _count(said, "Number of Frequencies")
    noise_points = _noise_count(said, ports)
    for name in ("Network Data", "End"):
        if name not in said:
            raise Refusal(f"[{name}] is missing; " + ("write it above the data" if name == "Network Data" else
                                                      "the file may have been cut off: export it again"))
    resistances, modes = _resistances(text, said, ports), ()
    if "Mixed-Mode Order" in said:
        section = said["Mixed-Mode Order"]
        modes = _located(section, lambda: read_modes(section.words + _words(text, section), ports))
        _located(section, lambda: check_pairs(modes, options.parameter, resistances))
    return Header(said["Version"].words[0], options, said["Network Data"].below,
                  said["Noise Data"].below if "Noise Data" in said else None, ports, points, noise_points,
                  resistances, _order(said, ports), _form(said), modes, information, tuple(notes))


def _sections(text: Text) -> tuple[list[_Section], Options, tuple[str, ...], list[str]]:
    """The file cut at its keywords; option lines are taken out, the first one read."""
    sections: list[_Section] = []
    options, later, information, notes, odd = None, [], (), [], []
    marks = list(text.marked)
    position = 0
    while position < len(marks):
        mark = marks[position]
        position += 1
        if sections and sections[-1].name == "End":
            raise Refusal("text after [End]; only comments may follow", mark.place)
        if mark.text.startswith("#"):
            if options is None:
                options = read_options(mark)
                notes += options.notes
                odd += [f"'#' joined to the first word in {mark.place}"] if re.match(r"#\S", mark.text) else []
            else:
                later.append(mark.line)
        else:
            name, argument, blanks = keyword(mark)
            odd += [blanks] if blanks else []
            odd += [f"blanks before [{name}] in {mark.place}"] if text.code[mark.start:mark.start + 1] != b"[" else []
            section = _opened(name, argument, mark, sections)
            if name == "Begin Information":
                position, information = _information(text, marks, position, mark)
                mark = marks[position - 1]
            sections.append(section)
        end = marks[position].start if position < len(marks) else len(text.code)
        sections[-1].below.append((mark.line, mark.end, end))
        _check_below(text, sections[-1])
    if options is None:
        raise Refusal("no option line (#) in the file; write one below [Version], such as '# GHz S MA R 50'")
    notes += later_notes(later) + harmless(odd)
    return sections, options, information, notes


def later_notes(lines: list[int]) -> list[str]:
    """A note on option lines after the first one, by their numbers."""
    if not lines:
        return []
    more = f" (and {len(lines) - 1} more)" if len(lines) > 1 else ""
    return [f"line {lines[0]}{more} is a second option line; the first one counts"]


def harmless(oddities: list[str]) -> list[str]:
    """One note on what the standard does not have and what changes no number."""
    return ["not in the standard, and without effect on the numbers: " + "; ".join(oddities)] if oddities else []


def _opened(name: str, argument: str, mark: Marked, before: list[_Section]) -> _Section:
    """A keyword, checked against those before it."""
    if name not in _KEYWORDS:
        near = closest(name.replace("-", " "), _BY_SPELLING, 0.6)
        raise Refusal(f"[{name[:60]}] unknown; " + (f"[{_BY_SPELLING[near]}] meant?" if near else
                      f"known are {', '.join(f'[{known}]' for known in _KEYWORDS)}"), mark.place)
    names = [section.name for section in before]
    if name in names:
        raise Refusal(f"[{name}] stands twice; keep one", mark.place)
    if name == "End Information":
        raise Refusal("[End Information] without [Begin Information]; remove it", mark.place)
    if "Network Data" in names and name not in ("Noise Data", "End"):
        raise Refusal(f"[{name}] must stand above [Network Data]; move it there", mark.place)
    if name == "Noise Data" and "Network Data" not in names:
        raise Refusal("[Noise Data] must stand below the network data; move it there", mark.place)
    words = argument.split()
    if name == "Version" and (len(words) != 1 or words[0] not in VERSIONS):
        raise Refusal(f"version {' '.join(words)[:60] or 'without a number'} is not known here "
                      f"({' and '.join(VERSIONS)} are); export as one of them, or as version 1 without keywords",
                      mark.place)
    if words and name in ("Begin Information", "Network Data", "Noise Data", "End"):
        raise Refusal(f"'{words[0][:60]}' beside [{name}]; nothing may stand on its line", mark.place)
    return _Section(name, mark.line, words)


def _information(text: Text, marks: list[Marked], position: int, begin: Marked) -> tuple[int, tuple[str, ...]]:
    """Position of the mark after [End Information], and the lines before it."""
    while position < len(marks):
        mark = marks[position]
        position += 1
        if ends_information(mark.text):
            block = text.code[begin.end:mark.start].decode(text.encoding)
            return position, tuple(line.strip() for line in block.split("\n") if line.strip())
    raise Refusal("[Begin Information] without [End Information]; close it", begin.place)


def ends_information(line: str) -> bool:
    """Whether a line is [End Information], however it is spelt."""
    return re.match(r"\[\s*end[\s-]+information\s*\]", line, re.IGNORECASE) is not None


def _check_below(text: Text, section: _Section) -> None:
    """Loose words are refused where the keyword above takes none."""
    if section.name in _OVER_LINES:
        return
    loose = text.first_words(section.below[-1:])
    if loose is None:
        return
    if section.name == "End":
        raise Refusal("text after [End]; only comments may follow", f"line {loose[0]}")
    plain(loose[1], f"line {loose[0]}")
    data = "; data stand below [Network Data]" if re.match(r"[0-9.+-]", loose[1]) else ""
    raise Refusal(f"'{loose[1].split()[0][:60]}' belongs to no keyword{data}; mend or remove the line",
                  f"line {loose[0]}")


def _words(text: Text, section: _Section) -> list[str]:
    return [plain(word, section.place) for word in text.words(section.below)]


def _located(section: _Section, read: Callable[[], _Read]) -> _Read:
    """What `read` gives; its refusals get the line of the section."""
    try:
        return read()
    except Refusal as refusal:
        raise refusal.located(section.place) from None


def _count(said: dict[str, _Section], name: str) -> int:
    if name not in said:
        raise Refusal(f"[{name}] is missing; write it below the option line, followed by the number")
    words = said[name].words
    if len(words) != 1 or not re.fullmatch(r"0*[1-9][0-9]{0,8}", words[0]):
        raise Refusal(f"[{name}] takes one whole number above zero, not '{' '.join(words)[:60]}'", said[name].place)
    return int(words[0])


def _noise_count(said: dict[str, _Section], ports: int) -> int | None:
    name = "Number of Noise Frequencies"
    there = [said[key] for key in (name, "Noise Data") if key in said]
    if not there:
        return None
    if ports != 2:
        raise Refusal(f"noise data needs 2 ports, here are {ports}; remove [{there[0].name}]", there[0].place)
    if len(there) == 1:
        missing = "Noise Data" if name in said else name
        raise Refusal(f"[{there[0].name}] without [{missing}]; noise data need both", there[0].place)
    return _count(said, name)


def _resistances(text: Text, said: dict[str, _Section], ports: int) -> tuple[float, ...]:
    if "Reference" not in said:
        return ()
    section = said["Reference"]
    found = _located(section, lambda: tuple(map(resistance, section.words + _words(text, section))))
    if len(found) != ports:
        raise Refusal(f"[Reference] holds {len(found)} value{'s' * (len(found) != 1)}, {ports} ports; give "
                      "one for each", section.place)
    return found


def _order(said: dict[str, _Section], ports: int) -> str:
    if "Two-Port Data Order" not in said:
        return "21_12" if ports != 2 else ""
    section = said["Two-Port Data Order"]
    if ports != 2:
        raise Refusal(f"[Two-Port Data Order] is for 2 ports, here are {ports}; remove it", section.place)
    return _choice(section, ORDERS)


def _form(said: dict[str, _Section]) -> str:
    return _choice(said["Matrix Format"], FORMS) if "Matrix Format" in said else "full"


def _choice(section: _Section, known: tuple[str, ...]) -> str:
    word = " ".join(section.words)
    if word.lower() not in known:
        raise Refusal(f"[{section.name}] is {' or '.join(known)}, not '{word[:60]}'", section.place)
    return word.lower()
