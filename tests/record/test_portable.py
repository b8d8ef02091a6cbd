"""The rows of a backup stand in one order, whichever store and whichever language they come from."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import psycopg
import pytest

from consent.clinic import Clinic
from consent.record.place import Place, Record, make_record
from consent.record.portable import lines
from consent.record.schema import KEYS
from tests.record.clock import TestClock
from tests.record.servers import Server

SUBJECTS = ("case-aa00000000000000", "case-ab00000000000000", "case-b000000000000000")
"""In Danish "aa" is a letter after z (CLDR, da: "&[last primary] < å <<< aa")."""


@pytest.fixture
def danish(folder: Path, server: Server, clinic: Clinic) -> Iterator[Record]:
    server.run("CREATE DATABASE danish TEMPLATE template0 LOCALE_PROVIDER icu ICU_LOCALE 'da'")
    made = make_record(Place(folder, server.address("danish")), clinic, TestClock())
    yield made
    made.close()
    server.run("DROP DATABASE danish")


def test_the_language_a_server_sorts_by_changes_nothing(danish: Record) -> None:
    with danish.store.writing() as connection:
        for subject in reversed(SUBJECTS):
            connection.execute(KEYS.insert().values(subject=subject, purpose="identity", wrapped=b"key"))
    with psycopg.connect(danish.place.address or "") as raw:
        sorted_there = [row[0] for row in raw.execute("SELECT subject FROM keys ORDER BY subject")]
    assert sorted_there == [*SUBJECTS[1:], SUBJECTS[0]], "the server does sort another way"
    with danish.store.reading() as connection:
        assert tuple(json.loads(line)[0] for line in lines(connection, KEYS)) == SUBJECTS
