"""How a described thing is declared, read from a file and turned into numbers.

A described thing is declared once, as a frozen dataclass whose numbers carry their kind. From that one
declaration come the file's schema (pydantic: unit strings, defaults, errors) and the computing model (the
dataclass itself, filled with SI numbers or arrays over cases). Robots and seasons are both declared this way.
"""

from fieldworthy.files.declare import Basis, Of, Quantity, Ref, Within, all_are, assume, exact, need, schema_of
from fieldworthy.files.document import BadFile, BadInput, Document, Problem, read_document
from fieldworthy.files.reading import instantiate, quantities, validate

__all__ = [
    "BadFile",
    "BadInput",
    "Basis",
    "Document",
    "Of",
    "Problem",
    "Quantity",
    "Ref",
    "Within",
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
