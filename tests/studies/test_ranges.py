"""What is said of formulas outside their ranges: once for all parts, and what matters at the wanted frequency first."""

from hbsim.linear.microstrip.line import outside
from hbsim.linear.part import Part
from hbsim.studies.ranges import range_warnings


class Ranged(Part):
    """Two formulas that end at 2 and at 5 GHz, and data that end at 8 GHz; invented for these tests."""

    def __init__(self, width=1.0):
        self.width = width

    def relation(self, omega):
        raise NotImplementedError

    def warnings(self, highest_frequency):
        said = outside("width", self.width, 0.0, 3.0, "a book, 1950")
        said += outside("depth at the highest frequency", highest_frequency / 1e9, 0.0, 2.0, "a book, 1950")
        said += outside("the part where it is wide", highest_frequency / 1e9, 0.0, 5.0, "a book, 1950")
        return said + (["data end at 8 GHz"] if highest_frequency > 8e9 else [])


def test_nothing_is_said_inside_all_ranges():
    assert range_warnings([("a", Ranged()), ("b", Ranged())], 1e9, 2e9) == []


def test_what_only_higher_harmonics_leave_is_gathered_in_one_sentence():
    said = range_warnings([("a", Ranged()), ("b", Ranged())], 1e9, 6e9)
    assert said == ["at harmonics above the wanted one only, formulas are used outside their published ranges: "
                    "depth at the highest frequency (a, b), the part where it is wide (a, b)"]


def test_what_the_wanted_frequency_leaves_is_told_with_its_figure_there():
    said = range_warnings([("a", Ranged())], 4e9, 6e9)
    assert said[0] == "a: depth at the wanted frequency is 4; the formula is published for 0 to 2 (a book, 1950)"
    assert len(said) == 2 and "the part where it is wide (a)" in said[1]


def test_many_parts_say_it_once_and_data_that_end_are_always_told():
    parts = [(f"p{i}", Ranged(width)) for i, width in enumerate((4.0, 1.0, 5.0, 6.0, 7.0))]
    said = range_warnings(parts, 1e9, 9e9)
    assert said[0] == ("p0, p2, p3 and 1 more: width is 4; the formula is published for 0 to 3 (a book, 1950) "
                       "(figures of p0)")
    assert "p0, p1, p2 and 2 more: at the higher harmonics only: data end at 8 GHz" in said
