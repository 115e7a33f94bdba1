"""A serializer read as columns: a list's rows go from the database to the answer with no objects between.

The serializer says for single records and lists alike which fields there are; its columns are told from it
once. What needs no conversion is left as the driver gives it: the renderers write dates, times and UUIDs as
the serializer would.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from itertools import chain
from operator import itemgetter
from typing import Any, ClassVar

from rest_framework import serializers

Row = Sequence[Any]

#: Fields that give what is stored as it is stored. (A number may be stored as text.)
AS_STORED = (
    serializers.BooleanField,
    serializers.CharField,
    serializers.ChoiceField,
    serializers.DateField,
    serializers.DateTimeField,
    serializers.DictField,
    serializers.JSONField,
    serializers.UUIDField,
)


class FromColumns(serializers.CharField):
    """A text that a function tells from several of the record's attributes."""

    def __init__(self, told: Callable[..., str], *attributes: str, **options: Any) -> None:
        super().__init__(source="*", read_only=True, **options)
        self.told = told
        self.attributes = attributes

    def to_representation(self, value: Any) -> str:
        return self.told(*(getattr(value, name) for name in self.attributes))


class Spread(serializers.Serializer[Any]):
    """A stored object whose fields are given as they are, beside the record's own."""

    #: The attribute with the object, and the names of the fields beside it.
    spread: ClassVar[str]
    own: ClassVar[Sequence[str]]

    def to_representation(self, instance: Any) -> dict[str, Any]:
        fields = [self.fields[name] for name in self.own]
        own = {
            str(field.field_name): field.to_representation(field.get_attribute(instance)) for field in fields
        }
        return {**getattr(instance, self.spread), **own}


class Columns:
    """The database's columns for the fields of a serializer, and for the ``further`` paths asked for."""

    def __init__(self, serializer: serializers.Serializer[Any], further: Iterable[str] = ()) -> None:
        self._spread = serializer.spread if isinstance(serializer, Spread) else None
        self._names = list(serializer.own if isinstance(serializer, Spread) else serializer.fields)
        fields = {name: serializer.fields[name] for name in self._names}
        needed = {name: _paths(field) for name, field in fields.items()}
        spread = [self._spread] if self._spread else []
        self.paths = list(dict.fromkeys([*chain.from_iterable(needed.values()), *spread, *further]))
        self._place = {path: place for place, path in enumerate(self.paths)}
        # What is told of several columns stands in its place with the first of them until it is told.
        self._pick = itemgetter(*(self._place[paths[0]] for paths in needed.values()))
        self._told = [
            (name, field.told, itemgetter(*(self._place[path] for path in needed[name])))
            for name, field in fields.items()
            if isinstance(field, FromColumns)
        ]
        self._converted = [
            (name, field.to_representation)
            for name, field in fields.items()
            if not isinstance(field, AS_STORED)
        ]

    def value(self, row: Row, path: str) -> Any:
        """A row's value at a path."""
        return row[self._place[path]]

    def answer(self, row: Row) -> dict[str, Any]:
        """A row as the serializer gives its record."""
        answer: dict[str, Any] = dict(zip(self._names, self._pick(row), strict=True))
        for name, convert in self._converted:
            if answer[name] is not None:
                answer[name] = convert(answer[name])
        for name, told, pick in self._told:
            answer[name] = told(*pick(row))
        return {**self.value(row, self._spread), **answer} if self._spread else answer


def _paths(field: serializers.Field[Any, Any, Any, Any]) -> list[str]:
    """The paths of the columns that a field is told of."""
    sources = field.attributes if isinstance(field, FromColumns) else [str(field.source)]
    return [source.replace(".", "__") for source in sources]
