"""An archive on a server screened anew: a Dask worker that is killed costs its scan a second try, and nothing more."""

from importlib.util import find_spec

import pytest

from tapscan.register.corrections import void_scan
from tapscan.register.database import open_register
from tapscan.register.entries import PART, Outcome
from tapscan.register.heard import heard_in
from tapscan.register.moving import move_register
from tapscan.register.on_record import plate_on_record
from tapscan.register.outdated import outdated
from tapscan.register.results import load_screening
from tapscan.register.scans import add_outcome
from tests.cli.a_plates_life import life, where  # noqa: F401  fixtures
from tests.register.test_mending import with_comparison
from tests.register.workers_killed import answers_though_killed, screened
from tests.server.postgres import SECRET
from tests.server.test_server import put

pytestmark = pytest.mark.skipif(
    find_spec("distributed") is None, reason="not installed: dask (pip install tapscan[server])"
)


def test_workers_killed_on_a_scan_lose_nothing_and_double_nothing(where, address, tmp_path, monkeypatch):  # noqa: F811
    monkeypatch.setenv("PGPASSWORD", SECRET)  # of the workers' computer: the asking bench's is not sent
    place = address()
    move_register(open_register(where), place, (tmp_path / "share").as_uri(), lambda *_: None)
    answers = answers_though_killed(open_register(place))
    assert [a.trouble for a in answers] == [None, None]
    assert screened(open_register(place)) == {"B12/2026-03-14": 2, "B12/2026-06-01": 2}


def test_what_a_scan_was_held_against_is_known_without_the_rest_of_it(register):
    entry = put(register)
    later = with_comparison(register, "2026-06-01", [entry.name])
    add_outcome(register, later.name, Outcome(PART + "hook", "taken apart", "N. N.", later.date))
    heard = plate_on_record(register, "B12").scans[-1].heard
    assert heard == heard_in(load_screening(register, later.current.id)) and heard.beside == ("2026-03-14",)
    assert outdated(register) == outdated(register, "B12") == set()
    void_scan(register, entry.name, "a lorry", later.date)
    assert outdated(register) == outdated(register, "B12") == {later.id}
