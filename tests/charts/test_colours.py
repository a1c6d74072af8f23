"""Charts stay readable for colour-blind eyes: colours that stand side by side stay apart.

Seen through G. M. Machado, M. M. Oliveira & L. A. F. Fernandes, "A Physiologically-based Model for
Simulation of Color Vision Deficiency", IEEE TVCG 15(6), 2009: the matrices for severity 1.0, on
linear sRGB (figures FROM MEMORY; the published ones, with rows that sum to 1 since grey stays
grey, which the first test holds them to). Distance is CIE 1976 Delta E in L*a*b* under D65.
"""

import itertools

import numpy as np
import pytest

from analysis.charts import batch, batch_size, cost, look, putting_right, schedule

MACHADO = {
    "protanopia": [[0.152286, 1.052583, -0.204868], [0.114503, 0.786281, 0.099216],
                   [-0.003882, -0.048116, 1.051998]],
    "deuteranopia": [[0.367322, 0.860646, -0.227968], [0.280085, 0.672501, 0.047413],
                     [-0.011820, 0.042940, 0.968881]],
    "tritanopia": [[1.255528, -0.076749, -0.178779], [-0.078411, 0.930809, 0.147602],
                   [0.004733, 0.691367, 0.303900]],
}  # fmt: skip
EYES = {"all colours": np.eye(3)} | {name: np.array(rows) for name, rows in MACHADO.items()}
XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
APART = 10.0  # side by side, about four times the least difference an eye notices (2.3)


def seen(colour: str, eyes: str) -> np.ndarray:
    """A colour `#rrggbb` as those eyes see it, in L*a*b*."""
    coded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    linear = np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    whole = (XYZ @ np.clip(EYES[eyes] @ linear, 0, 1)) / (XYZ @ np.ones(3))
    cube = np.where(whole > 0.008856, np.cbrt(whole), 7.787 * whole + 16 / 116)
    x, y, z = cube
    return np.array([116 * y - 16, 500 * (x - y), 200 * (y - z)])


def apart(one: str, other: str, eyes: str) -> float:
    return float(np.linalg.norm(seen(one, eyes) - seen(other, eyes)))


def test_what_is_grey_stays_grey_for_all_eyes_and_red_and_green_do_not_stay_apart():
    for eyes in EYES:
        assert apart(look.GREY, look.GREY, eyes) == 0
        assert seen("#808080", eyes) == pytest.approx(seen("#808080", "all colours"), abs=0.05)
    # What the simulation is for: a red and a green of equal lightness fall together.
    assert apart("#C00000", "#806000", "protanopia") < apart("#C00000", "#806000", "all colours")
    assert apart("#D04040", "#709000", "deuteranopia") < 0.45 * apart(
        "#D04040", "#709000", "all colours"
    )


PALETTES = {
    "activities of a batch": [kind.colour for kind in batch.ACTIVITIES.values()],
    "parts of a cost": [kind.colour for kind in cost.PARTS.values()],
    "workers' curves": list(look.SERIES_COLOURS),
    "workers of a schedule": [schedule.SETUP.colour, *schedule._WORKER_COLOURS],
    "fits the week": [look.SKY, look.ORANGE, look.VERMILION],
    "weeks that are news": [look.BLUE, look.VERMILION],
}


@pytest.mark.parametrize("eyes", EYES)
@pytest.mark.parametrize("palette", PALETTES)
def test_colours_of_one_chart_stay_apart(palette, eyes):
    near = {
        (one, other): round(apart(one, other, eyes), 1)
        for one, other in itertools.combinations(PALETTES[palette], 2)
    }
    assert min(near.values()) >= APART, sorted(near.items(), key=lambda pair: pair[1])[:3]


POINTS_AND_LINES = {
    *look.SERIES_COLOURS,
    look.GREY,
    *(colour for _, colour, _ in putting_right.MEASURES.values()),
    *batch_size.COLOURS.values(),
}


@pytest.mark.parametrize("ground", ["#fdfcf9", "#1b1d21"])
def test_lines_and_points_stand_out_from_a_light_and_a_dark_ground(ground):
    """WCAG 2.2, 1.4.11: graphics 3 to 1. Bars may be lighter: they are outlined in ink."""
    weak = {colour: round(contrast(colour, ground), 2) for colour in POINTS_AND_LINES}
    assert min(weak.values()) >= 3, weak


def contrast(one: str, other: str) -> float:
    """WCAG 2.2's contrast ratio, from 1 to 21."""
    lower, upper = sorted(_luminance(colour) for colour in (one, other))
    return (upper + 0.05) / (lower + 0.05)


def _luminance(colour: str) -> float:
    coded = np.array([int(colour[at : at + 2], 16) for at in (1, 3, 5)]) / 255
    return float(
        XYZ[1] @ np.where(coded <= 0.04045, coded / 12.92, ((coded + 0.055) / 1.055) ** 2.4)
    )
