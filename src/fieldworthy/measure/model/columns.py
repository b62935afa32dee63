"""How the columns of a table are named once, for every procedure that reads one."""

from __future__ import annotations

from dataclasses import dataclass

from fieldworthy.schema import exact, need


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One column of a table."""

    column: str = need("the name in the table's first row")
    unit: str = exact("", "unit of its numbers; the one in the column's name, such as 't [ms]', or SI where absent")
