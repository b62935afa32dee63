"""How a procedure's form looks: each blank with its unit, lists that grow, how near the tools read at the end."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fieldworthy.web.blanks import Blank, Group, blanks
from fieldworthy.web.markup import Content, Markup, tag
from fieldworthy.web.screen import field_id

_MODES = {"whole": "numeric", "number": "text", "quantity": "decimal"}


def drawn_form(group: Group, texts: Mapping[str, str], file: str, *, may_change: bool) -> Markup:
    """Write a procedure's form."""
    drawing = _Drawing(texts, may_change, len(group.path) + 1 if group.there else 0)
    plain = [item for item in group.items if not (isinstance(item, Blank) and item.minor)]
    minor = [item for item in group.items if isinstance(item, Blank) and item.minor]
    near = ""
    if minor:
        filled = any(texts.get(item.key, item.value) for item in minor)
        title = tag("summary", "How near the tools read (where you leave it empty, what stands in the blank is taken)")
        near = tag("details", title, tag("div", [drawing.blank(item) for item in minor], class_="fields"), open=filled)
    button = tag("button", f"Put into {file}", type="submit", class_="main") if may_change else ""
    return tag("form", drawing.items(plain), near, tag("div", button, class_="tools"), data_submit="put",
               class_="sheet", autocomplete="off")  # fmt: skip


class _Drawing:
    """Writes blanks and groups with what was typed in them."""

    def __init__(self, texts: Mapping[str, str], may_change: bool, folded: int) -> None:
        self._texts, self._may_change = texts, may_change
        self._folded = folded  # keys of the path of a group that is folded away while it is empty
        self._said: set[str] = set()

    def items(self, items: list[Blank | Group]) -> list[Content]:
        """Blanks side by side, groups each on their own."""
        found: list[Content] = []
        row: list[Markup] = []
        for item in items:
            if isinstance(item, Blank):
                row.append(self.blank(item))
                continue
            found += [tag("div", row, class_="fields")] if row else []
            row = []
            found.append(self.group(item))
        return [*found, tag("div", row, class_="fields")] if row else found

    def once(self, about: str) -> str:
        """A sentence about a blank; the next rows of the same list do without it."""
        if about in self._said:
            return ""
        self._said.add(about)
        return about

    def group(self, group: Group) -> Markup:
        """A group; one that the file does without is folded away."""
        drawn = self._fieldset(group)
        empty = not group.there and not any(self._texts.get(blank.key) for blank in blanks(group))
        if group.kind == "mapping" and len(group.path) == self._folded and empty:
            return tag("details", tag("summary", f"{group.label}: {group.about or 'not in the file'}"), drawn)
        return drawn

    def _fieldset(self, group: Group) -> Markup:
        identifier = field_id(group.path)
        told = self.once(group.about)
        about = tag("p", told, class_="fine") if told else ""
        said = tag("p", id=f"{identifier}-said", class_="said", role="alert")
        add = ""
        if group.kind == "list" and self._may_change:
            add = tag("button", "+ one more" if group.items else "+ add one", type="button", data_do="grow",
                      data_of=group.key, id=f"{identifier}-grow", aria_label=f"Add to {group.label}")  # fmt: skip
        plain = group.kind == "list" and all(isinstance(item, Blank) for item in group.items)
        inner = [self.reading(item) for item in group.items if isinstance(item, Blank)] if plain else None
        body = tag("div", inner, add, class_="readings") if inner else [self.items(list(group.items)), add]
        return tag("fieldset", tag("legend", group.label), about, body, said, id=identifier, tabindex="-1",
                   class_="row" if isinstance(group.path[-1], int) else "group")  # fmt: skip

    def blank(self, blank: Blank) -> Markup:
        """One value with its label above and its unit beside."""
        identifier = field_id(blank.path)
        told = self.once(blank.about)
        about = tag("small", told, id=f"{identifier}-about") if told else ""
        said = tag("p", id=f"{identifier}-said", class_="said", role="alert")
        label = tag("label", blank.label, for_=identifier)
        return tag("div", label, self._box(blank, f"{identifier}-about" if told else ""), about, said,
                   class_="field")  # fmt: skip

    def reading(self, blank: Blank) -> Markup:
        """One of several readings in a row."""
        said = tag("p", id=f"{field_id(blank.path)}-said", class_="said", role="alert")
        return tag("div", self._box(blank, "", name=blank.label), said, class_="reading")

    def _box(self, blank: Blank, about: str, name: str = "") -> Markup:
        identifier, text = field_id(blank.path), self._texts.get(blank.key, blank.value)
        shared: dict[str, Any] = {
            "id": identifier, "name": blank.key, "data_change": "typed", "data_of": blank.key,
            "aria_describedby": f"{about} {identifier}-said".strip(), "aria_label": name or None,
        }  # fmt: skip
        if blank.choices and self._may_change:
            empty = f"{blank.default} (where nothing is said)" if blank.default else "–"
            words = ["", *(blank.choices if text in ("", *blank.choices) else (text, *blank.choices))]
            options = [tag("option", word or empty, value=word, selected=word == text) for word in words]
            return tag("div", tag("select", options, **shared), class_="box")
        mode = "text" if blank.signed and blank.sort == "quantity" else _MODES.get(blank.sort)
        box = tag("input", type="date" if blank.sort == "date" else "text", value=text, maxlength=200, inputmode=mode,
                  placeholder=blank.default or None, title=blank.bounds or None, readonly=not self._may_change,
                  class_="number" if blank.sort in _MODES else None, **shared)  # fmt: skip
        return tag("div", box, tag("span", blank.unit, class_="unit") if blank.unit else "", class_="box")
