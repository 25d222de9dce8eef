"""What the terminal prints of two scans in the piano."""

import pytest

from tapscan.cli.compare import DROPS, _numbers
from tests.compared import STRIPPED
from tests.report.test_piano_rates import STRUNG, compared


@pytest.mark.parametrize(("conditions", "drops_alone"), [(STRUNG, False), (STRIPPED, True)])
def test_the_figure_is_named_after_what_it_is_made_of(conditions, drops_alone, capsys):
    _numbers(compared("2026-03-03", conditions).comparison)
    assert (DROPS in capsys.readouterr().out) == drops_alone
