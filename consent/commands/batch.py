"""``consent batch``: a whole list of patients."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from consent.case.listing import write_template
from consent.clinic import Clinic, read_clinic
from consent.commands import out
from consent.commands.batch_list import Patients, read_patients
from consent.commands.prepare import wanted_sheets
from consent.commands.settings import clinic_path
from consent.errors import CaseError, Problem, UnfinishedError, UsageError
from consent.pack.batch import Batch, Elsewhere, Order, Told, run_batch
from consent.pack.batch_job import Finished
from consent.pack.day_sheets import DaySheets, write_day_sheets
from consent.pack.print_file import write_print_files

STOPPED = 130
SET_ASIDE = "set-aside.csv"


def run(options: argparse.Namespace) -> None:
    """Make the list; ``UnfinishedError`` at the end where somebody on it has no papers."""
    if options.template:
        write_template(Path(options.template))
        out.data(options.template)
        return
    _refuse_half_an_order(options)
    patients = read_patients(options)
    if options.preview:
        for line in patients.told:
            out.data(line)
        return
    made = _make(patients, options)
    _say(made, patients, options)
    _refuse_unfinished(made, patients)


def _refuse_half_an_order(options: argparse.Namespace) -> None:
    if options.list is None:
        raise UsageError(Problem("there is no list", "LIST", remedy="name a list, or ask for one with --template"))
    if options.to is None and not options.preview:
        raise UsageError(Problem("there is no folder to make the packs in", "--to", remedy="name one, or --preview"))
    if options.urgent and not options.cluster:
        raise UsageError(
            Problem("there is nobody to be ahead of", "--urgent", remedy="name a --cluster, or leave it out")
        )
    if options.processes < 1:
        raise UsageError(Problem("somebody has to do the work", "--processes", remedy="give a number from 1"))


class Made:
    """What came of a list: its packs, its print files and the lists of its days."""

    batch: Batch
    printed: tuple[Path, ...] = ()
    lists: DaySheets = DaySheets((), ())


def _make(patients: Patients, options: argparse.Namespace) -> Made:
    clinic, root = read_clinic(clinic_path(options.clinic)), Path(options.to)
    _keep_set_aside(patients, options, root)
    if not patients.cases:
        what = "no row of the list can be used"
        raise CaseError(Problem(what, str(options.list), remedy="--preview says row by row what is wrong"))
    made = Made()
    order = Order(
        options.processes, tuple(options.language), wanted_sheets(options.sheet), only_changed=options.only == "changed"
    )
    try:
        with _progress() as told:
            now = datetime.now().astimezone()
            follow = _what_follows(made, clinic, options)
            there = _elsewhere(options)
            made.batch = run_batch(patients.cases, clinic, root, now, order, told, elsewhere=there, after=follow)
    except KeyboardInterrupt:
        out.chatter("Stopped. What is made is kept; the same command goes on from here.")
        raise SystemExit(STOPPED) from None
    return made


def _elsewhere(options: argparse.Namespace) -> Elsewhere | None:
    """The workers of a cluster, where one is named."""
    from consent.commands.cluster_options import cluster

    found = cluster(options)
    if found is None:
        return None
    from consent.cluster.lead import make_all_there
    from consent.cluster.queue import Priority

    priority = Priority.DESK if options.urgent else Priority.LIST
    return partial(make_all_there, found, priority=priority, nobody=_nobody_works)


def _nobody_works() -> None:
    out.chatter("No worker has finished anything for half a minute. Workers of this same version must be running:")
    out.chatter("  consent worker --cluster ... --cluster-key ...   (Ctrl-C here loses nothing.)")


def _what_follows(made: Made, clinic: Clinic, options: argparse.Namespace) -> Callable[[Batch], None]:
    def follow(batch: Batch) -> None:
        made.printed = write_print_files(batch, clinic, not options.simplex)
        made.lists = write_day_sheets(batch, clinic)

    return follow


def _keep_set_aside(patients: Patients, options: argparse.Namespace, root: Path) -> None:
    """Rows set aside are kept before anything else is done, and an earlier file of them does not outlive its list."""
    from consent.pack.files import make_folder

    make_folder(root)
    path = Path(options.set_aside) if options.set_aside else root / SET_ASIDE
    if patients.csv is not None:
        out.file(path, patients.csv.encode("utf-8-sig"))
        out.chatter(f"{len(patients.set_aside)} rows are set aside, with their reasons: {path}")
    elif not options.set_aside:
        path.unlink(missing_ok=True)


@contextmanager
def _progress() -> Iterator[Told]:
    """A bar with the time left on stderr; nothing where that is no terminal."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

    columns = (TextColumn("patients"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn(compact=True))
    is_shown = sys.stderr.isatty()
    with Progress(*columns, console=Console(stderr=True), disable=not is_shown, transient=True) as bar:
        task = bar.add_task("patients", total=None)

        def told(finished: Finished | None, done: int, count: int) -> None:
            if finished is None:
                bar.reset(task, total=count - done)
                _say_kept(done, count)
            else:
                bar.advance(task)

        yield told


def _say_kept(kept: int, count: int) -> None:
    if kept:
        out.chatter(f"{kept} of {count} packs are there already and stay as they are.")


def _say(made: Made, patients: Patients, options: argparse.Namespace) -> None:
    batch = made.batch
    if options.json:
        out.as_json(_as_json(made, patients))
    else:
        for path in (*made.printed, *made.lists.paths):
            out.data(str(path))
    if batch.no_longer:
        out.chatter(
            f"{len(batch.no_longer)} packs in {batch.root} are of patients who are not on this list. They stay."
        )
    out.chatter(f"Made: {len(batch.results) - batch.kept - len(_failed(batch))}. Kept: {batch.kept}.")
    out.chatter("Drafts for review by the licensed clinician. Lists and slips name several patients: for staff.")


def _failed(batch: Batch) -> list[tuple[str, tuple[Problem, ...]]]:
    """Record number and reasons of each patient without a pack."""
    pairs = zip(batch.cases, batch.results, strict=True)
    return [(case.patient.record_number, result.problems) for case, result in pairs if not result.is_made]


def _as_json(made: Made, patients: Patients) -> dict[str, Any]:
    batch = made.batch
    return {
        "made_at": batch.made_at.isoformat(),
        "kept": batch.kept,
        "patients": [
            {
                "record_number": case.patient.record_number,
                "eye": case.eye.side,
                "date": case.plan.date.isoformat(),
                "folder": str(batch.folder(at)) if result.is_made else None,
                "stops": list(result.stops),
                "asks": list(result.asks),
                "lacking": list(result.lacking),
                "problems": [str(problem) for problem in result.problems],
            }
            for at, (case, result) in enumerate(zip(batch.cases, batch.results, strict=True))
        ],
        "set_aside": list(patients.set_aside),
        "no_longer": [str(path) for path in batch.no_longer],
        "print_files": [str(path) for path in made.printed],
        "lists": [str(path) for path in made.lists.paths],
        "left_off_lists": list(made.lists.left_off),
    }


def _refuse_unfinished(made: Made, patients: Patients) -> None:
    problems = [Problem(row, "set aside", remedy="correct it and give it back") for row in patients.set_aside]
    for number, found in _failed(made.batch):
        problems += [Problem(one.what, f"record {number}", one.why, one.remedy) for one in found]
    for case, result in zip(made.batch.cases, made.batch.results, strict=True):
        if result.lacking:
            what = f"the consent form lacks what it must hold: {', '.join(result.lacking)}"
            remedy = "enter it in the case or the clinic's settings; the surgeon's review lists every element"
            problems.append(Problem(what, f"record {case.patient.record_number}", remedy=remedy))
    for number in made.lists.left_off:
        what = "this patient could not be put on the lists of the day"
        problems.append(Problem(what, f"record {number}", remedy="write the name in by hand"))
    if problems:
        raise UnfinishedError(problems)
