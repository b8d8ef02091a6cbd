"""A PostgreSQL server of the tests' own, and the key of a cluster on it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from tests.record.servers import Server, running_server


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    with running_server() as started:
        yield started


@dataclass(frozen=True)
class Where:
    """How to reach a cluster, as the command line takes it."""

    address: str
    key: Path

    @property
    def options(self) -> list[str]:
        return ["--cluster", self.address, "--cluster-key", str(self.key)]


@pytest.fixture
def where(server: Server, tmp_path: Path) -> Iterator[Where]:
    from consent.cluster.place import make_key

    key, name = tmp_path / "cluster.key", server.lend_database()
    make_key(key)
    yield Where(server.address(name), key)
    server.take_back(name)
