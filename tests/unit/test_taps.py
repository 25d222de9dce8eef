"""Taps of simulated plates: the samples do what their true list says, checked by roads other than the synthesiser's own."""

import numpy as np
import pytest
from msgspec.structs import replace

from bench.simulate import nuisance, room
from bench.simulate.breathing import Breathing, Strike, breathing_taps, closed_modes
from bench.simulate.high_modes import extend_modes
from bench.simulate.take import one_recording
from tapscan.demo.plates import Iron, PlateModes, State, Support, draw_iron, load_table, plate_modes
from tapscan.demo.taps import (
    HARD,
    SOFT,
    Damping,
    Force,
    Tap,
    make_tap,
    scan,
    select_modes,
    sensor_names,
    snr_noise_rms,
    station_shape,
)

RATE = 16000.0


def plate(label: str = "sound", pattern: str = "parlour-grand", loss_factor: float = 0.005) -> PlateModes:
    table = load_table(pattern)
    iron = Iron(0.0, np.zeros(len(table.meta["patches"])), np.full(table.n_modes, loss_factor))
    return plate_modes(table, label, iron)


def tap_of(modes: PlateModes, seconds: float = 2.0, station: str = "S4", **more) -> Tap:
    return make_tap(modes, station, HARD, "pickup 1", RATE, seconds, **more)


def spectrum_at(samples: np.ndarray, frequency_hz: float, rate_hz: float) -> complex:
    """One Fourier coefficient of a Hann-weighted stretch, summed directly."""
    n = np.arange(len(samples))
    return complex(np.sum(samples * np.hanning(len(samples)) * np.exp(-2j * np.pi * frequency_hz / rate_hz * n)))


@pytest.mark.parametrize("sensor", ["pickup 1", "near 1", "far 2"])
def test_each_mode_sounds_at_its_true_frequency_and_decay(sensor):
    modes = plate()
    for number in (8, 20, 45, 80):
        alone = select_modes(modes, np.arange(len(modes.frequency_hz)) == number)
        tap = make_tap(alone, "S4", HARD, sensor, RATE, 1.5, onset_s=0.05)
        coarse = tap.truth.frequency_hz[0] + 0.3
        start, shift, length = round(0.06 * RATE), round(0.25 * RATE), round(0.5 * RATE)
        first, second = (spectrum_at(tap.samples[n:][:length], coarse, RATE) for n in (start, start + shift))
        turned = second / first * np.exp(-2j * np.pi * coarse * shift / RATE)
        frequency = coarse + np.angle(turned) / (2 * np.pi * shift / RATE)
        decay = -np.log(abs(turned)) / (shift / RATE)
        # Image of the negative frequency under a Hann window: below 1e-6 of the line at 60 Hz and above.
        assert frequency == pytest.approx(tap.truth.frequency_hz[0], rel=1e-5)
        assert decay == pytest.approx(tap.truth.decay_rate_per_s[0], rel=1e-3)


def test_strongest_true_mode_is_the_highest_peak_of_the_whole_tap():
    tap = tap_of(plate(loss_factor=0.002), seconds=4.0)
    spectrum = np.abs(np.fft.rfft(tap.samples, 1 << 20))
    peak_hz = np.argmax(spectrum) * RATE / (1 << 20)
    # A line's height in the spectrum is strength over decay rate.
    height = tap.truth.strength / tap.truth.decay_rate_per_s
    # 0.3 Hz: neighbours pull the peak by a part of the linewidth.
    assert tap.truth.frequency_hz[np.argmax(height)] == pytest.approx(peak_hz, abs=0.3)


def test_response_agrees_with_a_force_stepped_in_time():
    """Direct convolution of the half-sine with each mode's impulse response, at 16 times the rate."""
    modes = select_modes(plate(), np.arange(143) < 40)
    tap = tap_of(modes, seconds=0.2, onset_s=0.01)
    fine = 16 * RATE
    t = np.arange(round(0.19 * fine)) / fine
    push = HARD.impulse_ns * np.pi / (2 * HARD.contact_s) * np.sin(np.pi * t / HARD.contact_s) * (t < HARD.contact_s)
    w = 2 * np.pi * modes.frequency_hz[:, None]
    d = modes.decay_rate_per_s[:, None]
    impulse = np.exp(-d * t) * (np.cos(w * t) - d / w * np.sin(w * t))
    weight = station_shape(modes, "S4") * modes.pickup[:, 0]
    velocity = np.convolve(push, weight @ impulse)[: len(t)] / fine
    error = tap.samples[round(0.01 * RATE) :][: len(t) // 16] - velocity[::16][: len(t) // 16]
    assert np.abs(error).max() < 2e-3 * np.abs(velocity).max()  # 0.2 %: rectangle rule at 256 kHz


def test_the_same_seed_makes_the_same_samples():
    one, two = (scan(plate(), "pickup 1", RATE, np.random.default_rng(5), stations=["S1", "S9"]) for _ in range(2))
    other = scan(plate(), "pickup 1", RATE, np.random.default_rng(6), stations=["S1", "S9"])
    assert all(np.array_equal(a.samples, b.samples) for a, b in zip(one, two, strict=True))
    assert not np.array_equal(one[0].samples, other[0].samples)


def test_scan_has_every_station_and_the_stated_noise():
    modes = plate()
    quiet = scan(modes, "pickup 1", RATE, np.random.default_rng(5), snr_db=None, peak=None)
    loud = scan(modes, "pickup 1", RATE, np.random.default_rng(5), snr_db=40.0, peak=None)
    assert [t.station for t in quiet[::3]] == modes.table.station_names
    assert [t.force_name for t in quiet[:3]] == ["soft", "hard", "hard"]
    noise = np.concatenate([b.samples - a.samples for a, b in zip(quiet, loud, strict=True)])
    assert noise.std() == pytest.approx(snr_noise_rms(quiet, 40.0), rel=5e-3)  # 2.9 million samples: sd 4e-4
    levels = [np.sqrt(np.mean(t.samples[1600:9600] ** 2)) for t in quiet]
    assert 20 * np.log10(np.median(levels) / noise.std()) == pytest.approx(40.0, abs=0.05)


def test_scan_is_scaled_by_one_gain_to_the_wanted_peak():
    taps = scan(plate(), "pickup 1", RATE, np.random.default_rng(5), stations=["S1", "S9"])
    assert max(np.abs(t.samples).max() for t in taps) == pytest.approx(0.5)
    samples, onsets = one_recording(taps, 0.5)
    assert len(samples) == sum(len(t.samples) for t in taps) + 6 * 8000
    assert onsets[1] == pytest.approx(3.5 + taps[1].onset_s)


def test_scan_of_a_plate_that_warms_takes_each_station_from_its_own_list():
    table = load_table("parlour-grand")
    iron = draw_iron(table, np.random.default_rng(4))
    warming = [plate_modes(table, "sound", iron, State(temperature_c=t)) for t in (20.0, 21.0)]
    taps = scan(warming, "pickup 1", RATE, np.random.default_rng(5), stations=["S1", "S9"], order=["hard"])
    ratio = taps[1].truth.frequency_hz[40:] / taps[0].truth.frequency_hz[40:]
    assert np.median(ratio) == pytest.approx(1.0 - 1.6e-4, abs=0.5e-4)  # band of published values per K


def test_hard_hit_is_stronger_and_hit_place_matters():
    modes = plate()
    soft, hard = (make_tap(modes, "S4", f, "pickup 1", RATE, 0.5) for f in (SOFT, HARD))
    assert np.abs(hard.samples).max() > 5 * np.abs(soft.samples).max()
    beside = make_tap(modes, "S4", HARD, "pickup 1", RATE, 0.5, offset_m=(0.004, 0.0))
    assert not np.allclose(beside.truth.strength, hard.truth.strength, rtol=1e-3)


def test_double_hit_makes_a_ripple_in_the_spectrum():
    """Identity: r = 0.5 and 10 ms make a ripple of 100 Hz period and 9.54 dB depth."""
    modes = plate(loss_factor=0.01)
    one = tap_of(modes, seconds=6.0)
    two = tap_of(modes, seconds=6.0, second_hit=(0.010, 0.5))
    ratio = np.abs(np.fft.rfft(two.samples)) / np.abs(np.fft.rfft(one.samples))
    frequency = np.fft.rfftfreq(len(one.samples), 1 / RATE)
    band = (frequency > 400) & (frequency < 800)
    depth = 20 * np.log10(ratio[band].max() / ratio[band].min())
    assert depth == pytest.approx(9.54, abs=0.1)  # 0.1 dB: the ring is cut after 6 s
    tops = frequency[band][ratio[band] > 1.499]
    assert np.all(np.abs(tops / 100.0 - np.round(tops / 100.0)) < 0.03)


def test_amplitude_dependent_damping_bends_the_decay_of_a_hard_tap_only():
    modes = select_modes(plate(), np.arange(143) == 12)
    rates = []
    for force in (SOFT, HARD):
        tap = make_tap(modes, "S4", force, "pickup 1", RATE, 3.0, damping=Damping(1.0))
        early, late = (np.abs(tap.samples[round(t * RATE) :][:1600]).max() for t in (0.11, 0.61))
        rates.append(np.log(early / late) / 0.5 / modes.decay_rate_per_s[0])
    assert 1.0 < rates[0] < 1.05
    assert rates[1] > rates[0] + 0.02


def test_supports_and_seeds_of_a_plate():
    table = load_table("small-grand")
    iron = draw_iron(table, np.random.default_rng(4))
    moved = State(supports=tuple(Support(i, 3e4, 0.02) for i in range(4)))
    here, there = (plate_modes(table, "sound", iron, s).frequency_hz for s in (State(), moved))
    assert 1e-6 < np.abs(np.log(here / there))[30:60].max() < 2e-3
    with pytest.raises(ValueError, match="in mm"):
        plate_modes(table, "sound", iron, State(supports=(Support(0, 3e4, 20.0),)))
    with pytest.raises(ValueError, match="depth 25 %"):
        table.case_index("depth")
    with pytest.raises(ValueError, match="near 1"):
        make_tap(plate(), "S4", HARD, "mic", RATE, 1.0)
    with pytest.raises(ValueError, match="S1 to S20"):
        make_tap(plate(), "S99", HARD, "pickup 1", RATE, 1.0)
    assert sensor_names(plate())[:2] == ["pickup 1", "pickup 2"]


def test_invented_high_modes_leave_the_table_modes_alone():
    modes = plate()
    more = extend_modes(modes, np.random.default_rng(2), 7000.0)
    assert np.array_equal(more.frequency_hz[:143], modes.frequency_hz[:143])
    assert len(more.frequency_hz) > 250
    assert np.all(np.diff(more.frequency_hz) > 0.0)
    assert np.isfinite(tap_of(more).samples).all()


# ---- a breathing crack -------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def halfway() -> PlateModes:
    return plate([x for x in load_table("parlour-grand").labels if x.startswith("depth 50")][-1])


def test_a_wide_open_and_a_tightly_shut_crack_are_linear(halfway):
    strikes = [Strike("S4", SOFT), Strike("S4", HARD)]
    for gap in (1e-3, -1e-3):
        crack = Breathing(gap)
        linear = halfway if gap > 0 else closed_modes(halfway, crack)
        for tap, strike in zip(breathing_taps(halfway, crack, strikes, "pickup 1", RATE, 1.0), strikes, strict=True):
            wanted = make_tap(linear, "S4", strike.force, "pickup 1", RATE, 1.0).samples
            left = np.sqrt(np.mean((tap.samples - wanted) ** 2) / np.mean(wanted**2))
            assert left < 5e-3  # half a per cent: the force is given in steps of 10 microseconds


def test_a_shut_crack_stepped_in_time_agrees_with_its_closed_form(halfway):
    """The stepping itself, kept from ending early by a gap that is wide but not wide enough for its bound."""
    crack = Breathing(-8e-6)
    force = Force(0.2, 3e-4)
    stepped = breathing_taps(halfway, crack, [Strike("S4", force)], "pickup 1", RATE, 0.4)[0].samples
    wanted = make_tap(closed_modes(halfway, crack), "S4", force, "pickup 1", RATE, 0.4).samples
    assert np.sqrt(np.mean((stepped - wanted) ** 2) / np.mean(wanted**2)) < 5e-3


def test_a_breathing_crack_answers_force_with_another_sound(halfway):
    soft, hard = Force(0.01, 4e-4), Force(0.4, 4e-4)
    for gap in (1e-6, -1e-6):
        taps = breathing_taps(halfway, Breathing(gap), [Strike("S4", soft), Strike("S4", hard)], "pickup 1", RATE, 0.5)
        quiet, loud = taps[0].samples * 40.0, taps[1].samples
        assert np.sqrt(np.mean((quiet - loud) ** 2) / np.mean(quiet**2)) > 0.05
    linear = make_tap(halfway, "S4", soft, "pickup 1", RATE, 0.5).samples * 40.0
    assert np.allclose(linear, make_tap(halfway, "S4", hard, "pickup 1", RATE, 0.5).samples)


def test_a_breathing_crack_needs_a_part_depth_case():
    with pytest.raises(ValueError, match="kind depth"):
        breathing_taps(plate(), Breathing(1e-6), [Strike("S4", HARD)], "pickup 1", RATE, 0.2)


# ---- what spoils a recording -------------------------------------------------------------------------------------


def test_codec_keeps_frequencies_and_stays_in_step():
    tap = tap_of(plate())
    samples = 0.5 * tap.samples / np.abs(tap.samples).max()
    decoded = nuisance.aac_round_trip(samples, 16000, 64000)
    assert decoded.shape == samples.shape
    assert np.corrcoef(samples, decoded)[0, 1] > 0.99
    assert not np.array_equal(samples, decoded)


def test_gain_riding_flattens_a_decay():
    tap = tap_of(plate())
    samples = 0.5 * tap.samples / np.abs(tap.samples).max()
    ridden = nuisance.gain_riding(samples, RATE)

    def fall_db(x: np.ndarray) -> float:
        early, late = (np.sqrt(np.mean(x[round(t * RATE) :][:3200] ** 2)) for t in (0.2, 1.5))
        return 20 * np.log10(early / late)

    assert fall_db(ridden) < fall_db(samples) - 3.0
    assert np.abs(ridden).max() < 2.0


@pytest.mark.parametrize("slope", [0.0, 3.0, 6.0])
def test_coloured_noise_has_its_slope(slope):
    noise = nuisance.coloured_noise(np.random.default_rng(1), 1 << 18, RATE, slope)
    power = np.abs(np.fft.rfft(noise)) ** 2
    frequency = np.fft.rfftfreq(len(noise), 1 / RATE)
    octaves = [np.mean(power[(frequency > f) & (frequency < 2 * f)]) for f in (100, 200, 400, 800, 1600)]
    fitted = np.polyfit(np.arange(5), 10 * np.log10(octaves), 1)[0]
    assert fitted == pytest.approx(-slope, abs=0.3)  # dB per octave; 0.1 dB is the scatter of the lowest octave
    assert noise.std() == pytest.approx(1.0, rel=1e-6)


def test_babble_and_steps_are_what_they_claim():
    talk = nuisance.babble(np.random.default_rng(1), 5 * 16000, RATE)
    steps = nuisance.footsteps(np.random.default_rng(1), 5 * 16000, RATE)
    frequency = np.fft.rfftfreq(len(talk), 1 / RATE)
    share = [np.sum(np.abs(np.fft.rfft(x))[frequency < 300] ** 2) for x in (talk, steps)]
    total = [np.sum(np.abs(np.fft.rfft(x)) ** 2) for x in (talk, steps)]
    assert share[0] / total[0] < 0.5 < share[1] / total[1]
    assert np.sqrt(np.mean(talk**2)) == pytest.approx(1.0)
    assert np.abs(steps).max() == pytest.approx(1.0)


def test_rattle_needs_a_hard_tap_and_stays_below_it():
    modes = plate()
    rng = np.random.default_rng(1)
    for force, heard in ((HARD, True), (Force(1e-4, 5e-4), False)):
        tap = make_tap(modes, "S4", force, "pickup 1", RATE, 1.0)
        added = nuisance.rattle(modes, tap, "pickup 1", 2, rng)
        assert bool(added.any()) is heard
        if heard:
            assert 0.01 < np.std(added) / np.std(tap.samples) < 0.7


def test_room_has_the_wanted_reverberation():
    where = room.Room(0.6)
    response = room.impulse_response(where, RATE)
    assert response[0] > 0.9
    # 10 %: the absorption is set by a few steps of iteration on the same decay range.
    assert room.decay_time_s(response[1:], RATE) == pytest.approx(0.6, rel=0.1)
    octave = np.fft.rfft(response)
    octave[np.abs(np.fft.rfftfreq(len(response), 1 / RATE) - 1500.0) > 500.0] = 0.0
    tail = np.fft.irfft(octave, len(response)) ** 2
    early, late = (np.sum(tail[round(t * RATE) :][:1600]) for t in (0.05, 0.25))
    assert 60.0 * 0.2 / (10 * np.log10(early / late)) == pytest.approx(0.6, rel=0.2)  # two stretches of 100 ms
    farther = replace(where, microphone_m=(2.3, 1.9, 2.6))
    reverberant = [np.sum(room.impulse_response(w, RATE)[8:] ** 2) for w in (where, farther)]
    assert reverberant[1] > 2.0 * reverberant[0]  # direct sound falls, the room stays
    samples = np.zeros(1000)
    samples[10] = 1.0
    assert np.allclose(room.in_room(samples, response)[10:], response[:990])
