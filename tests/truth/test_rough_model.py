"""The rough model against published values and against the simulator's own plates, which share no code with it but scikit-fem."""

import numpy as np
import pytest

from bench.plates.patterns import build
from tapscan.model import plate
from tapscan.model.altered import altered
from tapscan.model.iron import Iron, Region, iron_of
from tapscan.model.mesh import triangles_of
from tapscan.model.plate import shapes_of
from tapscan.model.rough import rough_model
from tapscan.places import Member, Outline
from tapscan.workflow.where import models_folder

FREE_SQUARE = np.array([13.468, 19.596, 24.270, 34.801, 34.801])  # w a^2 sqrt(m / D), nu = .3: accurate Ritz values


def test_a_free_square_plate_has_the_published_frequencies(monkeypatch):
    shapely = pytest.importorskip("shapely")
    monkeypatch.setattr(plate, "POISSON", 0.3)
    side, thick = 1.0, 0.01
    square = shapely.box(0, 0, side, side)
    iron = Iron(square, (Region(square, thick),), shapely.Polygon(), (), np.array([side, side]))
    found = shapes_of(triangles_of(iron, 0.025), iron, 5).frequency_hz
    bending = plate.MODULUS_PA * thick**3 / (12 * (1 - 0.3**2))
    unit = np.sqrt(bending / (plate.DENSITY_KG_M3 * thick)) / (2 * np.pi * side**2)
    assert found / unit == pytest.approx(FREE_SQUARE, rel=0.005)  # sides of 25 mm: error goes as their square


def test_moments_of_the_modes_hold_the_energy(monkeypatch):
    """Strain energy from the moments is half the squared angular frequency: unit modal mass."""
    outline = Outline("square", 1.0, ((0, 0), (1, 0), (1, 1), (0, 1)), width_m=1.0)
    iron = iron_of(outline)
    triangles = triangles_of(iron)
    shapes = shapes_of(triangles, iron, 6)
    xx, yy, xy = shapes.moment
    nu, stiff = plate.POISSON, shapes.stiffness_nm[:, None]
    a, b, c = triangles.points_m[triangles.corners].transpose(1, 0, 2)
    area = np.abs((b - a)[:, 0] * (c - a)[:, 1] - (b - a)[:, 1] * (c - a)[:, 0]) / 2
    energy = (xx**2 + yy**2 - 2 * nu * xx * yy + 2 * (1 + nu) * xy**2) / (stiff * (1 - nu**2))
    assert area @ energy == pytest.approx((2 * np.pi * shapes.frequency_hz) ** 2, rel=1e-3)


def test_a_plain_drawing_of_a_simulated_grand_has_its_number_of_modes():
    """Drawn true to size, the coarse model's modes lie in the order and density of the fine one's; no more is asked of it."""
    from tapscan.demo.plates import load_table

    pattern, table = build("small-grand"), load_table("small-grand")
    wide, high = pattern.outline.bounds[2:]

    def picture(points):
        return tuple((float(x / wide), float(1 - y / high)) for x, y in points)

    outline = Outline(
        "small-grand",
        wide / high,
        picture(pattern.outline.simplify(2e-3).exterior.coords[:-1]),
        tuple(picture(o.simplify(2e-3).exterior.coords[:-1]) for o in pattern.openings),
        tuple(picture(f.exterior.coords[:-1]) for f in pattern.pin_fields),
        (
            *(Member(s.name, picture([s.start, s.end]), 1e3 * s.depth_m, 1e3 * s.width_m) for s in pattern.struts),
            *(Member(n, picture(a.simplify(2e-3).exterior.coords[:-1]), 1e3 * t) for n, a, t in pattern.bars),
        ),
        picture(pattern.bolts),
        width_m=wide,
        web_mm=1e3 * pattern.web_m,
        rim_mm=1e3 * pattern.rim_m,
    )
    fine = table.arrays["frequency_hz"][0][3:63]
    rough = rough_model(outline).frequency_hz[:60]
    assert np.abs(np.log(rough / fine)).max() < 0.12


def bridge(middle_mm=20.0, height=1.0):
    """A plate with a thick bar across it."""
    bar = Member("bar", ((0, 0.4), (1, 0.4), (1, 0.6), (0, 0.6)), middle_mm)
    edge = ((0, 0), (1, 0), (1, 1), (0, 1))
    return Outline("bridge", 1 / height, edge, members=(bar,), width_m=1.0, web_mm=10.0, rim_mm=10.0)


@pytest.mark.parametrize(("middle", "height"), [(23.0, 1.0), (20.0, 1.08)])
def test_a_plate_altered_in_its_own_basis_is_the_plate_made_anew(middle, height):
    """Against the finite elements themselves, on a mesh of its own; what is altered moves some of these modes by more than 5 %."""
    model, anew = rough_model(bridge(), models_folder()), rough_model(bridge(middle, height))
    thick = np.zeros(len(model.stiffness))
    thick[0] = np.log(middle / 20.0)
    made = altered(model, thick, float(np.log(height)))
    assert made.frequency_hz[3:33] == pytest.approx(anew.frequency_hz[:30], rel=0.01)
    assert np.abs(np.log(model.frequency_hz[:30] / anew.frequency_hz[:30])).max() > 0.05


def test_of_a_plate_thicker_all_over_frequencies_and_bending_go_with_the_thickness():
    """Of unit modal mass: moment over root of stiffness as t^3 t^-1.5 t^-0.5."""
    model = rough_model(bridge(), models_folder())
    made = altered(model, np.full(len(model.stiffness), np.log(1.2)), 0.0)
    assert made.frequency_hz[3:] == pytest.approx(1.2 * model.frequency_hz, rel=1e-3)
    assert np.abs(made.bending[:, :, 3:13]) == pytest.approx(1.2 * np.abs(model.bending[:, :, :10]), rel=0.02, abs=3.0)
