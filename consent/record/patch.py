"""What changed between two versions of a case, as data: JSON merge patches (RFC 7396)."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

Tree = dict[str, Any]


def difference(before: Mapping[str, Any], after: Mapping[str, Any]) -> Tree:
    """The merge patch that makes ``after`` of ``before``; empty where they are alike. Neither may hold a null."""
    patch: Tree = {key: None for key in before if key not in after}
    for key, value in after.items():
        old = before.get(key)
        if isinstance(old, Mapping) and isinstance(value, Mapping):
            if inner := difference(old, value):
                patch[key] = inner
        elif key not in before or not _same(old, value):
            patch[key] = value
    return patch


def _same(one: Any, other: Any) -> bool:
    """Whether both are the same JSON: in Python ``True == 1``, in a file they are two things."""
    if isinstance(one, str | int) and isinstance(other, str | int):
        return type(one) is type(other) and one == other
    return json.dumps(one, sort_keys=True) == json.dumps(other, sort_keys=True)


def merge(target: Any, patch: Any) -> Any:
    """``target`` with ``patch`` put over it (RFC 7396, section 2)."""
    if not isinstance(patch, Mapping):
        return patch
    merged = dict(target) if isinstance(target, Mapping) else {}
    for key, value in patch.items():
        if value is None:
            merged.pop(key, None)
        else:
            merged[key] = merge(merged.get(key), value)
    return merged


def paths(patch: Mapping[str, Any], before: str = "") -> Iterator[str]:
    """The dotted keys that ``patch`` sets or takes away."""
    for key, value in patch.items():
        if isinstance(value, Mapping) and value:
            yield from paths(value, f"{before}{key}.")
        else:
            yield f"{before}{key}"


def said(patch: Mapping[str, Any], target: Any) -> Iterator[str]:
    """The dotted keys of ``patch`` that say something to ``target``: an empty list where there is nothing says none."""
    for key, value in patch.items():
        old = target.get(key) if isinstance(target, Mapping) else None
        if isinstance(value, Mapping) and value:
            yield from (f"{key}.{path}" for path in said(value, old))
        elif value != [] or old is not None:
            yield key


def is_within(path: str, wholes: Iterable[str]) -> bool:
    """Whether ``path`` is one of ``wholes`` or lies below one."""
    return any(path == whole or path.startswith(f"{whole}.") for whole in wholes)


def overlap(ours: Iterable[str], theirs: Iterable[str]) -> tuple[str, ...]:
    """Those of ``ours`` that name something ``theirs`` name too, a part of it, or a whole that holds it."""
    others = tuple(theirs)
    return tuple(path for path in ours if is_within(path, others) or any(is_within(one, (path,)) for one in others))


def joined(one: Mapping[str, Any], other: Mapping[str, Any]) -> Tree:
    """One patch that holds all that both hold, what they take away (null) too, as ``merge`` would not."""
    whole = dict(one)
    for key, value in other.items():
        inner = whole.get(key)
        if isinstance(inner, Mapping) and isinstance(value, Mapping):
            whole[key] = joined(inner, value)
        else:
            whole[key] = value
    return whole


def parted(tree: Mapping[str, Any], wholes: Iterable[str]) -> tuple[Tree, Tree]:
    """``tree`` in two: without what lies at or below ``wholes``, and only that. Joined, they are ``tree`` again."""
    names = tuple(wholes)
    rest, taken = _parted(tree, names, "")
    return rest, taken


def _parted(tree: Mapping[str, Any], wholes: tuple[str, ...], before: str) -> tuple[Tree, Tree]:
    rest: Tree = {}
    taken: Tree = {}
    for key, value in tree.items():
        path = f"{before}{key}"
        if is_within(path, wholes):
            taken[key] = value
        elif isinstance(value, Mapping) and any(is_within(whole, (path,)) for whole in wholes):
            inner_rest, inner_taken = _parted(value, wholes, f"{path}.")
            rest[key] = inner_rest
            if inner_taken:
                taken[key] = inner_taken
        else:
            rest[key] = value
    return rest, taken
