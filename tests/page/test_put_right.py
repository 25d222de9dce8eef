"""Ways to put something right: taps that are left out, a scan that may be another plate's, content for other programs."""

import re
from pathlib import Path

from tests.page.test_recordings import until


def works(site, answer):
    """The work that this answer leads to, once it is over."""
    work = site.app.state.works.find(answer.headers["location"].rpartition("=")[2])
    assert until(lambda: work.over, 60)
    return work


def test_each_kind_for_other_programs_has_a_name_of_its_own(site):
    with site.client() as client:
        shown = client.get("/register").text
        forms = re.findall(r'name="target" required value="([^"]+)".*?name="kind" value="(\w+)"', shown, re.DOTALL)
        offered = {kind: Path(name) for name, kind in forms if kind in ("csv", "json")}
        assert offered["json"].suffix == ".json" and not offered["csv"].suffix
        for kind, name in offered.items():
            assert not works(site, site.post(client, "/register/export", target=str(name), kind=kind)).problem
            assert name.is_dir() == (kind == "csv")
        wrong = works(site, site.post(client, "/register/export", target=str(offered["csv"]), kind="json"))
        assert str(offered["csv"]) in str(wrong.problem)
