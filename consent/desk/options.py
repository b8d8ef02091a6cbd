"""Closed lists that come from the clinic: its drugs, its regimens, its surgeons."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator

from consent.desk.office import Office
from consent.desk.questions import Groups, Options
from consent.desk.words import Words
from consent.drops.formulary import Drug, Formulary, read_formulary
from consent.drops.regimens import read_regimens
from consent.errors import ConsentError
from consent.record.accounts import read_accounts
from consent.record.state import CaseState

_OWN, _CAPS = "own_drops.drug", "caps_seen.drug"


def options(office: Office, words: Words | None = None, case: CaseState | None = None) -> Options:
    """What can be chosen, by the path of the question. Drugs of one name are told apart in ``words``; of ``case`` only
    the caps of bottles that the patient has are asked for."""
    clinic = office.record.clinic
    formulary = read_formulary(clinic)
    every = _drugs(formulary, words)
    regimens = tuple((name, regimen.title) for name, regimen in read_regimens(clinic, formulary).items())
    with office.record.store.reading() as connection:
        accounts = read_accounts(connection, office.record.key).values()
    surgeons = tuple((one.name, one.name) for one in accounts if one.signs)
    bottles = _bottles(office, case) if case is not None else None
    return {
        **({"plan.surgeon.name": surgeons} if surgeons else {}),
        _OWN: tuple(sorted(every, key=lambda one: not formulary[one[0]].lowers_pressure)),
        _CAPS: tuple(one for one in every if bottles is None or one[0] in bottles),
        "other_eye.regimen": regimens,
        "plan.regimen": regimens,
        "done.regimen": regimens,
    }


def groups(office: Office) -> Groups:
    """Under which heading each drug stands: those for glaucoma first among the drops used for long."""
    formulary = read_formulary(office.record.clinic)
    return {_OWN: {name: f"drug.group.{_group(drug)}" for name, drug in formulary.items()}}


def _group(drug: Drug) -> str:
    return "glaucoma" if drug.lowers_pressure else "other"


def _drugs(formulary: Formulary, words: Words | None) -> tuple[tuple[str, str], ...]:
    """Every drug by name, and after it what tells it from others that read alike."""
    alike = Counter(drug.name for drug in formulary.values())
    twins = {name: drug for name, drug in formulary.items() if alike[drug.name] > 1}
    named = {
        name: f"{drug.name} ({', '.join(_apart(drug, twins.values(), words))})"
        if name in twins and words
        else drug.name
        for name, drug in formulary.items()
    }
    return tuple(sorted(named.items(), key=lambda one: (one[1].casefold(), one[0])))


def _apart(drug: Drug, twins: Iterable[Drug], words: Words) -> Iterator[str]:
    """What ``drug`` is, as far as not all of its name are: its form, what it comes in, whether it has a preservative;
    its id where that says nothing."""
    same = [one for one in twins if one.name == drug.name]
    if len({one.form for one in same}) > 1:
        yield words.plain(f"drug.form.{drug.form}")
    elif len({_vessel(one) for one in same}) > 1:
        yield words.plain(f"drug.in.{_vessel(drug)}")
    if drug.preservative == "none" and any(one.preservative != "none" for one in same):
        yield words.plain("drug.no-preservative")
    if [_traits(one) for one in same].count(_traits(drug)) > 1:
        yield drug.id


def _traits(drug: Drug) -> tuple[str, str, bool]:
    return drug.form, _vessel(drug), drug.preservative == "none"


def _vessel(drug: Drug) -> str:
    return "single" if drug.unit_dose else "tube" if drug.doses_per_tube else "bottle"


def _bottles(office: Office, case: CaseState) -> frozenset[str] | None:
    """The drugs that are ordered in ``case``, its long-standing drops, and those whose cap was seen already; None where
    that cannot be worked out."""
    own = {one["drug"] for path in ("own_drops", "caps_seen") for one in case.data.get(path, ())}
    try:
        plan = office.shelf.assessment(case).drops
    except ConsentError:
        return None
    return frozenset(own | {row.drug.id for row in plan.rows})
