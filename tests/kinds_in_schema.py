"""Write what a plant file may say of the kinds of fault into its schema: `python -m tests.kinds_in_schema`.

The kinds stand in one table, labkit/switchover/fault_kinds.toml; the schema is a file of its own, as
editors read it while somebody writes a plant file.
"""

import json
from collections.abc import Iterable

from labkit.plant.file import schema
from labkit.switchover.fault_kinds import KINDS, FaultKind
from tests.house import ROOT

SCHEMA = ROOT / "labkit" / "plant" / "files" / "plant.schema.json"
SOURCE = {
    "source": {"$ref": "#/$defs/source",
               "description": "Where these numbers come from. Default: the data of [plant]."},
    "source_note": {"$ref": "#/$defs/part/properties/source_note"},
}


def how_often(kinds: Iterable[FaultKind]) -> dict:
    """Return for each group of kinds what `[how_often]` may hold, with the default of each kind."""
    found: dict = {}
    for kind in kinds:
        table = found.setdefault(kind.of, {
            "type": "object", "additionalProperties": False, "minProperties": 1,
            "description": f"Kinds of fault: {kind.of}.", "properties": {}})
        table["properties"][kind.how] = {
            "type": "number", "minimum": 0,
            "description": f"How often a year. Default: {kind.per_year:g}, invented.",
        } if kind.share is None else {
            "$ref": "#/$defs/share",
            "description": f"Share of the failures of the part. Default: {kind.share:g}, invented.",
        }
    for of, table in found.items():
        shared = [kind.how for kind in kinds if kind.of == of and kind.share is not None]
        if shared:
            table["properties"]["restored_h"] = {
                "type": "object", "additionalProperties": False, "minProperties": 1,
                "description": "Mean time to restoration after some of these kinds, hours, where it "
                "is not that of the part.",
                "properties": {how: {"$ref": "#/properties/mode/items/properties/mttr_h"}
                               for how in shared}}
        table["properties"] |= SOURCE
    return found


def main():
    whole = schema()
    whole["properties"]["how_often"]["properties"] = how_often(KINDS)
    SCHEMA.write_text(json.dumps(whole, indent=2, ensure_ascii=False) + "\n", encoding="utf-8")
    print(f"{SCHEMA.relative_to(ROOT)} written")


if __name__ == "__main__":
    main()
