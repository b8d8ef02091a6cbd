"""The repository's own rules: layout, size, citations, documented commands, what ships."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from consent.commands.main import _VERBS, parser
from consent.evidence import library
from consent.risk import risk_plan

ROOT = Path(__file__).resolve().parents[2]
AGREED = {
    "README.md",
    "DEVELOPERS.md",
    "CHANGELOG.md",
    "LICENSE",
    "pyproject.toml",
    "consent",
    "locales",
    "templates",
    "tests",
}


def _tracked() -> list[str]:
    done = subprocess.run(["git", "ls-files"], capture_output=True, text=True, cwd=ROOT, check=True)
    return done.stdout.splitlines()


def _modules() -> Iterator[Path]:
    yield from (ROOT / "consent").rglob("*.py")


def test_top_level_is_as_agreed() -> None:
    top = {name.split("/")[0] for name in _tracked()}
    assert {name for name in top if not name.startswith(".")} == AGREED


def test_no_module_is_over_400_lines() -> None:
    long = {path.name: n for path in _modules() if (n := len(path.read_text(encoding="utf-8").splitlines())) > 400}
    assert long == {}


def test_every_module_says_why_it_exists() -> None:
    for path in _modules():
        assert path.read_text(encoding="utf-8").startswith('"""'), path


def test_no_file_bears_a_path_of_one_machine() -> None:
    pattern = re.compile(r"/(?:work|farm|root|home)/")
    for name in _tracked():
        path = ROOT / name
        if path.suffix in {".py", ".md", ".toml", ".po", ".html", ".css"} and name != "tests/health/test_repository.py":
            assert not pattern.search(path.read_text(encoding="utf-8")), name


def test_readme_has_the_two_commands_and_opens_with_the_job() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert "bash .ci/setup && .venv/bin/consent demo\n" in text
    assert "bash .ci/setup --test && .venv/bin/pytest\n" in text
    first = text.split("\n\n")[1]
    assert first.startswith("A cataract surgeon")


def test_every_command_is_documented_and_every_documented_command_exists() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    documented = set(re.findall(r"^\| `consent ([a-z]+)", text, flags=re.MULTILINE))
    assert documented == set(_VERBS)
    for verb in _VERBS:
        with pytest.raises(SystemExit) as left:
            parser().parse_args([verb, "--help"])
        assert left.value.code == 0


def test_ci_runs_the_setup_and_then_the_test_command_of_the_readme() -> None:
    text = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    assert "bash .ci/setup --test && .venv/bin/pytest" in text


def test_every_default_figure_has_a_citation_with_an_identifier_or_says_it_has_none() -> None:
    for reference in risk_plan().references():
        series = library().cited(reference).series
        assert series.citation
        assert series.doi or series.pmid or "J Cataract Refract Surg" in series.citation or series.citation_note


def test_no_clinical_percentage_is_written_in_python() -> None:
    """A Python constant that is a clinical number is a defect: the library's printed figures occur in no module."""
    printed = {f"{figure.value:g}" for series in library() for figure in series.figures if figure.value is not None}
    printed |= {f"{level.odds_ratio:g}" for s in library() if s.model for f in s.model.factors for level in f.levels}
    distinctive = {text for text in printed if len(text.replace(".", "").strip("0")) >= 3}
    for path in _modules():
        words = set(re.findall(r"(?<![\w.])\d+\.\d+(?![\w.])", path.read_text(encoding="utf-8")))
        assert not words & distinctive, path


def test_dependencies_have_lower_bounds_and_a_line_in_developers() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    developers = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8").lower()
    for requirement in [*project["dependencies"], *project["optional-dependencies"]["test"]]:
        name, bound = re.match(r"([a-zA-Z0-9._-]+)(?:\[[a-z,]+\])?(.*)", requirement).groups()  # type: ignore[union-attr]
        assert bound.startswith((">=", "==")), requirement
        assert f"| {name.lower()} |" in developers, name


def test_wheel_ships_templates_and_words_and_works_outside_the_checkout(tmp_path: Path) -> None:
    """The three ways the program is installed: this test environment is the editable one; here the wheel."""
    build = [
        sys.executable,
        "-m",
        "pip",
        "wheel",
        "--quiet",
        "--no-deps",
        "--no-build-isolation",
        "-w",
        str(tmp_path),
        ".",
    ]
    subprocess.run(build, cwd=ROOT, check=True, capture_output=True)
    wheel = next(tmp_path.glob("*.whl"))
    target = tmp_path / "site"
    install = [sys.executable, "-m", "pip", "install", "--quiet", "--no-deps", "--target", str(target), str(wheel)]
    subprocess.run(install, check=True, capture_output=True)
    code = (
        "import sys; sys.path.insert(0, sys.argv[1]);"
        "from consent import resources, language; import consent;"
        "print(consent.__file__); print(resources.templates()); print(resources.locales());"
        "print(language.Speaker('bn').say('eye.right').plain);"
        "from consent.case import read_case;"
        "print(read_case(resources.package_data('case','examples','hard.toml')).age_years)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(target)], capture_output=True, text=True, check=True, cwd=tmp_path
    )
    where, templates, locales, eye, age = done.stdout.splitlines()
    assert all(line.startswith(str(target)) for line in (where, templates, locales))
    assert (eye, age) == ("ডান চোখ", "69")


def test_checkout_finds_its_own_templates() -> None:
    code = "from consent import resources; print(resources.templates()); print(resources.locales())"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    assert done.stdout.splitlines() == [str(ROOT / "templates"), str(ROOT / "locales")]


def test_setup_is_shell_that_parses() -> None:
    for name in ("setup", "run"):
        subprocess.run(["bash", "-n", str(ROOT / ".ci" / name)], check=True)
