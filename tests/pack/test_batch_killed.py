"""A list killed with all its processes at random moments, and gone on with, ends as if nobody had touched it."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from consent.clinic import Clinic
from consent.pack.batch_job import read_finished
from tests.pack.list_work import work
from tests.pack.test_batch import digests, moments

ROOT = Path(__file__).resolve().parents[2]
COUNT = 4
SMALL, REAL = ("separate-choices",), ("consent-form", "going-home")


def _begin(root: Path, count: int, sheets: tuple[str, ...]) -> subprocess.Popen[bytes]:
    command = [sys.executable, "-m", "tests.pack.list_work", str(root), str(count), ",".join(sheets)]
    with (root.parent / "said.txt").open("ab") as said:
        return subprocess.Popen(command, cwd=ROOT, stdout=said, stderr=said, start_new_session=True)


def _killed(root: Path, count: int, sheets: tuple[str, ...], after: float) -> bool:
    """Kill the run and every process of it ``after`` seconds; whether it was still at work."""
    run = _begin(root, count, sheets)
    time.sleep(after)
    is_running = run.poll() is None
    if is_running:
        os.killpg(run.pid, signal.SIGKILL)
    run.wait()
    return is_running


def _whole(root: Path) -> set[str]:
    folders = (root / "patients").glob("p-*")
    return {folder.name for folder in folders if read_finished(folder) is not None}


@pytest.mark.slow
@pytest.mark.parametrize(("count", "sheets", "kills", "longest"), [(COUNT, SMALL, 20, 2.2), (2, REAL, 2, 5.0)])
def test_killed_at_random_moments_it_ends_byte_for_byte_the_same_and_does_nothing_twice(
    count: int, sheets: tuple[str, ...], kills: int, longest: float, tmp_path: Path, clinic: Clinic
) -> None:
    dice = random.Random(12)
    (tmp_path / "calm").mkdir()
    work(tmp_path / "calm" / "list", count, sheets)
    root = tmp_path / "killed" / "list"
    root.mkdir(parents=True)
    whole, times = set[str](), dict[str, int]()
    at_work = 0
    for _ in range(kills):
        at_work += _killed(root, count, sheets, dice.uniform(0.3, longest))
        for folder in (root / "patients").glob("p-*"):
            assert read_finished(folder) is not None
        assert whole <= _whole(root)
        assert times.items() <= moments(root).items()
        whole, times = _whole(root), moments(root)
    assert at_work >= kills // 4
    assert work(root, count, sheets).kept >= len(whole)
    assert times.items() <= moments(root).items()
    assert digests(root) == digests(tmp_path / "calm" / "list")
    assert not [path for path in root.rglob(".*") if path.name not in (".in-use", ".working")]


@pytest.mark.slow
def test_a_process_whose_parent_was_killed_ends_before_the_next_run_begins(tmp_path: Path) -> None:
    """Else it would go on writing to a folder that somebody else sweeps."""
    root = tmp_path / "list"
    root.mkdir()
    run = _begin(root, 2, REAL)
    deadline = time.monotonic() + 20
    while not list((root / "patients").glob(".making-*")) and time.monotonic() < deadline:
        time.sleep(0.05)
    assert list((root / "patients").glob(".making-*"))
    run.kill()
    run.wait()
    batch = work(root, 2, SMALL)
    assert all(result.is_made for result in batch.results)
    there = subprocess.run(["ps", "-eo", "pgid"], capture_output=True, text=True, check=True).stdout.split()
    assert str(run.pid) not in there
