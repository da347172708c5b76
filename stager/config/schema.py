"""JSON Schema of the configuration, for editors."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema

from stager.config.machine import File


def schema_json() -> dict[str, Any]:
    """The schema, with titles, descriptions and examples. [[stages]] entries need only what differs from [stage]."""
    schema = File.model_json_schema(schema_generator=_Generator)
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "stager configuration"
    definitions = schema["$defs"]
    partial = {**definitions["Stage"], "title": "Stage that differs"}
    partial.pop("required", None)
    definitions["StageOverride"] = partial
    schema["properties"]["stages"]["items"] = {"$ref": "#/$defs/StageOverride"}
    return schema


class _Generator(GenerateJsonSchema):
    """Defaults are quantities read from text; what they stand for is in the description."""

    def encode_default(self, value: Any) -> Any:
        return getattr(value, "value", value)
