"""How a described thing is declared, read from a file and turned into numbers.

A described thing is declared once, as a frozen dataclass whose numbers carry their kind. From that one
declaration come the file's schema (pydantic: unit strings, defaults, errors) and the computing model (the
dataclass itself, filled with SI numbers or arrays over cases). Robots and seasons are both declared this way.
"""

from fieldworthy.schema.declare import assume, exact, need, schema_of
from fieldworthy.schema.document import Document
from fieldworthy.schema.kinds import Of, Ref
from fieldworthy.schema.problems import BadInput, Problem
from fieldworthy.schema.quantity import Basis, Quantity
from fieldworthy.schema.reading import validate
from fieldworthy.schema.realise import quantities, realise
from fieldworthy.schema.tree import read_document

__all__ = [
    "BadInput",
    "Basis",
    "Document",
    "Of",
    "Problem",
    "Quantity",
    "Ref",
    "assume",
    "exact",
    "need",
    "quantities",
    "read_document",
    "realise",
    "schema_of",
    "validate",
]
