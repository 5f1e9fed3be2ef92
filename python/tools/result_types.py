"""Makes ``burnwright/results.py``, the typed classes of the results, from the JSON schemas in ``schemas/``.

``python python/tools/result_types.py`` writes the file; the tests hold it against the schemas.
"""

from __future__ import annotations

import json
import keyword
import textwrap
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
TARGET = ROOT / "python" / "burnwright" / "results.py"
SCHEMAS = {"result": "FiringResult", "plant": "PlantFile", "gains": "GainsFile", "simulation": "SimulationFile", "look": "LookFile"}
HEAD = '''"""What results are made of, field by field.

Made from the program's JSON schemas by ``python/tools/result_types.py``; not to be changed by hand. A field that the
record cannot tell is ``None``. Names end in their unit.
"""

from __future__ import annotations

from typing import Any, Literal

from ._record import Named, Quantity, Record
'''


class Classes:
    """The classes of all schemas, each under a name of its own."""

    def __init__(self) -> None:
        self.known: dict[str, str] = {}
        self.text = HEAD

    def add(self, title: str, schema: dict[str, Any]) -> None:
        definitions = {title: schema} | schema.get("$defs", {})
        records = {name: one for name, one in definitions.items() if one.get("type") == "object" and name != "Measured"}
        own = {name: name for name in definitions}
        for name, one in records.items():
            # A definition of the same name and other fields in another schema.
            if self.known.get(name, plain := self.body(one, own, definitions)) != plain:
                own[name] = title.removesuffix("File") + name
        for name, one in records.items():
            if own[name] not in self.known:
                body = self.body(one, own, definitions)
                self.known[own[name]] = body
                self.text += f"\n\nclass {own[name]}(Record):\n{body}"

    def body(self, one: dict[str, Any], names: dict[str, str], definitions: dict[str, Any]) -> str:
        fields = one.get("properties", {})
        lines = [*textwrap.wrap(one.get("description", ""), 140), ""]
        for field, value in fields.items():
            told = f"{field}: {value.get('description', '')}".strip()
            lines += textwrap.wrap(told, 140, subsequent_indent="    ")
        doc = "\n".join(f"    {line}".rstrip() for line in lines).strip().replace("\\", "\\\\")
        out = f'    """{doc}\n    """\n\n' if fields else f'    """{doc}"""\n'
        for field, value in fields.items():
            safe = f"{field}_" if keyword.iskeyword(field) else field
            out += f"    {safe}: {hint(value, names, definitions)}\n"
        return out


def hint(value: Any, names: dict[str, str], definitions: dict[str, Any]) -> str:
    """The Python type of a value."""
    if not isinstance(value, dict):
        return "Any"
    if ref := value.get("$ref"):
        name = ref.rsplit("/", 1)[1]
        if name == "Measured":
            return "Quantity"
        one = definitions[name]
        return names[name] if one.get("type") == "object" else hint(one, names, definitions)
    for several in ("anyOf", "oneOf"):
        if several in value:
            return joined([hint(one, names, definitions) for one in value[several]])
    if "const" in value:
        return f"Literal[{value['const']!r}]" if isinstance(value["const"], str) else type(value["const"]).__name__
    if "enum" in value:
        return joined([f"Literal[{one!r}]" for one in value["enum"]])
    kinds = value.get("type", [])
    return joined([simple(kind, value, names, definitions) for kind in ([kinds] if isinstance(kinds, str) else kinds)])


def simple(kind: str, value: dict[str, Any], names: dict[str, str], definitions: dict[str, Any]) -> str:
    """The Python type of one JSON type."""
    if kind == "array":
        return f"list[{hint(value.get('items'), names, definitions)}]"
    if kind == "object":
        return f"Named[{hint(value.get('additionalProperties'), names, definitions)}]"
    return {"string": "str", "number": "float", "integer": "int", "boolean": "bool", "null": "None"}[kind]


def joined(hints: list[str]) -> str:
    """One of several types, literals drawn together and ``None`` last."""
    distinct = list(dict.fromkeys(hints))
    literals = [one[len("Literal[") : -1] for one in distinct if one.startswith("Literal[")]
    others = [one for one in distinct if not one.startswith("Literal[") and one != "None"]
    if literals:
        others.insert(0, f"Literal[{', '.join(literals)}]")
    return " | ".join(others + ["None"] * ("None" in distinct)) or "Any"


def made() -> str:
    """The text of the file."""
    classes = Classes()
    for name, title in SCHEMAS.items():
        schema = json.loads((ROOT / "schemas" / f"{name}.schema.json").read_text())
        classes.add(title, schema)
    return classes.text


if __name__ == "__main__":
    TARGET.write_text(made())
