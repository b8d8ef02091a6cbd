"""What is told of the running desk to whoever looks after the machine: enough to see it fail, and nothing of anybody.

Text format of Prometheus 0.0.4, read back with the parser of prometheus_client.
"""

from __future__ import annotations

import json
import logging
import os
import signal
import time

import pytest
from prometheus_client.parser import text_string_to_metric_families

from consent import logs
from consent.desk import here
from consent.desk.work import ASIDE, DESK, Workshop
from consent.errors import Problem, RecordError
from consent.record.store import Store
from tests.desk.house import House


def test_health_needs_nobody_and_says_nothing_of_anybody(kept_house: House) -> None:
    answer = kept_house.nobody().get("/health")
    assert answer.status_code == 200
    assert answer.json() == {"record": "ok", "waiting": 0}


def test_a_record_that_cannot_be_read_is_ill(kept_house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    def broken(_: Store) -> None:
        raise RecordError(Problem("the file is gone", "/a/secret/folder"))

    monkeypatch.setattr(Store, "reading", broken)
    answer = kept_house.nobody().get("/health")
    assert answer.status_code == 503
    assert answer.json()["record"] == "RecordError"
    assert "secret" not in answer.text


def test_metrics_are_for_this_machine_only(kept_house: House) -> None:
    assert kept_house.nobody().get("/metrics").status_code == 404


def test_metrics_count_by_route_and_name_no_case(kept_house: House, monkeypatch: pytest.MonkeyPatch) -> None:
    subject = kept_house.subjects["ordinary"]
    assert kept_house.browser("meera").get(f"/case/{subject}").status_code == 200
    monkeypatch.setattr(here, "is_loopback", lambda _: True)
    text = kept_house.nobody().get("/metrics").text
    families = {family.name: family for family in text_string_to_metric_families(text)}
    routes = {sample.labels["path"] for sample in families["consent_requests"].samples}
    assert any("{subject" in route for route in routes)
    lanes = {(sample.labels["lane"], sample.labels["state"]) for sample in families["consent_pieces"].samples}
    assert lanes == {(lane, state) for lane in (DESK, ASIDE) for state in ("waiting", "running", "done")}
    case = kept_house.case("ordinary").case
    for secret in (subject, case.patient.name, case.patient.name.split()[0], case.patient.record_number):
        assert secret not in text


def test_what_somebody_waits_for_does_not_stand_behind_what_takes_minutes(kept_house: House) -> None:
    shop = Workshop(kept_house.record.place, lambda: kept_house.record.clinic, 1)
    try:
        long, behind = (shop._started(ASIDE).submit(time.sleep, 300) for _ in range(2))
        process = shop._started(DESK).submit(os.getpid).result(timeout=60)
        assert process != os.getpid()
        assert not long.done()
        assert not behind.done()
    finally:
        for pool in shop._pools.values():
            for one in list(pool._processes.values()):
                os.kill(one.pid, signal.SIGKILL)
        shop.close()


def test_a_log_is_one_json_object_a_line_and_quotes_no_exception() -> None:
    try:
        raise ValueError("Shanti Example, 67")
    except ValueError as error:
        made = logging.getLogger("consent.test").makeRecord(
            "consent.test", logging.ERROR, "file", 1, "fault", (), (type(error), error, error.__traceback__)
        )
    made.facts = {"route": "/case/{subject}"}
    line = logs.AsJson().format(made)
    told = json.loads(line)
    assert "\n" not in line
    assert "Shanti" not in line
    assert told["kind"] == "ValueError"
    assert told["route"] == "/case/{subject}"
    assert told["level"] == "error"
    assert told["where"].startswith("test_health.py:")
