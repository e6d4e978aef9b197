"""The JSON Schema of a dive file, for completion and marks in editors (JSON Schema draft 2020-12)."""

from __future__ import annotations

from typing import Any, cast

from schedgen.dive.model import Dive

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_NOTES = {"^x-": {"description": "A free note"}}


def dive_schema() -> dict[str, Any]:
    """The schema as plain dicts and lists, the same on every call: keys in the order of the models.

    It knows shapes, keys, units and words; what one value demands of another only the reader knows.
    """
    raw = Dive.model_json_schema(by_alias=True)
    schema = cast(dict[str, Any], _tidy(raw))
    return {"$schema": DIALECT, "title": "A dive file", **schema}


def _tidy(part: Any) -> Any:
    """Without titles, nulls and null defaults; `x-` keys allowed in every mapping."""
    if isinstance(part, list):
        return [_tidy(item) for item in part]
    if not isinstance(part, dict):
        return part
    kept = {key: _tidy(value) for key, value in part.items() if not _noise(key, value)}
    choices = kept.get("anyOf")
    if isinstance(choices, list):
        choices = [choice for choice in choices if choice != {"type": "null"}]
        kept["anyOf"] = choices
        if len(choices) == 1:
            del kept["anyOf"]
            kept = {**choices[0], **kept}
    if "oneOf" in kept:
        kept["anyOf"] = kept.pop("oneOf")
    if kept.get("type") == "object":
        kept.pop("propertyNames", None)
        named = {
            pattern.replace("^", "^(?!x-)", 1): inner for pattern, inner in kept.get("patternProperties", {}).items()
        }
        kept["patternProperties"] = {**named, **_NOTES}
        if named:
            kept["additionalProperties"] = False
    return kept


def _noise(key: str, value: Any) -> bool:
    return (key == "title" and isinstance(value, str)) or (key == "default" and value is None)
