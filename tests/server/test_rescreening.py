"""An archive on a server screened anew: a Dask worker that is killed costs its scan a second try, and nothing more."""

import os
import signal

import pytest

from tapscan.register.database import open_register
from tapscan.register.moving import move_register
from tapscan.register.scans import list_scans
from tapscan.settings import Settings
from tapscan.workflow.rescreen_all import rescreen_all, waiting
from tests.cli.a_plates_life import life, where  # noqa: F401  fixtures
from tests.server.postgres import SECRET

distributed = pytest.importorskip("distributed")


def test_workers_killed_on_a_scan_lose_nothing_and_double_nothing(where, address, tmp_path, monkeypatch):  # noqa: F811
    monkeypatch.setenv("PGPASSWORD", SECRET)  # of the workers' computer: the asking bench's is not sent
    place = address()
    move_register(open_register(where), place, (tmp_path / "share").as_uri(), lambda *_: None)
    register = open_register(place)
    changed = Settings().but(type(Settings().fit), lowest_hz=61.0)
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs="CRITICAL"
    ) as cluster:
        with distributed.Client(cluster) as client:
            pids = client.run(os.getpid)
        answers = []
        for one in rescreen_all(register, waiting(register, changed), changed, cluster.scheduler_address, None):
            answers.append(one)
            if len(answers) == 1:
                for pid in pids.values():
                    os.kill(pid, signal.SIGKILL)
    assert [a.trouble for a in answers] == [None, None]
    assert {e.name: len(e.screenings) for e in list_scans(open_register(place))} == {
        "B12/2026-03-14": 2,
        "B12/2026-06-01": 2,
    }
