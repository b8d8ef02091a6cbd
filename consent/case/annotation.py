"""Opens the annotations of a model's fields."""

from __future__ import annotations

from collections.abc import Iterator
from types import UnionType
from typing import Annotated, Any, Union, get_args, get_origin


def kinds_of(annotation: Any) -> Iterator[Any]:
    """The types that may stand under ``annotation``: unions and lists opened, annotations taken off, no None."""
    origin = get_origin(annotation)
    if origin in (Union, UnionType, tuple):
        for inner in get_args(annotation):
            if inner is not type(None) and inner is not Ellipsis:
                yield from kinds_of(inner)
    elif origin is Annotated:
        yield from kinds_of(get_args(annotation)[0])
    else:
        yield annotation
