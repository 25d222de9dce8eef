"""Docs that fail the build: the steps of getting-started run, the command reference is fresh, links lead somewhere."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tapscan.cli.reference import reference
from tapscan.register.database import open_register
from tapscan.register.scans import list_scans
from tapscan.report.layout_sheet import commands
from tapscan.workflow.import_scan import stored_screening
from tests.cli.commands import run
from tests.cli.docs_takes import ORDER, lines_of, put_takes
from tests.every import each

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"


def shell_steps(text: str) -> list[str]:
    return [re.sub(r"^ {0,3}", "", block, flags=re.M) for block in re.findall(r"```sh\n(.*?)```", text, re.S)]


def test_command_reference_is_what_the_commands_say() -> None:
    assert (DOCS / "command-reference.md").read_text(encoding="utf-8") == reference()


@pytest.mark.skipif(sys.platform == "win32", reason="the steps are written for a POSIX shell")
def test_getting_started_runs_step_by_step(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Plain commands here, line by line; the first and the last step, which asks for more of the shell, in a shell with processes of their own."""
    shutil.copytree(ROOT / "reference_recordings" / "real", tmp_path / "recordings")
    monkeypatch.chdir(tmp_path)
    first, *steps, last = shell_steps((DOCS / "getting-started.md").read_text(encoding="utf-8"))
    assert len(steps) >= 3
    in_a_shell(first, tmp_path)
    for line in "".join(steps).splitlines():
        assert line.startswith("tapscan ") and not set(line) & set("$|&;<>*'\"\\"), line
        done = run(*line.split()[1:])
        assert done.status == 0, f"{line}\n{done.out}\n{done.err}"
    bell = run("check", "recordings/bell-small.flac").out
    assert "stands out" in bell.split("\n")[0] and "stands out" not in in_a_shell(last, tmp_path).split("\n")[0]
    assert (tmp_path / "bell.html").stat().st_size > 10_000
    assert (tmp_path / "bell.json").exists()


def in_a_shell(step: str, folder: Path) -> str:
    (folder / "bin").mkdir(exist_ok=True)
    command = folder / "bin" / "tapscan"
    command.write_text(f'#!/bin/sh\nexec "{sys.executable}" -m tapscan "$@"\n')
    command.chmod(0o755)
    words = ["sh", "-e", "-c", f'PATH="{folder}/bin:$PATH"; {step}']
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{step}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@each("page", ["README.md", "docs/getting-started.md"])
def test_how_tapscan_is_found_is_told_before_it_is_typed(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    first = re.search(r"`tapscan \w|^ *```sh\n *tapscan ", text, re.M)
    assert first
    told = text[: first.start()]
    assert ". .venv/bin/activate" in told and re.search(r"Windows: `?\.venv\\Scripts\\activate", told)


def test_readmes_real_sound_says_what_is_promised() -> None:
    said = (ROOT / "README.md").read_text(encoding="utf-8")
    promised = re.search(r"`tapscan (check reference_recordings/real/\S+)` finds the bell's lasting tone", said)
    assert promised
    verb, sound = promised[1].split()
    assert "one tone stands out" in run(verb, ROOT / sound).out


def test_readme_names_both_commands_for_both_systems() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    main = re.search(r"<!-- main -->\n```sh\n(.*)\n```", text)
    tests = re.search(r"<!-- tests -->\n```sh\n(.*)\n```", text)
    assert main and tests, "each command is a single line between its marks"
    for line in (main[1], tests[1]):
        twin = line.replace("python3 -m venv", "py -3 -m venv").replace(".venv/bin/", ".venv\\Scripts\\")
        assert twin in text, f"no Windows twin of: {line}"


def typed(page: str, title: str, folder: Path, monkeypatch: pytest.MonkeyPatch) -> list[list[str]]:
    """The lines under that title, each typed as it stands and confirmed; their words."""
    monkeypatch.chdir(folder)
    monkeypatch.setenv("TAPSCAN_REGISTER", str(folder / "register"))
    lines = lines_of((ROOT / page).read_text(encoding="utf-8"), title)
    put_takes(lines, folder)
    for line in lines:
        done = run(*line, answer="y\n")
        assert done.status == 0, f"{line}\n{done.out}\n{done.err}"
    return lines


@pytest.mark.slow
def test_the_inspectors_card_and_the_sheet_are_one_road(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    lines = typed("docs/how-to-tap.md", "With a phone: a card for the inspector", tmp_path, monkeypatch)
    printed = [shlex.split(line)[1:] for line in commands("upright-long", "strung", ORDER)]
    named = {"PLATE": "B12", "RECORDING": "phone.wav"}
    assert [[named.get(word, word) for word in line] for line in printed] == lines
    (document,) = tmp_path.glob("B12_*-visit.html")
    page = document.read_text(encoding="utf-8")
    assert "24 taps at 8" in page and "0 of 12 regions" in page and "keys not played" in page


@pytest.mark.slow
def test_the_readmes_seven_lines_run_word_for_word_and_answer(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a plate to which nothing happened: its own variation is known, and no warning is the lines' own making."""
    lines = typed("README.md", "A plate's life in seven lines of the terminal", tmp_path, monkeypatch)
    assert len(lines) == 7
    register = open_register(tmp_path / "register")
    *baselines, later = list_scans(register)
    compared = stored_screening(register, later).comparison
    assert compared is not None and compared.baselines == tuple(e.name for e in baselines)
    assert (compared.unlike, compared.rules_not_run, compared.undecided) == ((), (), None), (
        "no warning of the lines' own making"
    )
    assert len(compared.limitations) == 1, "what no tap can hear"
    assert compared.good_news and not compared.indications and compared.statistic < compared.statistic_limit
    assert (tmp_path / f"{lines[-1][1].replace('/', '_')}.html").stat().st_size > 10_000
    page = squeezed((DOCS / "register.md").read_text(encoding="utf-8"))
    assert [told for line in lines[:-1] if (told := shlex.join(line)) not in page] == []


def squeezed(text: str) -> str:
    """Columns that stand under each other are one blank apart, quotes as shlex writes them."""
    return re.sub(" +", " ", text).replace('"', "'")


@each("page", ["README.md", "DEVELOPERS.md", *(f"docs/{p.name}" for p in sorted(DOCS.glob("*.md")))])
def test_links_between_pages_lead_somewhere(page: str) -> None:
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\((?!https?:)([^)#]+)", text):
        assert ((ROOT / page).parent / target).exists(), f"{page} links to {target}"


def test_the_accuracy_page_shows_what_the_benches_wrote():
    from bench.accuracy_docs import PAGE, page

    assert PAGE.read_text(encoding="utf-8") == page(), "stale: python -m bench.accuracy_docs"
