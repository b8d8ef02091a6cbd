"""Which drops hold now, and the name of a course of drops in the language of the page."""

from __future__ import annotations

from consent.desk.words import Words
from consent.drops.formulary import read_formulary
from consent.drops.regimens import Regimen, read_regimens, shipped_tables
from consent.language import Quoted, Said
from consent.review import Assessment


def regimen_now(assessment: Assessment) -> Regimen:
    """What drops are given by from now on: what was ordered last, else the plan, else what is put forward."""
    changes = assessment.case.drop_changes
    found = read_regimens(assessment.clinic, read_formulary(assessment.clinic))
    return found.get(changes[-1].regimen, assessment.drops.regimen) if changes else assessment.drops.regimen


def course(regimen: Regimen, words: Words) -> Said | Quoted:
    """The title of ``regimen``; one that the house wrote stays as it wrote it."""
    name = f"course.{regimen.id}"
    shipped = shipped_tables().get(regimen.id, {}).get("title")
    return words.said(name) if regimen.title == shipped and words.has(name) else Quoted(regimen.title)
