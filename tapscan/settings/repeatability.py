"""How far scans of an unchanged plate lie apart."""

from msgspec import Struct

from tapscan.settings.definition import JUDGEMENT, SIMULATED, stage, threshold


@stage("repeatability", counted_in=("comparison",))
class Repeatability(Struct, frozen=True):
    """How far an unchanged plate differs from scan to scan."""

    low_ppm: float = threshold(170.0, "ppm", "supports moved by up to 30 mm, at 100 Hz, one scan", SIMULATED)
    slope: float = threshold(1.7, "1", "power by which the supports' part falls with frequency", SIMULATED)
    high_ppm: float = threshold(4.0, "ppm", "what is left of it well above 300 Hz, contact pickup", SIMULATED)
    high_microphone_ppm: float = threshold(
        50.0, "ppm", "the same by microphone in a room, corrected by repeated scans", SIMULATED
    )
    alone_microphone_ppm: float = threshold(400.0, "ppm", "the same where no scan was repeated", SIMULATED)
    supports_ppm: float = threshold(
        3000.0,
        "ppm",
        "supports of any usual kind, one scan, at 100 Hz; falls by the same power; counts until the plate was seen to repeat on two days",
        SIMULATED,
    )
    supports_high_ppm: float = threshold(
        80.0, "ppm", "what is left of it well above 300 Hz, until the plate was seen to repeat three times", SIMULATED
    )
    supports_high_seen_ppm: float = threshold(40.0, "ppm", "the same once it was", SIMULATED)
    supports_left_two: float = threshold(
        0.3, "1", "share of it that stays after two scans: few supports, few degrees of freedom", SIMULATED
    )
    supports_left_three: float = threshold(0.125, "1", "the same, three scans or more", SIMULATED)
    fit_factor: float = threshold(2.0, "1", "close modes are this much worse than the fit's own sd says", SIMULATED)
    fit_factor_room: float = threshold(
        0.5,
        "1",
        "the same for modes told in a room: their sd is wide, and most of it is the room's doing, which repeats from scan to scan",
        SIMULATED,
    )
    loss: float = threshold(0.02, "1", "scatter of ln loss factor, contact pickup", SIMULATED)
    loss_low: float = threshold(0.02, "1", "scatter of ln loss factor by supports, at 100 Hz", SIMULATED)
    loss_microphone: float = threshold(0.15, "1", "scatter of ln loss factor, microphone in a room", SIMULATED)
    prior_freedom: float = threshold(
        10.0, "degrees of freedom", "weight of what ships against what this plate's neighbouring modes show", JUDGEMENT
    )
    own_freedom: float = threshold(
        6.0, "degrees of freedom", "weight of the neighbouring modes against the mode's own few scans", JUDGEMENT
    )
    least_level: float = threshold(
        1.0,
        "1",
        "of the variance that ships, by pickup: scans of one day on chalked pads repeat better than the next one years later",
        "an outside reading of the comparison's model scans: softer pads called 25 of 60 without it and 1 of 60 with it",
    )
    smoothing: float = threshold(0.3, "ln frequency", "width over which scatter is smoothed", JUDGEMENT)
    finish_ppm: float = threshold(
        250.0, "ppm", "0.3 mm of finish, left per mode after the common shift; added to the scatter", SIMULATED
    )
    supports_factor: float = threshold(
        3.0, "1", "other supports scatter this much more than the same ones moved", JUDGEMENT
    )
    supports_lowest_hz: float = threshold(300.0, "Hz", "with other supports, modes below are not judged", SIMULATED)
    sensor_mass_g: float = threshold(
        5.0,
        "g",
        "a sensor up to this mass repeats when it is put back within 10 mm",
        "simulation and Rayleigh's principle",
    )
    sensor_mass_apart_g: float = threshold(
        1.0,
        "g",
        "sensors further apart in mass than this are not the same: 1 g moves modes as far as an unchanged plate scatters at 1 kHz",
        "Rayleigh's principle, on a plate of 104 kg",
    )
