"""A thing to be said, without the words: a message id and the values of its slots. Words live in locales/."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

_NOTHING: Mapping[str, object] = MappingProxyType({})


@dataclass(frozen=True)
class Remark:
    """What to say: ``id`` of a message in the catalogues, and typed values for its named slots."""

    id: str
    slots: Mapping[str, object] = field(default_factory=lambda: _NOTHING)

    def __hash__(self) -> int:
        return hash((self.id, tuple(sorted(self.slots))))

    def __reduce__(self) -> tuple[type[Remark], tuple[str, dict[str, object]]]:
        return Remark, (self.id, dict(self.slots))


def remark(id_: str, **slots: object) -> Remark:
    """The remark ``id_`` with its slots."""
    return Remark(id_, MappingProxyType(slots))
