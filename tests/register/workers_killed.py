"""A register screened anew by two Dask workers, both killed after the first answer, so that one of them was at work on the next scan."""

import os
import signal

from tapscan.register.database import Register
from tapscan.register.scans import list_scans
from tapscan.settings import Settings
from tapscan.workflow.rescreen_all import Rescreened, rescreen_all, waiting


def other_settings() -> Settings:
    """That no scan of the register was screened with."""
    return Settings().but(type(Settings().fit), lowest_hz=61.0)


def screened(register: Register) -> dict[str, int]:
    """How often each scan was."""
    return {e.name: len(e.screenings) for e in list_scans(register)}


def answers_though_killed(register: Register) -> list[Rescreened]:
    """With other settings. The workers branch off from a process that has Dask loaded: four are begun, and loading takes longest."""
    import dask
    import distributed

    changed, answers = other_settings(), []
    with (
        dask.config.set({"distributed.worker.multiprocessing-method": "forkserver"}),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, silence_logs="CRITICAL"
        ) as cluster,
    ):
        with distributed.Client(cluster) as client:
            pids = client.run(os.getpid)
        for one in rescreen_all(register, waiting(register, changed), changed, cluster.scheduler_address, None):
            answers.append(one)
            if len(answers) == 1:
                for pid in pids.values():
                    os.kill(pid, signal.SIGKILL)
    return answers
