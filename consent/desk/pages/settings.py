"""The clinic's settings: asked one by one, or as the text of the file, with everything they ever were."""

from __future__ import annotations

import difflib
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

from litestar.response import Template
from markupsafe import Markup

from consent.clinic import Clinic
from consent.desk.clinic_file import checked, data_of_text, own_file, take, text_of, with_values
from consent.desk.entry import Entered, read_entry
from consent.desk.fields import Field, fields_of
from consent.desk.form import Form, Sent
from consent.desk.here import Here, Visitor
from consent.desk.options import options
from consent.desk.questions import Asking
from consent.desk.routes import entered, shown
from consent.desk.typed import NOTHING, at
from consent.drops.formulary import read_formulary
from consent.drops.regimens import read_regimens
from consent.errors import ConflictError, ConsentError, Problem
from consent.language import Quoted, Said
from consent.record.moves import Role
from consent.record.patch import difference, merge, overlap, paths
from consent.record.settings_kept import Kept, history
from consent.resources import package_data
from consent.wording import remark

LEAD = (Role.LEAD,)
GROUPS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("clinic", ("name", "place", "address", "telephone", "language", "digits", "week_starts_on")),
    ("day", ("before", "operation_minutes", "day_marks")),
    ("after", ("aftercare", "drops")),
    ("law", ("profile", "population", "retention_years", "personal_data")),
)
"""What is asked one by one; the rest of the settings stands in the text of the file."""
LONGEST = 200_000
VERSION = "version"
"""Hidden field: the last entry that kept settings when the page was shown."""


def _fields() -> tuple[Field, ...]:
    wanted = [name for _, names in GROUPS for name in names]
    every = fields_of(Clinic, "", "setting")
    return tuple(one for name in wanted for one in every if one.path == name or one.path.startswith(f"{name}."))


@shown("/lead/settings", LEAD)
def show_settings(here: Here, kept: int = 0) -> Template:
    """The settings, and what the change ``kept`` was."""
    return _page(here, kept=kept)


@entered("/lead/settings", LEAD)
def keep_some(here: Here, form: Form) -> Any:
    """Keep what was changed of the questions; the file keeps its comments, and the ledger what it was before."""
    path = own_file(here.office)
    if path is None:
        return _page(here, status=409)
    before, seen = text_of(path), _seen(here, form)
    read = read_entry(form, _fields(), data_of_text(seen if seen is not None else before), here.office.zone, Clinic)
    if read.faults:
        return _page(here, form, read, status=422)
    try:
        after = with_values(before, read.data if seen is None else _on_top(seen, before, read.data), _fields())
        if after != before:
            take(here.office, here.me, before, after, form.text("why") or here.words.plain("settings.no-reason"))
    except ConflictError as error:
        return _page(here, form, _held_back(seen or before, before, read), error.problems, 409)
    except ConsentError as error:
        return _page(here, form, read, error.problems, 422)
    return _kept(here, after != before)


def _seen(here: Visitor, form: Sent) -> str | None:
    """The settings as they stood on the page of ``form``, where another lead has kept others since; else none."""
    versions = history(here.office.record)
    shown = form.whole(VERSION)
    if not versions or not form.has(VERSION) or versions[0].sequence == shown:
        return None
    return next((one.text for one in versions if one.sequence == shown), versions[-1].text)


def _on_top(seen: str, now: str, wanted: Mapping[str, Any]) -> dict[str, Any]:
    """What was changed from ``seen`` to ``wanted``, put on top of ``now``. ``ConflictError`` where both touch a key."""
    base, theirs = data_of_text(seen), data_of_text(now)
    ours = difference(base, wanted)
    if overlap(tuple(paths(ours)), tuple(paths(difference(base, theirs)))):
        raise _conflict()
    return dict(merge(theirs, ours))


def _held_back(seen: str, now: str, read: Entered) -> Entered:
    """``read`` with all that was typed in its place, and beside what another lead changed too what it is now."""
    base, theirs = data_of_text(seen), data_of_text(now)
    ours = tuple(paths(difference(base, read.data)))
    both = overlap(ours, tuple(paths(difference(base, theirs))))
    faults = {path: remark("entry.clash", theirs=Quoted(str(at(theirs, path)))) for path in both}
    return replace(read, faults={**read.faults, **faults}, held_back=read.held_back | set(ours))


def _conflict() -> ConflictError:
    said = remark("problem.settings-meanwhile")
    return ConflictError(Problem("the settings were changed meanwhile", "settings", said=said))


@shown("/lead/settings/text", LEAD)
def show_text(here: Here, version: int = 0, add: str = "") -> Template:
    """The text of the file, else of the shipped one; ``version`` puts in what it was then, ``add`` a regimen or a drug
    to be changed. Not kept until somebody keeps it."""
    path = own_file(here.office)
    text = text_of(path or package_data("clinic", "demo.toml"))
    if version:
        text = next((kept.text for kept in history(here.office.record) if kept.sequence == version), text)
    return _text_page(here, text + _addition(add))


@entered("/lead/settings/text", LEAD, largest=2 * LONGEST)
def keep_text(here: Here, form: Form) -> Any:
    """Keep the whole text, once everything in it can be used."""
    text = form.raw("text").replace("\r\n", "\n")
    path = own_file(here.office)
    try:
        if path is None:
            return _text_page(here, text, status=409)
        if form.text("do") == "check":
            checked(text)
            return _text_page(here, text, fine=True, changed=_changed(text_of(path), text))
        if _seen(here, form) is not None:
            return _text_page(here, text, _conflict().problems, 409, changed=_changed(text_of(path), text))
        take(here.office, here.me, text_of(path), text, form.text("why") or here.words.plain("settings.no-reason"))
    except ConsentError as error:
        return _text_page(here, text, error.problems, 422)
    return _kept(here, True)


def _kept(here: Visitor, changed: bool) -> Any:
    """Back to the settings, which say what was kept; or that nothing was changed."""
    last = history(here.office.record)[0].sequence if changed else 0
    return here.go(f"/lead/settings?kept={last or -1}")


def _changed(before: str, after: str) -> list[str]:
    lines = difflib.unified_diff(before.splitlines(), after.splitlines(), "", "", n=0, lineterm="")
    return [line for line in lines if not line.startswith(("---", "+++", "@@"))]


def _addition(name: str) -> str:
    """The table of the shipped regimen ``name`` as TOML, to be changed into the house's own."""
    import tomlkit

    from consent.drops.regimens import shipped_tables

    table = shipped_tables().get(name)
    if table is None:
        return ""
    return "\n" + tomlkit.dumps({"regimens": {name: table}})


@shown("/lead/drops", LEAD)
def show_drops(here: Here) -> Template:
    """Every regimen and every drug, with what each rests on, and which of them are the house's own."""
    clinic = here.office.record.clinic
    formulary = read_formulary(clinic)
    return here.page(
        "house-drops.html",
        regimens=read_regimens(clinic, formulary),
        formulary=formulary,
        own=set(clinic.regimens) | set(clinic.formulary),
        changeable=own_file(here.office) is not None,
    )


def _page(
    here: Visitor,
    form: Sent | None = None,
    read: Entered | None = None,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
    kept: int = 0,
) -> Template:
    path = own_file(here.office)
    data = data_of_text(text_of(path)) if path else here.office.record.clinic.model_dump(mode="json", by_alias=True)
    asking = Asking(here.words, data, here.office.zone, _options(here), form, read)
    groups = [(name, asking.questions(one for one in _fields() if _in(one, names))) for name, names in GROUPS]
    versions = history(here.office.record)
    changes = [_changed_lines(here, older.text, newer.text) for newer, older in pairwise(versions)] + [()]
    told = list(zip(versions, changes, strict=True)) if versions else []
    return here.page(
        "settings.html",
        status,
        groups=groups,
        own=path,
        problems=problems,
        history=told,
        kept=kept,
        version=_version(versions),
    )


def _changed_lines(here: Visitor, before: str, after: str) -> tuple[Markup, ...]:
    """What differs between two versions: each setting by its name, from and to."""
    old, new = data_of_text(before), data_of_text(after)
    found = []
    for path in paths(difference(old, new)):
        name = here.words.say(f"setting.{path}") if here.words.has(f"setting.{path}") else here.words.typed(path)
        values = [here.words.typed(_written(at(data, path), here)) for data in (old, new)]
        found.append(
            here.words.say(
                "settings.from-to", name=Said(name, name), old=Said(*values[:1] * 2), new=Said(*values[1:] * 2)
            )
        )
    return tuple(found)


def _written(value: Any, here: Visitor) -> str:
    if value is NOTHING:
        return here.words.plain("entry.nothing")
    return ", ".join(str(one) for one in value.values()) if isinstance(value, dict) else str(value)


def _options(here: Visitor) -> Any:
    return {**options(here.office), "drops.regimen": options(here.office)["plan.regimen"]}


def _in(field: Field, names: tuple[str, ...]) -> bool:
    return any(field.path == name or field.path.startswith(f"{name}.") for name in names)


def _text_page(
    here: Visitor,
    text: str,
    problems: tuple[Problem, ...] = (),
    status: int = 200,
    fine: bool = False,
    changed: list[str] | None = None,
) -> Template:
    return here.page(
        "settings-text.html",
        status,
        text=text,
        own=own_file(here.office),
        problems=problems,
        fine=fine,
        changed=changed or [],
        version=_version(history(here.office.record)),
    )


def _version(versions: Sequence[Kept]) -> int:
    """The last entry that kept settings; 0 where there is none."""
    return versions[0].sequence if versions else 0


HANDLERS = [show_settings, keep_some, show_text, keep_text, show_drops]
