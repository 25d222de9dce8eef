"""Simulated plates against outside values, against a second road to the same number, and against simple mechanics."""

from collections import defaultdict

import numpy as np
import pytest

from bench.plates.shifts import STUDY, largest_shifts
from bench.simulate.breathing import Breathing, closed_modes, restoring_ratio
from bench.simulate.supports import SLINGS
from tapscan.demo.plates import (
    Iron,
    PlateModes,
    State,
    Support,
    Table,
    draw_iron,
    load_table,
    pattern_names,
    plate_modes,
    radiation_loss_factor,
    temperature_factor,
)
from tests.every import each

NAMES = pattern_names()

# The study's own note: 20 to 30 % with the mesh, and a three-dimensional model gives 0.5 to 3 times.
MEDIAN_FACTOR = (0.5, 3.0)
# The shipped outer-edge places bend less than most drawn ones (docs/simulated-plates.md).
SHIPPED_QUIET = {("rim", 0.03): 0.4}
ONE_PLACE = (
    7.0  # one place under the study's low end: least bent drawn place over the median, 3 to 5, and the factor above
)
# A uniformly warm body: half the slope of the modulus (ASME B31.1, read second-hand) plus half the expansion, per K.
TEMPERATURE_PER_K = (-2.15e-4, -1.2e-4)


def drawing(table: Table, loss_factor: float = 0.005) -> Iron:
    """The pattern itself: no casting scatter, one loss factor."""
    return Iron(0.0, np.zeros(len(table.meta["patches"])), np.full(table.n_modes, loss_factor))


def shifts_percent(name: str, label: str) -> np.ndarray:
    table = load_table(name)
    frequency = table.arrays["frequency_hz"]
    return 100.0 * (frequency[table.case_index(label), 3:] / frequency[0, 3:] - 1.0)


def cracks() -> list[tuple[str, str]]:
    found = []
    for name in NAMES:
        found += [(name, c["label"]) for c in load_table(name).meta["cases"] if c["kind"] not in ("sound", "chill")]
    return found


def test_there_are_five_patterns_of_the_usual_size():
    assert len(NAMES) == 5
    for name in NAMES:
        table = load_table(name)
        # 80 to 200 kg: trade figures for whole plates are 100 to 200 kg; a three-quarter upright plate is lighter.
        assert 75.0 < table.meta["mass_kg"] < 200.0
        assert len(table.station_names) == 20
        assert table.arrays["frequency_hz"][0, -1] > 1700.0


@each(("name", "label"), cracks())
def test_an_open_crack_never_raises_a_sorted_frequency(name, label):
    # Rayleigh: opening a crack removes constraints. 1e-7 %: solver tolerance.
    assert shifts_percent(name, label).max() < 1e-7


def shipped_shifts() -> dict[tuple[str, float], list[tuple[float, str]]]:
    """Largest drop in % of every shipped crack, by kind and size, weakest first, with pattern and place."""
    found = defaultdict(list)
    for name in NAMES:
        for key, drop, label in largest_shifts(load_table(name)):
            found[key].append((drop, f"{name}: {label}"))
    return {key: sorted(drops) for key, drops in found.items()}


@each(("key", "drops"), shipped_shifts().items(), ids=str)
def test_largest_shifts_lie_in_the_planned_range_in_the_middle_and_no_place_is_far_off(key, drops):
    low, high = STUDY[key]
    middle = np.median([drop for drop, _ in drops])
    print(f"{key}: median {middle:.3f} %, weakest {drops[0]}, strongest {drops[-1]}; study {low} to {high} %")
    assert SHIPPED_QUIET.get(key, MEDIAN_FACTOR[0]) * low < middle < MEDIAN_FACTOR[1] * high
    assert low / ONE_PLACE < drops[0][0]
    assert drops[-1][0] < MEDIAN_FACTOR[1] * high


@each(("name", "label"), [c for c in cracks() if "severed" not in c[1]])
def test_a_crack_leaves_a_sparse_set_of_drops(name, label):
    drops = -shifts_percent(name, label)[:60]
    # The study saw typically 10 to 40; at least 4 here, because one place is drawn and not the mean of many.
    assert drops.max() / np.median(drops) > 4.0


@pytest.mark.parametrize("name", NAMES)
def test_temperature_moves_all_modes_of_a_free_plate_alike(name):
    table = load_table(name)
    cold, warm = (
        plate_modes(table, "sound", drawing(table), State(temperature_c=t, supports=())).frequency_hz
        for t in (10.0, 20.0)
    )
    per_k = np.log(warm / cold) / 10.0
    assert np.ptp(per_k) < 1e-9  # 1/K: rounding
    assert TEMPERATURE_PER_K[0] < per_k[0] < TEMPERATURE_PER_K[1]
    assert temperature_factor(20.0) == 1.0


@pytest.mark.parametrize("name", NAMES)
def test_pads_masses_and_finish_act_as_planned(name):
    table = load_table(name)
    free = plate_modes(table, "sound", drawing(table), State(supports=())).frequency_hz

    def largest(state: State) -> float:
        moved = plate_modes(table, "sound", drawing(table), state).frequency_hz[-len(free) :]
        above = (free > 100.0) & (np.arange(len(free)) < 60)
        return float(100.0 * np.abs(np.log(moved / free))[above].max())

    # Study: .045/.13/.44 %, 1.4-2.1 %, .37 % and .26 %; a factor 2 for other outlines and places,
    # 3 for pads: a lighter upright plate on pads near its corners moves more.
    for stiffness, wanted in ((1e4, 0.045), (3e4, 0.13), (1e5, 0.44)):
        pads = tuple(Support(i, stiffness) for i in range(4))
        assert wanted / 3.0 < largest(State(supports=pads)) < wanted * 3.0
    clamps = [largest(State(supports=(), masses_kg=((place, 0.5),))) for place in range(5)]
    assert 1.4 / 2 < max(clamps) < 2.1 * 2
    assert 0.26 / 2 < largest(State(supports=(), finish_m=3e-4)) < 0.26 * 2
    assert largest(State(supports=SLINGS)) < 0.13


@pytest.mark.parametrize("name", NAMES)
def test_castings_of_one_pattern_scatter_as_planned(name):
    table = load_table(name)
    free = State(supports=())
    base = np.log(plate_modes(table, "sound", drawing(table), free).frequency_hz)
    rng = np.random.default_rng(11)
    logs = [np.log(plate_modes(table, "sound", draw_iron(table, rng), free).frequency_hz) - base for _ in range(60)]
    logs = 100.0 * np.array(logs)[:, :60]
    common = np.median(logs, axis=1)
    # Study: 1.7 % together and .58 % per mode (sd). 60 draws give the sd within 18 % (two sigma); outlines differ.
    assert 1.1 < common.std() < 2.4
    assert 0.4 < (logs - common[:, None]).std() < 0.8


@pytest.mark.parametrize("name", NAMES)
def test_chilled_and_rubbing_iron_change_the_loss_factors_as_planned(name):
    table = load_table(name)
    iron = drawing(table)
    sound = plate_modes(table, "sound", iron).loss_factor[6:66]
    chilled = plate_modes(table, "chill", iron).loss_factor[6:66] / sound
    assert 0.3 < chilled.min() < 0.75  # study: down to .43
    assert 0.55 < np.sort(chilled)[6] < 0.85  # a tenth of the modes
    half = next(label for label in table.labels if label.startswith("depth 50"))
    rubbing = plate_modes(table, "sound", iron, State(rubbing=half)).loss_factor[6:66] / sound
    assert 1.5 < rubbing.max() < 3.5  # study: 1.5 to 2.1 in 10 to 15 of 60 modes, median 1.06
    assert 1.0 < np.median(rubbing) < 1.15
    assert 3 <= np.sum(rubbing > 1.25) <= 30


def octave_t60_s(modes: PlateModes, centre_hz: float) -> float:
    """Decay time of an octave from the backward integral of its energy, -5 to -35 dB; all stations struck alike."""
    used = (modes.frequency_hz > centre_hz / np.sqrt(2.0)) & (modes.frequency_hz < centre_hz * np.sqrt(2.0))
    rate = modes.decay_rate_per_s[used]
    energy = (modes.station[used, 0] ** 2).mean(axis=1) / rate
    time = np.linspace(0.0, 10.0, 5001)
    level = 10.0 * np.log10(np.exp(-2.0 * np.outer(time, rate)) @ energy / energy.sum())
    part = (level < -5.0) & (level > -35.0)
    return float(-60.0 / np.polyfit(time[part], level[part], 1)[0])


def test_a_chilled_region_lengthens_the_ring_of_some_octave_as_planned():
    rises = []
    for name in NAMES:
        table = load_table(name)
        sound, chilled = (plate_modes(table, case, drawing(table)) for case in ("sound", "chill"))
        rise = [octave_t60_s(chilled, f) / octave_t60_s(sound, f) - 1.0 for f in (125.0, 250.0, 500.0, 1000.0)]
        assert min(rise) > 0.0
        rises.append(max(rise))
    # Study: +30 to 60 %. Each pattern at least half of that: the shipped regions are the least bent end of three plates.
    assert min(rises) > 0.15
    assert 0.3 <= np.median(rises) < 0.6


@pytest.mark.parametrize("name", NAMES)
def test_a_chilled_region_holds_strain_energy_about_as_its_area(name):
    """The shares of a mode's energy add up to one, so a region of a sixth cannot rule a third of the modes."""
    table = load_table(name)
    share = table.arrays["chill_share"][table.case_index("chill"), 3:63]
    area = table.meta["chill_area_share"]
    assert 0.15 < area < 0.20  # the size that the rules are asked to find
    # 0.6 to 1.4: twelve ends of 16.5 % on each outline hold 10 to 20 % on average, the treble end of a grand the least.
    assert 0.6 < share.mean() / area < 1.4


def test_sound_by_air_is_a_small_part_of_the_loss():
    # 0.5e-3 at 1 kHz: impedance of air over the mass reactance of 80 kg/m2 is 8e-4, efficiency below coincidence under 1.
    assert 1e-4 < radiation_loss_factor(np.array([1000.0]))[0] < 8e-4


@pytest.mark.parametrize("name", NAMES)
def test_pressing_a_crack_shut_restores_the_sound_plate(name):
    """One contact stiffness, fitted, must bring back 60 frequencies of a separate finite-element solution."""
    table = load_table(name)
    for label in (x for x in table.labels if x.startswith("depth 50")):
        free = State(supports=())
        opened = plate_modes(table, label, drawing(table), free)
        shut = closed_modes(opened, Breathing(-1e-6, restoring_ratio(table, label))).frequency_hz
        sound = plate_modes(table, "sound", drawing(table), free).frequency_hz
        left = np.abs(np.log(shut / sound))[:60].max()
        was = np.abs(np.log(opened.frequency_hz / sound))[:60].max()
        assert left < 0.02 * was  # 2 %: modes left out of the table


# ---- against finite elements directly (skipped where scikit-fem is not installed) -----------------------------------


@pytest.fixture(scope="module")
def solved():
    pytest.importorskip("skfem", reason="scikit-fem is a development dependency")
    from bench.plates.cases import SOUND, solve_case
    from bench.plates.mesh import triangulate
    from bench.plates.patterns import build

    pattern = build("upright-three-quarter")
    mesh = triangulate(pattern)
    return pattern, mesh, solve_case(pattern, mesh, SOUND, 143)


def test_made_again_the_frequencies_are_the_same(solved):
    _, _, case = solved
    shipped = load_table("upright-three-quarter").arrays["frequency_hz"][0]
    assert case.modes.frequency_hz[3:] == pytest.approx(shipped[3:], rel=1e-6)


def test_a_mass_in_the_modal_basis_agrees_with_a_mass_in_the_finite_elements(solved):
    from scipy import sparse

    from bench.plates.solver import System, solve_modes

    pattern, _, case = solved
    system, spot = case.system, pattern.clamps[2]
    cells = system.mesh.element_finder()(np.array([spot.x_m]), np.array([spot.y_m]))
    local = system.basis.mapping.invF(np.array([[[spot.x_m]], [[spot.y_m]]]), tind=cells)
    row = np.zeros(system.basis.N)
    for i in range(6):
        shape = system.basis.elem.gbasis(system.basis.mapping, local, i, tind=cells)[0]
        row[system.basis.element_dofs[i, cells]] = np.asarray(shape)[0, 0]
    weight = sparse.csc_matrix(row)
    heavier = System(
        system.mesh,
        system.basis,
        system.stiffness,
        (system.mass + 0.5 * weight.T @ weight).tocsc(),
        system.element_stiffness,
        system.element_mass,
    )
    direct = solve_modes(heavier, 63).frequency_hz[3:]
    table = load_table("upright-three-quarter")
    state = State(supports=(), masses_kg=((2, 0.5),))
    basis = plate_modes(table, "sound", drawing(table), state).frequency_hz[:60]
    # The basis is cut off, so it comes from above; 10 % of the largest shift that the mass makes.
    free = case.modes.frequency_hz[3:63]
    assert np.abs(np.log(basis / direct)).max() < 0.1 * np.abs(np.log(direct / free)).max()


def test_energy_sensitivities_agree_with_solving_a_thicker_plate(solved):
    from msgspec.structs import replace

    from bench.plates.cases import SOUND, solve_case
    from bench.plates.mesh import PlateMesh

    pattern, mesh, case = solved
    thicker = [replace(p, thickness_m=p.thickness_m * 1.02) if p.name == "web" else p for p in mesh.parts]
    changed = PlateMesh(mesh.points_m, mesh.triangles, mesh.region, thicker, mesh.cracks)
    exact = np.log(solve_case(pattern, changed, SOUND, 63).modes.frequency_hz[3:] / case.modes.frequency_hz[3:63])
    table = load_table("upright-three-quarter")
    web = np.array([0.02 if p.startswith("web") else 0.0 for p in table.meta["patches"]])
    iron = Iron(0.0, web, np.full(table.n_modes, 0.005))
    free = State(supports=())
    first_order = np.log(
        plate_modes(table, "sound", iron, free).frequency_hz
        / plate_modes(table, "sound", drawing(table), free).frequency_hz
    )[:60]
    # The study found .97 to .99 for random fields; one patch type at 2 % is easier.
    assert np.corrcoef(exact, first_order)[0, 1] > 0.95
    assert np.median(first_order / exact) == pytest.approx(1.0, abs=0.05)


@pytest.mark.parametrize("torn_m", [0.030, 0.060])
def test_a_row_of_pin_holes_torn_open_moves_modes_as_a_line_from_end_to_end_in_smeared_iron(torn_m):
    pytest.importorskip("skfem", reason="scikit-fem is a development dependency")
    from msgspec.structs import replace

    from bench.plates.cases import SOUND, Flaw, solve_case
    from bench.plates.mesh import triangulate
    from bench.plates.patterns import build
    from bench.plates.pin_rows import drill_row, end_to_end_m

    pattern = build("small-grand")
    line = next(k for k in pattern.lines if k.kind == "pin")
    line = replace(line, end=(line.start[0] + end_to_end_m(torn_m), line.start[1]))
    smeared = replace(pattern, lines=[line])

    def drops(drawing, flaw):
        mesh = triangulate(drawing, rounds=12)  # of 40; the quotients below move by 1 %
        sound, opened = (solve_case(drawing, mesh, f, 63).modes.frequency_hz[3:] for f in (SOUND, flaw))
        return 1.0 - opened / sound

    whole_line = Flaw("rim", line.name, 1.0)  # opens all there is: the iron between the drilled holes
    drilled = drops(drill_row(smeared, line, torn_m), whole_line)
    plain = drops(smeared, Flaw("pin", line.name, torn_m))
    # Two meshes, 20 to 30 % by the study's note; found: within 9 % at ten places of two patterns.
    assert drilled.max() == pytest.approx(plain.max(), rel=0.2)
    assert drilled.sum() == pytest.approx(plain.sum(), rel=0.2)
