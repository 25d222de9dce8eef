"""`tapscan settings`: every threshold, a file with them, and what the shop does every time."""

import json
import re
import shutil
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from tapscan.cli.facts import Typed
from tapscan.cli.kept import Kept
from tapscan.errors import BadRequest
from tapscan.register.database import make_register, open_register
from tapscan.register.entries import Plate
from tapscan.register.plates import add_plate, find_plate
from tapscan.register.scans import find_scan
from tapscan.sensors import Sensor
from tapscan.settings import Settings
from tapscan.workflow.defaults import Defaults, change_defaults, read_defaults
from tapscan.workflow.own_layouts import keep_layout
from tapscan.workflow.settings import every_threshold, read_settings
from tapscan.workflow.typed_scan import new_scan
from tests.cli.commands import run
from tests.every import each
from tests.register.recording_child import LAYOUT
from tests.register.test_whole_folder import MAKES
from tests.sounds import encoded, taps_at, written

SIMULATED = Path(__file__).parents[2] / "reference_recordings" / "simulated"
FILES = sorted((SIMULATED / "sound-parlour-grand").glob("*.flac"))[:4]
EVERY = every_threshold(Settings())
pytestmark = pytest.mark.usefixtures("measured_once")


def test_every_threshold_is_listed_with_value_unit_reason_and_source():
    lines = run("settings").out.splitlines()
    assert len(EVERY) > 100
    for t in EVERY:
        (at,) = [n for n, line in enumerate(lines) if line.split(" = ")[0].strip() == t.path]
        assert lines[at].split(" = ")[1].split()[0] == f"{t.value:g}"
        assert t.unit == "1" or lines[at].endswith(t.unit)
        assert t.reason in lines[at + 1] and t.source in lines[at + 1]


def test_one_stage_can_be_listed_and_an_unknown_one_names_all():
    for typed in ("rules.long-decay", "Long decay"):
        paths = re.findall(r"^  (\S+) =", run("settings", "--stage", typed).out, re.M)
        assert paths == [t.path for t in EVERY if t.stage == "rules.long-decay"]
    done = run("settings", "--stage", "no-such")
    assert done.status == 2 and all(t.stage in done.err for t in EVERY)


def test_the_written_file_is_what_settings_takes(tmp_path):
    path = tmp_path / "own.toml"
    assert run("settings", "write", path).status == 0
    assert read_settings(path) == Settings()
    text = path.read_text(encoding="utf-8")
    assert all(t.reason in text for t in EVERY)
    path.write_text(re.sub(r"^lowest_hz = .*", "lowest_hz = 61.5", text, count=1, flags=re.M), encoding="utf-8")
    (shown,) = [line for line in run("settings", "--settings", path).out.splitlines() if "ships as" in line]
    assert "lowest_hz = 61.5 Hz" in shown
    done = run("settings", "write", path)
    assert done.status == 1 and "is there already" in done.err
    assert "61.5" in path.read_text(encoding="utf-8")
    assert run("settings", "write", tmp_path / "none" / "x.toml").status == 1


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A register with one plate, and a shop that writes its days with points."""
    add_plate(make_register(tmp_path / "register"), Plate("B12"))
    (tmp_path / "shop.toml").write_text('name = "Kettle Lane Pianos"\ndates = "day.month.year"\n', encoding="utf-8")
    monkeypatch.setenv("TAPSCAN_REGISTER", str(tmp_path / "register"))
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "own"))
    monkeypatch.chdir(tmp_path)
    return tmp_path / "register"


def test_defaults_are_kept_beside_the_register_shown_and_taken_away(shop):
    words = ("layout=grand-dense", "sensor=Contact", "order=soft,hard,hard", "supports=felt pads", "shop=shop.toml")
    assert run("settings", "default", *words, "Dates=day.month.year").status == 0
    kept = read_defaults(shop)
    assert kept == Defaults(
        layout="grand-dense",
        order="soft,hard,hard",
        sensor="contact",
        supports="felt pads",
        dates="day.month.year",
        shop=str(shop.parent / "shop.toml"),
    )
    assert (shop / "defaults.toml").is_file()
    shown = run("settings", "default").out
    assert "grand-dense" in shown and "not set" in shown
    assert run("settings", "default", "layout=", 'supports=a "soft" \\ pad').status == 0
    assert (read_defaults(shop).layout, read_defaults(shop).supports) == (None, 'a "soft" \\ pad')


@pytest.fixture
def own(shop: Path) -> Path:
    """A layout of the register's own."""
    keep_layout(shop, "own", LAYOUT)
    return shop / "layouts" / "own.toml"


def as_written(shop: Path) -> str | None:
    return tomllib.loads((shop / "defaults.toml").read_text(encoding="utf-8")).get("layout")


@each("make", ["backup", "moved", "renamed"])
def test_an_own_layout_is_a_default_wherever_the_register_lies(shop, own, tmp_path, make):
    elsewhere = tmp_path / make
    change_defaults(shop, [f"layout={own}"])
    assert (as_written(shop), read_defaults(shop).layout) == ("layouts/own.toml", str(own))
    if make == "renamed":
        shop.rename(elsewhere)
    else:
        MAKES["move" if make == "moved" else make](open_register(shop), elsewhere, lambda *_: None)
        own.write_text("the old place goes its own way")
    assert read_defaults(elsewhere).layout == str(elsewhere / "layouts" / "own.toml")
    if make == "renamed":
        elsewhere.rename(shop)
    keep_layout(shop, "own", LAYOUT)


def test_an_own_layout_is_a_default_by_its_name(shop, own):
    """As `tapscan layout list` shows it; a name of tapscan's own comes first."""
    assert run("settings", "default", "layout=own").status == 0
    assert (as_written(shop), read_defaults(shop).layout) == ("layouts/own.toml", str(own))
    run("settings", "default", "layout=grand-short")
    assert as_written(shop) == "grand-short"


OLD = "/old place/register/layouts/own.toml"


@each(
    ("kept", "found"),
    [
        (OLD, "layouts/own.toml"),
        (r"C:\Users\shop\register\layouts\own.toml", "layouts/own.toml"),
        (OLD.replace("own", "other"), None),
        ("/old place/own.toml", None),
        ("grand-dense", None),
    ],
)
def test_a_whole_path_of_an_older_tapscan_is_read_where_the_register_lies_now(shop, own, kept, found):
    """Only where the same file lies in it: nothing else tells that the old place was this register's."""
    (shop / "defaults.toml").write_text(f"layout = '{kept}'\n", encoding="utf-8")
    assert read_defaults(shop).layout == (str(shop / found) if found else kept)


def test_a_whole_path_that_leads_to_another_layout_stays(shop, own, tmp_path):
    other = tmp_path / "layouts" / "own.toml"
    other.parent.mkdir()
    other.write_text(LAYOUT.replace("three places", "another"), encoding="utf-8")
    change_defaults(shop, [f"layout={other}"])
    assert as_written(shop) == read_defaults(shop).layout == str(other)


def test_a_file_that_has_gone_is_told_with_its_default_and_what_mends_it(shop, own):
    for key, words in (("layout", ("check", FILES[0])), ("shop", ("report", "B12/2026-03-14"))):
        (shop / "defaults.toml").write_text(f'{key} = "{shop.as_posix()}/gone.toml"\n', encoding="utf-8")
        done = run(*words)
        assert done.status == 1 and len(done.err.splitlines()) == 1, done.err
        assert f"tapscan settings default {key}=FILE" in done.err
    assert run("settings", "default", "shop=").status == 0


def test_a_default_that_would_not_work_changes_nothing(shop):
    run("settings", "default", "sensor=contact")
    before = (shop / "defaults.toml").read_bytes()
    for words in (
        "layout=no-such",
        "sensor=piezo",
        "order=loud",
        "dates=14.4.2026",
        "shop=none.toml",
        "sensor_mass_g=heavy",
        "state=stripped",
        "layout",
    ):
        done = run("settings", "default", "supports=pads", words)
        typed_wrongly = not words.startswith("shop=")  # there is no such file
        assert done.status == 1 + typed_wrongly and len(done.err.splitlines()) == 1, words
    assert (shop / "defaults.toml").read_bytes() == before


WORDS = st.text(st.characters(), min_size=1)


@given(told=WORDS, note=WORDS)
@example(told="caf\udce9", note="x")
@example(told='"\\\n\0\x7f', note="\U000e0001 \U0001f528")
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], deadline=None, max_examples=60)
def test_whatever_is_accepted_reads_back_equal(shop, told, note):
    before = read_defaults(shop)
    try:
        kept = change_defaults(shop, [f"hammer={told}", f"sensor_note={note}"])
    except BadRequest as problem:
        assert len(str(problem).splitlines()) == 1
        assert read_defaults(shop) == before
        assert any("\ud800" <= c <= "\udfff" for c in told + note)
    else:
        assert read_defaults(shop) == kept
        assert (kept.hammer, kept.sensor_note) == (told.strip() or None, note.strip() or None)


def test_a_number_of_months_without_end_is_one_short_line(shop):
    done = run("settings", "default", "again_months=" + "9" * 5000)
    assert done.status == 2 and len(done.err.splitlines()) == 1 and len(done.err) < 300
    assert "tapscan itself" not in done.err


def test_before_there_is_a_register_they_are_the_users_own(shop):
    shutil.rmtree(shop)
    assert run("settings", "default", "sensor=contact").status == 0
    assert not shop.exists()
    shop.mkdir()
    assert read_defaults(shop).sensor == "contact", "and count until the register has its own"
    assert run("settings", "default", "sensor=microphone").status == 0
    assert (shop / "defaults.toml").is_file() and read_defaults(shop).sensor == "microphone"


def test_a_broken_file_is_one_line(shop):
    for text in ("layout = [", "layout = 3", "lay = 'x'", "dates = 'some'"):
        (shop / "defaults.toml").write_text(text, encoding="utf-8")
        done = run("settings", "default")
        assert done.status == 1 and "defaults.toml" in done.err and len(done.err.splitlines()) == 1, text


@pytest.mark.parametrize(
    ("words", "supports", "hammer"),
    [
        ({"state": "stripped"}, "felt pads", "nylon"),
        ({}, "felt pads", "nylon"),
        ({"state": "unknown"}, "felt pads", "nylon"),
        ({"state": "strung"}, None, "nylon"),
        ({"state": "In piano unstrung"}, None, "nylon"),
        ({"state": "strung", "supports": "casters"}, "casters", "nylon"),
    ],
)
def test_supports_of_bare_plates_are_no_default_in_the_piano(shop, words, supports, hammer):
    run("settings", "default", "supports=felt pads", "hammer=nylon", "sensor=contact")
    kept = Kept(str(shop))
    told = kept.facts(Typed(**words)).conditions()
    assert (told.supports, told.hammer, told.sensor.kind) == (supports, hammer, "contact")
    assert ("supports felt pads" in kept.used) == (supports == "felt pads")
    form = {"supports": "felt pads", "state": "", **words}
    form["state"] = form["state"].replace(" ", "-").lower()
    assert new_scan(form, open_register(shop), "B12").conditions.supports == supports


def test_of_played_keys_neither_supports_nor_a_hammer_are_taken(shop):
    run("settings", "default", "supports=felt pads", "hammer=nylon", "sensor=contact")
    told = Kept(str(shop)).facts(Typed(), played=True).conditions()
    assert (told.supports, told.hammer, told.sensor.kind) == (None, None, "contact")
    assert new_scan({"supports": "felt pads", "what": "played"}, open_register(shop), "B12").conditions.supports is None


def test_an_import_takes_them_and_what_is_typed_comes_first(shop):
    run("settings", "default", "sensor=contact", "sensor_place=strut 2", "supports=felt pads", "order=soft,hard")
    run("settings", "default", "dates=day.month.year")
    done = run("scan", "import", "B12", *FILES, "--date", "14.4.2026", "--yes")
    assert done.status == 0 and "sensor contact" in done.err and "order soft,hard" in done.err
    entry = find_scan(open_register(shop), "B12/2026-04-14")
    assert entry.conditions.supports == "felt pads"
    assert entry.conditions.sensor == Sensor("contact", place="strut 2")
    told = json.loads(run("scan", "show", entry.name, "--json", "-").out)
    assert {s["force"] for s in told["strikes"]} == {"soft", "hard"}
    more = ("--sensor", "microphone", "--supports", "slings", "--order", "none", "--date", "15.4.2026", "--again")
    assert run("scan", "import", "B12", *FILES, *more, "--yes").status == 0
    other = find_scan(open_register(shop), "B12/2026-04-15")
    assert other.conditions.sensor == Sensor("microphone"), "the pickup's place is not the microphone's"
    assert other.conditions.supports == "slings"
    told = json.loads(run("scan", "show", other.name, "--json", "-").out)
    assert {s["force"] for s in told["strikes"]} == {None}


@pytest.fixture(scope="module")
def phones(tmp_path_factory: pytest.TempPathFactory) -> list[Path]:
    """Takes of the same taps as a phone and as a recorder write them."""
    folder = tmp_path_factory.mktemp("phones")
    taps = taps_at([0.5, 2.0, 3.5], 5, 16000)
    return [written(folder / f"take.{ending}", encoded(taps, 16000, ending)) for ending in ("m4a", "ogg", "flac")]


@pytest.mark.parametrize("keys", [(), ("--played",)])
def test_the_shops_pickup_is_not_taken_for_a_phones_take(shop, phones, keys):
    run("settings", "default", "sensor=contact", "sensor_place=strut 2", "sensor_mass_g=12", "hammer=nylon")
    done = run("scan", "import", "B12", *phones[::2], *keys, "--date", "2026-04-14", "--yes")
    (line,) = [line for line in done.err.splitlines() if "take.m4a" in line]
    assert done.status == 0 and "phone" in line and "(contact)" in line and "--sensor" in line
    assert "strut 2" not in done.err and "take.flac" not in line
    entry = find_scan(open_register(shop), "B12/2026-04-14")
    assert (entry.conditions.sensor, entry.conditions.hammer) == (Sensor(), None if keys else "nylon")
    assert "unknown" in done.err.splitlines()[-1], "which kind it was is still asked for"


def test_what_is_typed_or_can_be_no_phones_take_is_not_doubted(shop, phones):
    run("settings", "default", "sensor=contact", "sensor_place=strut 2")
    m4a, ogg, flac = (str(p) for p in phones)
    torn, none = str(shop.parent / "torn.m4a"), str(shop.parent / "none.m4a")
    Path(torn).write_bytes(phones[0].read_bytes()[:60])
    pickup = Sensor("contact", place="strut 2")
    for files, sensor, found in [
        ([flac, torn, none], None, pickup),
        ([m4a, ogg], None, Sensor()),
        ([m4a], "contact", pickup),
        ([m4a], "microphone", Sensor("microphone")),
    ]:
        kept = Kept(str(shop))
        assert kept.facts(Typed(sensor=sensor), files=files).conditions().sensor == found, files
        assert bool(kept.not_taken) == (found == Sensor()), files
    run("settings", "default", "sensor=microphone", "sensor_place=at the tail")
    kept = Kept(str(shop))
    told = kept.facts(Typed(), files=[m4a]).conditions().sensor
    assert (told, kept.not_taken) == (Sensor("microphone", place="at the tail"), None)


def test_check_takes_layout_and_order_and_the_page_the_shop(shop):
    run("settings", "default", "layout=grand-short", "order=soft,hard", "shop=shop.toml")
    done = run("check", *FILES, "--json", "-", "--report", "page.html")
    told = json.loads(done.out)
    assert told["layout"] == "grand-short" and {s["force"] for s in told["strikes"]} == {"soft", "hard"}
    assert "Kettle Lane Pianos" in Path("page.html").read_text(encoding="utf-8")
    plain = json.loads(run("check", *FILES, "--layout", "none", "--per-station", "2", "--json", "-").out)
    assert plain["layout"] is None and {s["force"] for s in plain["strikes"]} == {None}


def test_days_in_the_shops_form_wherever_a_day_is_typed(shop):
    run("settings", "default", "shop=shop.toml")
    assert run("plate", "retire", "B12", "--why", "sold", "--on", "14.4.2026").status == 0
    assert str(find_plate(open_register(shop), "B12").retired_on) == "2026-04-14"
    run("settings", "default", "shop=")
    for day, why in (("14.4.2026", "not how this shop writes days"), ("4/5/2026", "more than one way")):
        done = run("scan", "import", "B12", *FILES, "--date", day, "--yes", "--sensor", "contact")
        assert done.status == 2 and why in done.err and len(done.err.splitlines()) == 1
