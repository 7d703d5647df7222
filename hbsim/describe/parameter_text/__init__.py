"""Transistor parameters as data sheets print them: tables, text copied from a PDF, lists of name = value.

    from hbsim.describe.parameter_text import read_parameters

`text` takes hidden characters and comments away, `tokens` and `layout` find names with their values, `values` reads
numbers and units, `meaning` weighs what was found, `modelfile` writes it as a model file. What can be read in two ways
is refused with the choices; nothing is filled in and nothing is scaled silently.
"""

from .modelfile import model_text
from .reader import read_parameters
from .result import Check, Choices, Parameter, Parameters, Undecided

__all__ = ["Check", "Choices", "Parameter", "Parameters", "Undecided", "model_text", "read_parameters"]
