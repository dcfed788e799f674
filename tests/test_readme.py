"""README and DEVELOPERS say what is true: commands, session, files, exit codes, modules, sizes."""

from __future__ import annotations

import doctest
import re
import shlex
import tomllib
from pathlib import Path

import pytest

from contrastkit import cli
from contrastkit.camera import measure, reference
from contrastkit.cli.printing import EXIT_CODES
from contrastkit.columns import SWATCHES

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
GATE = (ROOT / ".ci" / "run").read_text(encoding="utf-8")

STUDY = (
    "python3 -m venv .venv && .venv/bin/pip install -e . && "
    ".venv/bin/contrastkit study data/thistlewick/photos --out study"
)
TESTS = "python3 -m venv .venv && .venv/bin/pip install -e '.[test]' && .venv/bin/pytest"

# Other versions of the JPEG decoder and of OpenCV move a lightness by less than 0.1 L*; one more for rounding.
SESSION_ATOL = 0.2
NUMBER = re.compile(r"\d+(?:\.\d+)?")


class NumbersNearly(doctest.OutputChecker):
    """Words must be equal but for blanks; numbers within SESSION_ATOL."""

    def check_output(self, want, got, optionflags):
        words = [NUMBER.sub("#", text).split() for text in (want, got)]
        numbers = [[float(number) for number in NUMBER.findall(text)] for text in (want, got)]
        return words[0] == words[1] and numbers[0] == pytest.approx(numbers[1], abs=SESSION_ATOL)


def test_readme_opens_with_the_job_in_one_paragraph():
    """Whoever lands there wants to know what it does before anything else."""
    title, job, *_ = README.split("\n\n")
    assert title == "# contrastkit"
    assert not job.startswith(("#", "!", "-", " "))
    for word in ("photo", "light", "sorts", "report"):
        assert word in job


@pytest.mark.parametrize("command", [STUDY, TESTS])
def test_each_command_stands_word_for_word_in_readme_and_gate(command):
    """A command that the gate does not run is a command that may not work."""
    assert f"\n    {command}\n" in README
    assert f"\n{command}\n" in GATE


def test_the_session_in_readme_gives_what_it_shows(monkeypatch):
    """Run from the top folder, as a reader would, the numbers must be those of this version."""
    monkeypatch.chdir(ROOT)
    (session,) = re.findall(r"```pycon\n(.*?)```", README, re.DOTALL)
    test = doctest.DocTestParser().get_doctest(session, {}, "README", "README.md", 0)
    assert len(test.examples) == 13
    report: list[str] = []
    runner = doctest.DocTestRunner(checker=NumbersNearly(), verbose=False)
    runner.run(test, out=report.append)
    assert not runner.failures, "".join(report)


def test_numbers_in_the_session_are_really_compared():
    """A checker that accepts everything would let the session go stale."""
    checker = NumbersNearly()
    assert checker.check_output("a 23.0\n", "a  23.1\n", 0)
    assert not checker.check_output("a 23.0\n", "a 23.5\n", 0)
    assert not checker.check_output("a 23.0\n", "b 23.0\n", 0)
    assert not checker.check_output("13 dark\n", "13 dark, 2 light\n", 0)


@pytest.mark.parametrize("page", [README, DEVELOPERS], ids=["README", "DEVELOPERS"])
def test_every_link_leads_somewhere(page):
    """A picture or page that is not there looks careless."""
    headings = {re.sub(r"[^a-z0-9 -]", "", line.lstrip("# ").lower()).replace(" ", "-")
                for line in DEVELOPERS.splitlines() if line.startswith("#")}
    for target in re.findall(r"\]\(([^)]+)\)", page):
        path, _, anchor = target.partition("#")
        assert (ROOT / path).exists(), target
        assert not anchor or anchor in headings, target


def test_each_picture_in_readme_says_in_words_what_it_shows():
    """For those who do not see it."""
    pictures = re.findall(r"!\[(.*?)\]\((.*?)\)", README, re.DOTALL)
    assert len(pictures) == 5
    for alt, path in pictures:
        assert len(alt) > 40
        assert path.endswith(".png")


def test_exit_codes_in_readme_are_those_of_the_command():
    """Scripts are written against this table."""
    told = dict(re.findall(r"^\| (\d+) \| (.+) \|$", README, re.MULTILINE))
    coded = dict(re.findall(r"^  (\d+) +(.+)$", EXIT_CODES, re.MULTILINE))
    assert told == coded


@pytest.mark.parametrize("words", [
    *re.findall(r"`contrastkit ([^` ]+ [^`]+)`", README),
    *re.findall(r"^    \.venv/bin/contrastkit (.+)$", README, re.MULTILINE),
])  # fmt: skip
def test_every_command_in_readme_is_understood(words):
    """Names and options must be those the parser knows."""
    arguments = shlex.split(words.replace("...", ""))
    assert cli._parser().parse_args(arguments).run is not None


def test_every_column_named_in_readme_is_in_the_table():
    """The table in README is how people learn what their CSV means."""
    section = README.partition("## What is measured")[2].partition("\n## ")[0]
    named = set(re.findall(r"`(\w+)`", "".join(re.findall(r"^\| (.*?) \|", section, re.MULTILINE))))
    assert named
    assert named <= {column.name for column in SWATCHES}


def test_developers_names_every_module():
    """Whoever looks for a module looks there."""
    modules = [path.relative_to(ROOT / "contrastkit") for path in (ROOT / "contrastkit").rglob("*.py")]
    missing = [str(path) for path in modules if path.name != "__init__.py" and f"`{path.as_posix()}`" not in DEVELOPERS]
    assert missing == []
    named = re.findall(r"^\| `([\w/]+\.py)` \|", DEVELOPERS, re.MULTILINE)
    assert [name for name in named if not (ROOT / "contrastkit" / name).exists()] == []


def test_developers_says_why_of_every_dependency():
    """A dependency nobody can explain should go."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *sum(project["optional-dependencies"].values(), [])]
    section = DEVELOPERS.partition("## What we lean on")[2].partition("\n## ")[0]
    assert [item for item in wanted if re.split(r"[>=]", item)[0] not in section] == []


def test_sizes_of_uncertainty_in_developers_are_those_in_the_code():
    """The table says what a sigma is made of; it must move with the code."""
    sizes = re.findall(r"\| `(measure|reference)\.(\w+)` \| ([\d.]+) ", DEVELOPERS)
    coded = {(name, which) for name, module in (("measure", measure), ("reference", reference))
             for which in vars(module) if "SIGMA" in which}
    assert coded <= {(module, name) for module, name, _ in sizes}
    for module, name, size in sizes:
        value = getattr({"measure": measure, "reference": reference}[module], name)
        assert float(size) == pytest.approx(value, abs=1e-9), name
