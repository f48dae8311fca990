"""Records as JSON: one way for the summary, for the files beside it, and for what commands print.

Lists stand for tuples.  A number that is not finite stands as the text "NaN", "Infinity" or "-Infinity", and
is read back as that number, so that nothing is lost; null says that there is nothing.
"""

from __future__ import annotations

from typing import Any, TypeVar

T = TypeVar("T")
_ADAPTERS: dict[type, Any] = {}
NOT_FINITE = ("NaN", "Infinity", "-Infinity")


def json_text(record: object) -> str:
    """Write a record, or plain data that holds records."""
    from pydantic_core import to_json

    return to_json(record, indent=1, inf_nan_mode="strings").decode()


def json_data(record: object) -> Any:
    """Return the same as plain data."""
    from pydantic_core import to_jsonable_python

    return to_jsonable_python(record, inf_nan_mode="strings")


def from_json(kind: type[T], text: str) -> T:
    """Read a record of a kind.

    Raises
    ------
    pydantic.ValidationError
        When the text is no JSON, or holds no such record.
    """
    record: T = _adapter(kind).validate_json(text)
    return record


def json_schema(kind: type) -> dict[str, Any]:
    """Return the JSON schema of a kind of record."""
    from pydantic.json_schema import GenerateJsonSchema

    class Schema(GenerateJsonSchema):
        """Allows the words for numbers that are not finite wherever a number may stand."""

        def float_schema(self, schema: Any) -> dict[str, Any]:
            return {"anyOf": [super().float_schema(schema), {"enum": list(NOT_FINITE)}]}

    schema: dict[str, Any] = _adapter(kind).json_schema(schema_generator=Schema)
    return schema


def _adapter(kind: Any) -> Any:
    from pydantic import TypeAdapter

    if kind not in _ADAPTERS:
        _ADAPTERS[kind] = TypeAdapter(kind)
    return _ADAPTERS[kind]
