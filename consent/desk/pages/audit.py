"""The clinic's own past cases, held against what the model expected of them."""

from __future__ import annotations

import tempfile
from pathlib import Path
from typing import Any

from litestar import Response
from litestar.response import Template
from markupsafe import Markup

from consent.desk.audit_columns import empty_file, heading, helpful_columns, needed_columns
from consent.desk.clinic_file import own_file, take, text_of
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.routes import entered, shown
from consent.desk.told import fault
from consent.errors import ConsentError, Problem, UsageError
from consent.language import Quoted
from consent.record.moves import Role
from consent.risk.audit.finding import Found, audit_of, audit_to_keep, too_few
from consent.risk.audit.picture import calibration_svg
from consent.risk.audit.report import (
    calibration_summary,
    case_lines,
    group_table,
    method_lines,
    picture_lines,
    surgeon_table,
)
from consent.risk.audit.settings import audit_snippet, with_audit
from consent.wording import remark

LEAD = (Role.LEAD,)
LARGEST = 5_000_000
_KINDS = (".csv", ".xlsx", ".ods")


@shown("/lead/audit", LEAD)
def show_audit(here: Here) -> Template:
    return _page(here)


@entered("/lead/audit", LEAD, largest=LARGEST)
def read_audit(here: Here, form: Form) -> Any:
    """Read the file, show what follows, and put it into the settings if that was asked for. The file is not kept.

    An empty file to fill in is handed out where that was asked for.
    """
    if form.text("do") == "empty-file":
        headers = {"content-disposition": 'attachment; filename="past-cases.csv"'}
        return Response(empty_file(), media_type="text/csv; charset=utf-8", headers=headers)
    try:
        found = _found(here, form)
        if form.text("keep") == "yes":
            _keep(here, found)
    except ConsentError as error:
        return _page(here, problems=error.problems, status=422)
    return _page(here, found, kept=form.text("keep") == "yes")


def _found(here: Visitor, form: Sent) -> Found:
    sent = next((file for name, file in form.files if name == "file"), None)
    suffix = Path(sent.filename).suffix.lower() if sent else ""
    if sent is None or not sent.filename:
        remedy, said = "choose a file: CSV, XLSX or ODS", remark("problem.no-file")
        raise UsageError(Problem("no file of past cases was given", "file", "", remedy, said))
    if suffix not in _KINDS:
        raise UsageError(fault("audit.wrong-kind", file=Quoted(Path(sent.filename).name[:60])))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"cases{suffix}"
        path.write_bytes(sent.file.read(LARGEST))
        return audit_of(path, here.office.record.clinic, form.text("years")[:200])


def _keep(here: Visitor, found: Found) -> None:
    path = own_file(here.office)
    if path is None:
        said = remark("problem.settings-fixed")
        raise UsageError(Problem("these settings cannot be changed here", "settings", said=said))
    before = text_of(path)
    after = with_audit(before, audit_to_keep(found), path.name)
    take(here.office, here.me, before, after, here.words.plain("audit.why"))


def _page(
    here: Visitor,
    found: Found | None = None,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
    kept: bool = False,
) -> Template:
    return here.page(
        "audit.html",
        status,
        problems=problems,
        now=here.office.record.clinic.audit,
        changeable=own_file(here.office) is not None,
        kept=kept,
        lines=case_lines(found.cases, found.benchmark) if found else (),
        needed=[heading(one) for one in needed_columns()],
        helpful=[heading(one) for one in helpful_columns()],
        few=too_few(found) if found and found.audit is None else None,
        **_calibrated(found),
    )


def _calibrated(found: Found | None) -> dict[str, Any]:
    if found is None or found.calibration is None or found.audit is None:
        return {"summary": (), "tables": (), "picture": None, "reading": (), "method": (), "snippet": ""}
    tables = (surgeon_table(found.calibration), group_table(found.calibration))
    return {
        "summary": calibration_summary(found.calibration),
        "tables": tuple(one for one in tables if one is not None),
        "picture": Markup(calibration_svg(found.calibration)),  # noqa: S704  drawn by us, from numbers
        "reading": picture_lines(found.calibration)[-1:],
        "method": method_lines(),
        "snippet": audit_snippet(found.audit),
    }


HANDLERS = [show_audit, read_audit]
