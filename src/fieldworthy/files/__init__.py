"""How a described thing is declared, read from a file and turned into numbers.

A described thing is declared once, as a frozen dataclass whose numbers carry their kind. From that one
declaration come the file's schema (pydantic: unit strings, defaults, errors) and the computing model (the
dataclass itself, filled with SI numbers or arrays over cases). Robots and seasons are both declared this way.
"""

from fieldworthy.files.declare import all_are, assume, exact, need, schema_of
from fieldworthy.files.document import Document, read_document
from fieldworthy.files.instantiation import instantiate, quantities
from fieldworthy.files.kinds import Basis, Of, Quantity, Ref
from fieldworthy.files.problems import BadFile, BadInput, Problem
from fieldworthy.files.reading import validate

__all__ = [
    "BadFile",
    "BadInput",
    "Basis",
    "Document",
    "Of",
    "Problem",
    "Quantity",
    "Ref",
    "all_are",
    "assume",
    "exact",
    "instantiate",
    "need",
    "quantities",
    "read_document",
    "schema_of",
    "validate",
]
