"""Which keys a file of an instructor's own questions may have, and what stands at each, as a JSON Schema."""


def _table(*must: str, **may: dict) -> dict:
    return {"type": "object", "required": list(must), "additionalProperties": False,
            "properties": may}


TEXT = {"type": "string", "minLength": 1}
NUMBER, YES, WHOLE = {"type": "number"}, {"type": "boolean"}, {"type": "integer"}
LINES = {"type": "object", "additionalProperties": TEXT}
TRUTH = {"type": ["boolean", "string"]}
CASE = {"id": TEXT, "text": TEXT, "derived": {"type": ["object", "string", "array"]}, "numbers": {
    "type": "object", "additionalProperties": {"type": "array", "minItems": 1, "items": NUMBER}}}
HINTS = {"type": "array", "items": TEXT, "minItems": 3, "maxItems": 3}
ITEM = {"type": TEXT, "id": TEXT, "title": TEXT, "objective": TEXT, "ask": TEXT, "hints": HINTS,
        "case": {**_table(**CASE), "type": ["string", "object"]}}
MARKED = {
    "value": TEXT, "unit": {"type": "string"}, "reason": TEXT, "shows_unit": YES, "complement": YES,
    "exact": YES, "tolerance": {"type": "number", "minimum": 0, "maximum": 0.5},
    "rough": _table("low", "high", "unit", "why", low=NUMBER, high=NUMBER, unit=TEXT, why=TEXT),
    "mark": {"type": "array", "items": _table(
        "value", "question", value=TEXT, question=TEXT, misconception=TEXT)}}
SEVERAL = {"type": "array", "items": TEXT, "minItems": 1, "maxItems": 12, "uniqueItems": True}
PLACES = {"type": TEXT, "rows": SEVERAL, "columns": SEVERAL}
CELLS = {
    "given": _table("text", **PLACES, text=TEXT),
    "number": _table("id", "value", **PLACES, **MARKED, id=TEXT, title=TEXT, ask=TEXT),
    "pick": _table("options", "right", **PLACES, options={**SEVERAL, "minItems": 2}, right=TEXT,
                   question={"type": "array", "items": _table(
                       "option", "question", option=TEXT, question=TEXT, misconception=TEXT)}),
    "free": _table("model", "criteria", **PLACES, model=TEXT, criteria=HINTS),
}
KINDS = {
    "number": _table("id", "title", "ask", "value", "hints", **ITEM, **MARKED),
    "choice": _table(
        "id", "title", "ask", "hints", "option", **ITEM, voting=YES, in_order=YES,
        option={"type": "array", "minItems": 2, "maxItems": 12, "items": _table(
            "key", "text", key=TEXT, text=TEXT, reply=TEXT, right=TRUTH, misconception=TEXT,
            question=TEXT)}),
    "order": _table(
        "id", "title", "ask", "hints", "cards", **ITEM, reason=TEXT,
        cards={"type": "array", "minItems": 2, "maxItems": 12, "items": TEXT, "uniqueItems": True},
        swap={"type": "array", "items": _table(
            "cards", "question", cards={"type": "array", "items": WHOLE, "minItems": 2,
                                        "maxItems": 2}, question=TEXT, misconception=TEXT)}),
    "table": _table(
        "id", "title", "ask", "hints", "rows", "columns", "cell", **ITEM, rows=SEVERAL, columns=SEVERAL,
        corner={"type": "string"}, reason=TEXT,
        cell={"type": "array", "minItems": 1, "items": {"type": "object"}}),
}
# The three kinds whose steps follow one another, and the steps: their case is that of all.
STEPS = {kind: {**KINDS[kind], "properties": {key: each for key, each in KINDS[kind]["properties"].items()
                                              if key != "case"}} for kind in ("number", "choice", "order")}
FOUR = {"type": "array", "minItems": 4, "maxItems": 4}
KINDS["steps"] = _table("id", "case", "worked", "step", type=TEXT, id=TEXT, case=TEXT,
                        worked={**FOUR, "items": TEXT}, names={**FOUR, "items": TEXT},
                        step={**FOUR, "items": {"type": "object"}})
FORM = _table("title", "item", title=TEXT, objectives=LINES, names=LINES,
              derived={"type": "object", "additionalProperties": LINES},
              case={"type": "array", "items": _table("id", **CASE)},
              item={"type": "array", "minItems": 1, "items": {"type": "object"}})
