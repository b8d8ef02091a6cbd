"""``consent record``: the record of the clinic, opened, added to, shown and checked."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from consent.commands import out
from consent.commands.passwords import ask
from consent.commands.settings import clinic_path, find_record, record_place
from consent.errors import AccessError, Problem, RecordError, UsageError


def run(options: argparse.Namespace) -> None:
    """Do what ``options.act`` says."""
    _refuse_no_case(options)
    _ACTS[options.act](options)


def _refuse_no_case(options: argparse.Namespace) -> None:
    """Whoever types the patient's name here is told before it goes anywhere."""
    subject = getattr(options, "subject", None)
    if subject is not None and not re.fullmatch("case-[0-9a-f]{16}", subject):
        remedy = "consent record list names every case, such as case-0123456789abcdef"
        raise UsageError(Problem("this is not the name of a case in the record", subject, remedy=remedy))


def _init(options: argparse.Namespace) -> None:
    from consent.clinic import read_clinic
    from consent.record.keeping_certificate import keep_local_certificate
    from consent.record.place import make_record

    place = record_place(options.record)
    record = make_record(place, read_clinic(clinic_path(options.clinic)))
    fingerprint = keep_local_certificate(record)
    out.data(str(place.folder))
    out.chatter(f"The seal of this clinic is a local certificate made on this machine. Its fingerprint: {fingerprint}")
    out.chatter(f"Keep a copy of {place.key_file} where nobody but you can read it: without it, nothing can be opened.")
    out.chatter("Next: consent account add LOGIN --name NAME --role lead")


def _list(options: argparse.Namespace) -> None:
    from consent.record.cases import all_cases

    record = find_record(options.record, options.clinic)
    rows = [_summary(case) for case in all_cases(record)]
    if options.json:
        out.as_json(rows)
        return
    for row in rows:
        who = f"{row['patient']} ({row['record_number']}), {row['eye']} eye" if row["patient"] else "identity erased"
        out.data(f"{row['case']}  {row['state']:<11}  version {row['version']}  entry {row['last_entry']}  {who}")


def _summary(case: Any) -> dict[str, Any]:
    patient = case.data.get("patient", {})
    return {
        "case": case.subject,
        "state": case.state.value,
        "version": case.version,
        "patient": patient.get("name"),
        "record_number": patient.get("record_number"),
        "eye": case.data.get("eye", {}).get("side"),
        "last_entry": case.sequence,
    }


def _open(options: argparse.Namespace) -> None:
    from consent.case import read_case
    from consent.record.entering import open_new

    record = find_record(options.record, options.clinic)
    case = read_case(Path(options.case))
    accepted, bare = case.figures_accepted, case.model_copy(update={"figures_accepted": None})
    recorded = open_new(record, _who(record, options), bare)
    out.data(recorded.case.subject)
    number = recorded.entry.sequence
    out.chatter(f"Opened as entry {number}: a step that changes the case by this file takes --seen {number}.")
    if accepted is not None:
        out.chatter("Left out: figures_accepted. The surgeon accepts the figures in the record, as they are then.")


def _enter(options: argparse.Namespace) -> None:
    from consent.record.act import Act
    from consent.record.cases import read_case_state
    from consent.record.entering import enter

    _refuse_unseen(options)
    record = find_record(options.record, options.clinic)
    account, password = _login(record, options)
    seen = read_case_state(record, options.subject).sequence if options.seen is None else options.seen
    data = None if options.case is None else _case_data(record, options, seen)
    act = Act(options.kind, seen, data, options.reason, _details(options.detail))
    recorded = enter(record, account, options.subject, act, password)
    for entry in recorded.meanwhile:
        touched = ", ".join(entry.body.get("touched", ()))
        out.chatter(f"Meanwhile {entry.person} recorded {entry.kind}: {touched}. Both are kept.")
    if recorded.meanwhile and data is not None:
        out.chatter("Your file does not hold it: write it in before the next step (consent record show --json).")
    out.data(f"entry {recorded.entry.sequence}: {recorded.case.state}")
    if recorded.entry.body.get("voids"):
        changed = ", ".join(recorded.entry.body["changes"])
        out.chatter(f"The papers signed before are void{f': {changed} would say something else' if changed else ''}.")


def _refuse_unseen(options: argparse.Namespace) -> None:
    """A file says how the case was when it was written; only ``--seen`` tells what others entered since."""
    if options.case is not None and options.seen is None:
        raise UsageError(
            Problem(
                "the case is given without the last entry that was seen of it",
                "--seen",
                "whatever others entered after the file was written would be taken back without a word",
                "give the number that consent record open, enter, list or show printed when the file was written",
            )
        )


def _case_data(record: Any, options: argparse.Namespace, seen: int) -> Mapping[str, Any]:
    """The case as it was seen, with those parts from the file that an entry of this kind changes."""
    from consent.case import read_case
    from consent.record.cases import read_case_state
    from consent.record.moves import move
    from consent.record.patch import merge, parted
    from consent.record.state import data_of

    own = move(options.kind).parts
    rest, _ = parted(read_case_state(record, options.subject, seen).data, own)
    _, given = parted(data_of(read_case(Path(options.case))), own)
    data: Mapping[str, Any] = merge(rest, given)
    return data


def _details(given: list[str]) -> dict[str, str]:
    details = {}
    for one in given:
        name, sign, value = one.partition("=")
        if not sign:
            raise UsageError(Problem(f'"{one}" is not NAME=VALUE', "--detail", remedy="write it such as how=signature"))
        details[name] = value
    return details


def _points(options: argparse.Namespace) -> None:
    from consent.record.cases import read_case_state
    from consent.record.making import look

    record = find_record(options.record, options.clinic)
    problems = list(look(record, read_case_state(record, options.subject)))
    if options.json:
        out.as_json([vars(problem) for problem in problems])
        return
    for problem in problems:
        out.data(str(problem))
    out.chatter("Nothing stands in the way of a sign-off." if not problems else f"{len(problems)} in the way.")


def _show(options: argparse.Namespace) -> None:
    from consent.record.cases import read_case_state
    from consent.record.telling import as_data, as_text

    record = find_record(options.record, options.clinic)
    case = read_case_state(record, options.subject, options.at)
    if options.json:
        out.as_json(as_data(case))
    else:
        for line in as_text(case, record.clinic):
            out.data(line)
    if options.to:
        from consent.print import to_pdf
        from consent.record.sheet import record_sheet

        sheet = record_sheet(record, case, options.language or record.clinic.language)
        out.file(Path(options.to), to_pdf(sheet, record.clinic.digits))
        out.chatter(f"Printed to {options.to}.")


def _papers(options: argparse.Namespace) -> None:
    from consent.commands import papers

    papers.run(options)


def _check(options: argparse.Namespace) -> None:
    from consent.record.checking import check_record

    record = find_record(options.record, options.clinic)
    found = check_record(record)
    if options.noted:
        found = replace(found, problems=(*found.problems, *_noted(record, options.noted)))
    sequence, digest = found.last
    if options.json:
        problems = [vars(problem) for problem in found.problems]
        counts = {"entries": found.entries, "cases": found.cases, "papers": found.papers}
        out.as_json({**counts, "last": {"sequence": sequence, "hash": digest}, "problems": problems})
    else:
        out.data(f"{found.entries} entries, {found.cases} cases, {found.papers} signed papers")
        out.data(f"last entry {sequence}:{digest}")
    if found.problems:
        raise RecordError(found.problems)
    out.chatter("Everything holds together. Note the last entry elsewhere: a later check takes it with --noted.")


def _noted(record: Any, noted: str) -> tuple[Problem, ...]:
    """A problem where the entry that was noted elsewhere is no longer the one that stands in the ledger."""
    from consent.record.ledger import stored_hash

    number, _, digest = noted.partition(":")
    if not re.fullmatch("[0-9]{1,9}:[0-9a-f]{64}", noted):
        remedy = "give it as consent record check printed it, such as 120:3fa0..."
        raise UsageError(Problem(f'"{noted}" is not the number and the digest of an entry', "--noted", remedy=remedy))
    with record.store.reading() as connection:
        there = stored_hash(connection, int(number))
    if there == digest:
        return ()
    return (
        Problem(
            f"entry {number} is {'not there' if there is None else 'another one'}",
            "ledger",
            "an older copy of the record was put in its place, or a new chain was written with its key",
            "stop writing, keep this record as it is, and look for the newer one and the last backup",
        ),
    )


def _erase(options: argparse.Namespace) -> None:
    from consent.record.erasure import erase

    record = find_record(options.record, options.clinic)
    account, password = _login(record, options)
    early = options.before_retention
    done = erase(record, account, options.subject, password, options.reason, options.everything, early)
    entry = done.recorded.entry
    out.data(f"entry {entry.sequence}: destroyed {', '.join(entry.body['destroyed'])}")
    if entry.body["ground"] != options.reason:
        out.chatter(
            f"Kept as the ground: {entry.body['ground']}. Nobody can tell any more whether yours names somebody."
        )
    if not done.cleared:
        out.chatter("The keys are destroyed, but their old bytes are still in the files of the store: somebody was")
        out.chatter("using it. They go with the next erasure. Until then copy none of these files; backups are clean.")
    out.chatter("Backups made before still hold it, and so do papers handed out. Staff names stay in the chain.")


def _upgrade(options: argparse.Namespace) -> None:
    from consent.record.keys import read_master_key
    from consent.record.migrate import upgrade_store
    from consent.record.store import server_store, sqlite_store

    place = record_place(options.record)
    store = server_store(place.address) if place.address else sqlite_store(place.file)
    upgrade_store(store, read_master_key(place.key_file))
    out.chatter("The record is of this program's version. Run consent record check.")


def _clock(options: argparse.Namespace) -> None:
    from consent.record.ledger import CLOCK_SUBJECT, append
    from consent.record.login import identify
    from consent.record.moves import Role

    record = find_record(options.record, options.clinic)
    account = identify(record, options.login, ask(f"password of {options.login}"), clock_was_set=True)
    if Role.LEAD not in account.roles:
        remedy = "ask the clinic lead"
        raise AccessError(Problem("only a clinic lead says that the clock was put right", options.login, remedy=remedy))
    by, body = account.person, {"reason": options.reason}
    with record.store.writing() as connection:
        now = record.clock()
        told = ("clock-put-right", CLOCK_SUBJECT, body, now)
        entry = append(connection, record.key, by, Role.LEAD, *told, clock_was_set=True)
    out.data(f"entry {entry.sequence}: {entry.at:%Y-%m-%d %H:%M:%S} UTC")


def _certificate(options: argparse.Namespace) -> None:
    from consent.commands import certificate

    certificate.run(options)


def _who(record: Any, options: argparse.Namespace) -> Any:
    return _login(record, options)[0]


def _login(record: Any, options: argparse.Namespace) -> tuple[Any, str]:
    from consent.record.login import identify

    password = ask(f"password of {options.login}")
    return identify(record, options.login, password), password


_ACTS: dict[str, Callable[[argparse.Namespace], None]] = {
    "init": _init,
    "list": _list,
    "open": _open,
    "enter": _enter,
    "points": _points,
    "show": _show,
    "papers": _papers,
    "erase": _erase,
    "certificate": _certificate,
    "upgrade": _upgrade,
    "check": _check,
    "clock": _clock,
}
