"""Putting an audit into a clinic's settings: TOML 1.0, comments kept, nothing else changed."""

from __future__ import annotations

import tomllib

import pytest

from consent.clinic import Audit
from consent.errors import ClinicError
from consent.resources import package_data
from consent.risk.audit.settings import audit_snippet, audit_table, with_audit

AUDIT = Audit(operations=500, events=4, expected_events=9.0, mean_composite=2.41, years="2024-2025")
SHIPPED = package_data("clinic", "demo.toml").read_text(encoding="utf-8")


def test_the_snippet_is_the_table_as_toml() -> None:
    assert tomllib.loads(audit_snippet(AUDIT)) == {"audit": audit_table(AUDIT)}
    assert audit_snippet(AUDIT).startswith("[audit]\n")


def test_a_file_without_audit_gets_one_and_keeps_every_line() -> None:
    changed = with_audit(SHIPPED, AUDIT, "clinic.toml")
    assert changed.startswith(SHIPPED)
    assert tomllib.loads(changed)["audit"] == audit_table(AUDIT)


def test_an_audit_that_is_there_is_replaced_and_comments_stay() -> None:
    old = "# ours\n[audit]  # the theatre book\noperations = 90  # counted twice\nevents = 3\ncolour = 7.5\n"
    old += 'years = "2023"\n\n# lids\n[drops]\ngap_minutes = 5 # minutes\n'
    changed = with_audit(old, AUDIT, "clinic.toml")
    assert tomllib.loads(changed)["audit"] == audit_table(AUDIT)
    for comment in ("# ours", "# the theatre book", "# counted twice", "# lids", "# minutes"):
        assert comment in changed
    assert "colour" not in changed
    assert changed.endswith("# lids\n[drops]\ngap_minutes = 5 # minutes\n")


@pytest.mark.parametrize(
    "text",
    [
        'audit = { operations = 9, events = 0, years = "x" }\nname = "a"\n',
        'audit.operations = 9\naudit.events = 0\nname = "a"\n',
        'name = "a"\n[audit]\n',
        'name = "a"',
        "",
        '[a]\nb = 1\n[[c]]\nd = 2025-01-01\n[[c]]\nd = "[audit]"\n',
        'name = "a"\r\n[drops]\r\ngap_minutes = 5\r\n',
    ],
    ids=["inline", "dotted", "empty table", "no line end", "empty file", "arrays of tables", "windows"],
)
def test_however_it_is_written_the_rest_stays(text: str) -> None:
    changed = tomllib.loads(with_audit(text, AUDIT, "clinic.toml"))
    assert changed == {**tomllib.loads(text), "audit": audit_table(AUDIT)}


def test_it_can_be_put_in_again_without_growing() -> None:
    once = with_audit(SHIPPED, AUDIT, "clinic.toml")
    assert with_audit(once, AUDIT, "clinic.toml") == once


@pytest.mark.parametrize("text", ["not toml", "audit = 3\n", "[[audit]]\noperations = 3\n"])
def test_a_file_that_cannot_be_changed_is_left_with_words(text: str) -> None:
    with pytest.raises(ClinicError, match="cannot be put into this file"):
        with_audit(text, AUDIT, "clinic.toml")
