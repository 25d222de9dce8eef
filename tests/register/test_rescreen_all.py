"""An archive screened anew: each scan once, in order, resumable; a worker that is killed costs its scan a second try."""

import datetime as dt
import sys
from importlib.util import find_spec

import pytest

from tapscan.errors import BadRequest
from tapscan.register.database import open_register
from tapscan.register.upkeep import check_register
from tapscan.settings import Settings
from tapscan.workflow.rescreen_all import rescreen_all, waiting
from tests.cli.a_plates_life import life, where  # noqa: F401  fixtures
from tests.cli.commands import run
from tests.register.test_missing_rows import without_counts
from tests.register.workers_killed import answers_though_killed, other_settings, screened

pytestmark = pytest.mark.skipif(
    find_spec("distributed") is None, reason="not installed: dask (pip install tapscan[server])"
)


@pytest.fixture
def other(tmp_path):
    """Settings that no scan of the register was screened with."""
    path = tmp_path / "other.toml"
    path.write_text("[fit]\nlowest_hz = 61.0\n")
    return path


def test_only_what_is_not_done_waits(where):  # noqa: F811
    register = open_register(where)
    assert waiting(register, Settings()) == [], "imported a moment ago by this version with these settings"
    changed = other_settings()
    assert [e.name for e in waiting(register, changed)] == ["B12/2026-03-14", "B12/2026-06-01"]
    assert [e.name for e in waiting(register, changed, since=dt.date(2026, 4, 1))] == ["B12/2026-06-01"]
    with pytest.raises(BadRequest, match="pattern"):
        waiting(register, changed, pattern="never seen")


def test_the_command_screens_each_scan_once_and_again_not_at_all(where, other):  # noqa: F811
    done = run("register", "rescreen", "--settings", other, "--workers", "1")
    assert (done.status, screened(open_register(where))) == (0, {"B12/2026-03-14": 2, "B12/2026-06-01": 2})
    assert run("register", "rescreen", "--settings", other).status == 0
    assert screened(open_register(where)) == {"B12/2026-03-14": 2, "B12/2026-06-01": 2}


def test_what_an_older_version_did_not_count_is_read_anew_and_counted(where, monkeypatch):  # noqa: F811
    """Also with the same settings, by a version of the same number."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    register = open_register(where)
    with register.writing() as connection:
        without_counts(connection)
    assert check_register(register).uncounted == 2 == len(waiting(register, Settings()))
    assert run("register", "rescreen").status == 0
    assert (check_register(register).uncounted, waiting(register, Settings())) == (0, [])
    assert screened(register) == {"B12/2026-03-14": 2, "B12/2026-06-01": 2}


def test_a_worker_killed_on_a_scan_loses_nothing_and_doubles_nothing(where):  # noqa: F811
    answers = answers_though_killed(open_register(where))
    assert [a.trouble for a in answers] == [None, None]
    assert screened(open_register(where)) == {"B12/2026-03-14": 2, "B12/2026-06-01": 2}


def test_a_fault_of_tapscan_costs_the_plates_scans_and_is_told_for_each(where, monkeypatch):  # noqa: F811
    import distributed  # here, since every process collects this file

    def broken(*_args):
        raise ZeroDivisionError("made up")

    monkeypatch.setattr("tapscan.workflow.rescreen_all.rescreen", broken)
    register = open_register(where)
    changed = other_settings()
    with distributed.LocalCluster(
        n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None, silence_logs="CRITICAL"
    ) as cluster:
        answers = list(rescreen_all(register, waiting(register, changed), changed, cluster.scheduler_address, None))
    assert {a.scan for a in answers} == set(screened(open_register(where)))
    assert all(a.after is None and "ZeroDivisionError" in (a.trouble or "") for a in answers)
    assert set(screened(open_register(where)).values()) == {1}


def test_without_dask_one_scan_after_the_other(where, monkeypatch):  # noqa: F811
    """The README installs none."""
    monkeypatch.setitem(sys.modules, "distributed", None)
    register = open_register(where)
    changed = other_settings()
    with pytest.raises(BadRequest, match="Dask"):
        list(rescreen_all(register, waiting(register, changed), changed, "tcp://127.0.0.1:1", None))
    answers = list(rescreen_all(register, waiting(register, changed), changed, None, None))
    assert [a.trouble for a in answers] == [None, None] and set(screened(open_register(where)).values()) == {2}


def test_without_dask_a_fault_costs_its_scan(where, monkeypatch):  # noqa: F811
    monkeypatch.setitem(sys.modules, "distributed", None)
    monkeypatch.setattr("tapscan.workflow.rescreen_all.rescreen", lambda *_: 1 / 0)
    register = open_register(where)
    changed = other_settings()
    answers = list(rescreen_all(register, waiting(register, changed), changed, None, None))
    assert len(answers) == 2 and all("ZeroDivisionError" in (a.trouble or "") for a in answers)


def test_a_scheduler_that_does_not_answer_is_one_line(where, other, monkeypatch):  # noqa: F811
    monkeypatch.setattr("tapscan.workflow.rescreen_all.ANSWER_S", 1.0)
    done = run("register", "rescreen", "--settings", other, "--scheduler", "tcp://127.0.0.1:1")
    assert done.status == 1 and "no Dask scheduler answers" in done.err
    assert screened(open_register(where)) == {"B12/2026-03-14": 1, "B12/2026-06-01": 1}
