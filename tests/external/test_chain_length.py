"""Chain length, centre distance and unevenness against printed values and a taut hull."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar
from scipy.spatial import ConvexHull

from fieldworthy.physics.motors import chain
from reference import case


def hull_links(z1, z2, centre, points=40_000):
    """Links of a taut chain: the convex hull of two rings of points, long edges straight, the rest wrap."""
    angle = np.linspace(0.0, 2.0 * np.pi, points, endpoint=False)
    circles = []
    for z, x in ((z1, 0.0), (z2, centre)):
        r = 0.5 / np.sin(np.pi / z)
        circles.append(np.column_stack([x + r * np.cos(angle), r * np.sin(angle)]))
    cloud = np.vstack(circles)
    hull = ConvexHull(cloud).vertices
    edges = np.diff(cloud[np.append(hull, hull[0])], axis=0)
    owner = np.append(hull, hull[0]) >= points
    straight = owner[1:] != owner[:-1]
    total = np.hypot(*edges[straight].T).sum()
    for which, z in ((False, z1), (True, z2)):
        on = ~straight & (owner[:-1] == which)
        total += z * on.sum() / points  # each short edge turns by one step of the circle: so many teeth of its wrap
    return total


def test_textbook_drive_20_to_63_teeth():
    # CHN-01, strength A: textbook values 114.8 and 35.6 as quoted in a paper's example, rounded to 0.1;
    # the same paper's "exact" 114.305 and 35.8447 are misprints.
    ref = case("CHN-01")
    given, want = ref["inputs"], ref["expected"]
    p = 0.0127
    n1, n2 = given["N1"], given["N2"]
    exact = chain.length(p, n1, n2, given["C_start_pitches"] * p)
    assert exact == pytest.approx(want["L_pitches"]["value"], abs=0.05)
    centre = chain.centre_distance(p, n1, n2, given["L_chosen_pitches"]) / p
    assert centre == pytest.approx(want["C_corrected"]["value"], abs=0.05)


def test_12_to_24_teeth_at_200_mm():
    # CHN-04, strength B: exact tangent geometry solved with scipy brentq; formula as read on makers' pages
    ref = case("CHN-04")
    given, want = ref["inputs"], ref["expected"]
    args = (given["pitch_mm"] / 1e3, given["N1"], given["N2"])
    exact = chain.length(*args, given["C_mm"] / 1e3)
    assert exact == pytest.approx(want["L_exact"]["value"], rel=1e-9)
    links = chain.whole_links(exact)
    assert links == want["L_even"]["value"]
    assert 1e3 * chain.centre_distance(*args, links) == pytest.approx(want["C_for_L_even_exact"]["value"], rel=1e-9)


@pytest.mark.parametrize("name", ["chain-0", "chain-2"])
def test_short_drives(name):
    # Formula of a textbook evaluated elsewhere; pairs with the hull below, which needs no formula
    ref = case(name)
    given, want = ref["given"], ref["expect"]
    args = (given["pitch_mm"] / 1e3, *given["teeth"], given["centre_mm"] / 1e3)
    assert chain.whole_links(chain.length(*args)) == want["even_pitches"]


@pytest.mark.parametrize(
    ("z1", "z2", "centre"),
    [(12, 30, 150 / 6.35), (20, 63, 36.0), (9, 9, 14.2), (30, 12, 11.0), (8, 60, 14.0)],
)
def test_length_is_that_of_the_hull(z1, z2, centre):
    # scipy's ConvexHull of two rings of points; its resolution is one step of a ring, 1e-3 of a pitch at most
    found = chain.length(0.0127, z1, z2, centre * 0.0127)
    assert found == pytest.approx(hull_links(z1, z2, centre), abs=2e-3)


@pytest.mark.parametrize(("z1", "z2", "links"), [(12, 24, 82), (9, 9, 30), (10, 40, 60), (60, 8, 70)])
def test_centre_distance_against_brentq(z1, z2, links):
    # The root of the tangent equation written with atan2 and solved by scipy: another path to the same
    # geometry
    r1, r2 = 0.5 / np.sin(np.pi / z1), 0.5 / np.sin(np.pi / z2)

    def short_by(c):
        run = np.sqrt(c * c - (r2 - r1) ** 2)
        lean = np.arctan2(r2 - r1, run)
        return 2 * run + z1 * (0.5 - lean / np.pi) + z2 * (0.5 + lean / np.pi) - links

    root = brentq(short_by, r1 + r2, links, xtol=1e-12)
    assert chain.centre_distance(0.00635, z1, z2, links) / 0.00635 == pytest.approx(root, rel=1e-10)


def test_unevenness_of_speed():
    # CHN-02: eq. 7.13 of a textbook, as read, evaluated; below it is found again from the turning polygon
    # itself
    ref = case("CHN-02")
    assert ref["inputs"]["z"]
    for teeth in ref["inputs"]["z"]:
        want = ref["expected"][f"z={teeth}"]["value"] / 100.0
        assert chain.speed_variation(teeth) == pytest.approx(want, rel=1e-5)


@pytest.mark.parametrize("teeth", [6, 9, 12, 25])
def test_unevenness_from_the_polygon(teeth):
    # Numeric: the chain's forward speed is the height of the driving joint over one tooth, dense in angle
    r = 0.5 / np.sin(np.pi / teeth)
    height = r * np.cos(np.linspace(-np.pi / teeth, np.pi / teeth, 200_001))
    mean = np.trapezoid(height, dx=1.0) / 200_000
    assert chain.speed_variation(teeth) == pytest.approx((height.max() - height.min()) / mean, rel=1e-8)


def test_sizes_against_the_inch_standard():
    # CHN-05, strength A: ASME/ANSI B29.1 table, as read; the inch numbers 25, 35, 40, 41, 50, 60 by their
    # ISO names
    want = case("CHN-05")["expected"]
    names = {"25": "04C", "35": "06C", "40": "08A", "41": "085", "50": "10A", "60": "12A"}
    for inch_number, iso in names.items():
        assert chain.SIZES[iso].pitch * 1e3 == pytest.approx(want[f"pitch_{inch_number}"]["value"], abs=1e-3)
    for inch_number in ("25", "35"):
        found = chain.SIZES[names[inch_number]].roller_diameter * 1e3
        assert found == pytest.approx(want[f"Dr_{inch_number}"]["value"], abs=0.01)


@given(
    st.integers(6, 60),
    st.integers(6, 60),
    st.floats(1.05, 8.0),
    st.sampled_from([0.00635, 0.009525, 0.0127]),
)
def test_centre_to_links_and_back(z1, z2, spread, pitch):
    centre = spread * (chain.pitch_radius(pitch, z1) + chain.pitch_radius(pitch, z2))
    links = chain.length(pitch, z1, z2, centre)
    assert chain.centre_distance(pitch, z1, z2, links) == pytest.approx(centre, rel=1e-9)
    assert links == pytest.approx(chain.length(pitch, z2, z1, centre), rel=1e-12)


def test_tensioner_against_a_solved_triangle():
    # scipy's root of the length of two straight lines over the idler
    run, spare = 0.18, 0.004
    root = brentq(lambda h: 2.0 * np.hypot(run / 2, h) - run - spare, 0.0, 1.0, xtol=1e-14)
    assert chain.tensioner_travel(run, spare) == pytest.approx(root, rel=1e-9)
    # The same run found as the long edge of the hull above: 12 and 24 teeth, 200 mm
    r1, r2 = 0.00635 / 2 / np.sin(np.pi / 12), 0.00635 / 2 / np.sin(np.pi / 24)
    assert chain.span(0.00635, 12, 24, 0.2) == pytest.approx(np.sqrt(0.2**2 - (r2 - r1) ** 2), rel=1e-12)


def test_slack_of_a_worn_chain():
    # Hand arithmetic: 82 links of 1/4 inch worn by 2 % on a path of 81 pitches: (83.64 - 81) 6.35 mm =
    # 16.764 mm
    assert chain.slack(0.00635, 81.0, 82, 0.02) == pytest.approx(0.016764, rel=1e-9)
    assert chain.slack(0.00635, 82.5, 82) == pytest.approx(-0.003175, rel=1e-9)


def test_batch_equals_case_by_case():
    z1, z2 = np.array([9, 12, 30]), np.array([9, 40, 18])
    centre = np.array([0.1, 0.2, 0.3])
    together = chain.length(0.00635, z1, z2, centre)
    links = chain.whole_links(together)
    back = chain.centre_distance(0.00635, z1, z2, links)
    for i in range(3):
        assert together[i] == chain.length(0.00635, int(z1[i]), int(z2[i]), float(centre[i]))
        assert back[i] == chain.centre_distance(0.00635, int(z1[i]), int(z2[i]), float(links[i]))


def test_a_chain_that_cannot_close_is_zero_within_a_batch():
    found = chain.centre_distance(0.00635, 12, 24, np.array([20.0, 82.0]))
    assert found[0] == 0.0
    assert found[1] == pytest.approx(case("CHN-04")["expected"]["C_for_L_even_exact"]["value"] / 1e3, rel=1e-9)


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (lambda: chain.length(0.00635, 12, 24, 0.0), "centre"),
        (lambda: chain.length(0.00635, 2, 24, 0.2), "teeth_1"),
        (lambda: chain.centre_distance(0.00635, 12, 24, 20), "links.*cannot close"),
        (lambda: chain.slack(0.00635, 80.0, 82, -0.1), "elongation"),
        (lambda: chain.tensioner_travel(float("nan"), 0.01), "span"),
        (lambda: chain.whole_links(10.0, 0), "multiple"),
    ],
)
def test_bad_input_is_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


def hung_tension(force, span, slack):
    """Tension of a cord pressed in at its middle, by least energy: SciPy finds where the weight of the idler rests.

    The cord is a stiff spring on each side; the idler is pulled by a constant force.
    """
    stiff = 1e6
    half = 0.5 * (span + slack)

    def energy(h):
        stretched = max(np.hypot(0.5 * span, h) - half, 0.0)
        return stiff * stretched**2 - force * h

    h = minimize_scalar(energy, bounds=(0.0, span), method="bounded", options={"xatol": 1e-12}).x
    return 2.0 * stiff * (np.hypot(0.5 * span, h) - half) / 2.0


@pytest.mark.parametrize(("force", "slack"), [(4.0, 0.002), (12.0, 0.0176), (20.0, 0.04)])
def test_tension_of_a_run_held_by_an_idler_by_least_energy(force, slack, evidence):
    ours, found = float(chain.run_tension(force, 0.108, slack)), hung_tension(force, 0.108, slack)
    evidence(
        "intake",
        "Tension of a chain's slack run that an idler holds",
        "least energy of two stiff springs, by SciPy",
        "4 to 20 N on runs with 2 to 40 mm of slack",
        "N",
        ours,
        found,
    )
    # the springs give by 0.1 mm or less
    assert ours == pytest.approx(found, rel=0.01)


def test_an_idler_on_a_taut_chain_has_no_angle():
    assert chain.run_tension(5.0, 0.1, 0.0) == np.inf
    assert chain.run_tension(5.0, 0.1, -0.003) == np.inf


def carried(teeth, joints, tight):
    """Tension behind the last of so many joints on a sprocket: forces on every joint, solved as one system.

    A joint is drawn along the chord ahead of it and the chord behind it, and the tooth presses on it at the angle from
    the chord ahead that the handbook gives. Unknown: a tooth's force and a tension for each joint.
    """
    step, press = 2 * np.pi / teeth, np.radians(35 - 120 / teeth)
    matrix, right = np.zeros((2 * joints, 2 * joints)), np.zeros(2 * joints)
    for k in range(joints):
        ahead, behind = (np.array([np.cos(a), np.sin(a)]) for a in (0.0, np.pi + step))
        # against the pull, turned outwards
        tooth = np.array([np.cos(np.pi - press), np.sin(np.pi - press)])
        rows = slice(2 * k, 2 * k + 2)
        matrix[rows, k] = tooth
        matrix[rows, joints + k] = behind
        if k == 0:
            right[rows] = -tight * ahead
        else:
            matrix[rows, joints + k - 1] = ahead
    return np.linalg.solve(matrix, right)[-1]


@pytest.mark.parametrize("teeth", [6, 9, 16, 30])
def test_slack_that_keeps_a_chain_on_its_teeth_by_the_forces_on_every_joint(teeth, evidence):
    joints = teeth // 2 - 1
    needed = float(chain.slack_needed(60.0, teeth, teeth / 2))
    found = carried(teeth, joints, 60.0 + needed)
    evidence(
        "intake",
        "Slack tension below which a chain climbs its teeth",
        "equilibrium of every joint as one linear system, by NumPy; angle of the teeth from memory",
        "half-wrapped sprockets of 6 to 30 teeth, a pull of 60 N",
        "N",
        needed,
        found,
    )
    assert needed == pytest.approx(found, rel=1e-9)


def test_what_the_chain_lies_on_by_the_hull():
    # the ring points of the hull that are not on a straight run, as a share of the teeth
    for z, other, centre in ((12, 30, 20.0), (30, 12, 20.0), (9, 9, 14.0)):
        wrapped = float(chain.wrapped_teeth(0.0127, z, other, centre * 0.0127))
        # a longer chain by what lies on both, less the two runs
        rest = hull_links(z, other, centre) - 2 * float(chain.span(0.0127, z, other, centre * 0.0127)) / 0.0127
        assert wrapped + float(chain.wrapped_teeth(0.0127, other, z, centre * 0.0127)) == pytest.approx(rest, abs=5e-3)


def test_too_few_teeth_under_a_chain_hold_it_with_nothing():
    assert chain.slack_needed(10.0, 5, 1.4) == np.inf
    with pytest.raises(ValueError, match="at least 4"):
        chain.slack_needed(10.0, 3, 1.5)


@pytest.mark.parametrize(
    ("size", "teeth", "diameter"), [("XL", 10, 16.17), ("XL", 20, 32.34), ("L", 14, 42.45), ("H", 16, 64.68)]
)
def test_a_belts_pulley_against_the_standards_table(size, teeth, diameter):
    # Pitch diameters of ISO 5294, printed to 0.01 mm; from memory
    assert 2e3 * chain.pitch_radius(chain.SIZES[size].pitch, teeth, belt=True) == pytest.approx(diameter, abs=0.006)


@pytest.mark.parametrize(("z1", "z2", "centre"), [(20, 40, 100.0), (15, 15, 60.0), (12, 60, 45.0), (60, 12, 45.0)])
def test_a_belts_length_is_that_of_a_rope_round_two_discs(z1, z2, centre, evidence):
    # The convex hull of two rings of points (scipy) is the rope; discs of as many pitches round as the pulley has teeth
    angle = np.linspace(0.0, 2.0 * np.pi, 20_000, endpoint=False)
    ring = np.column_stack([np.cos(angle), np.sin(angle)])
    hull = ConvexHull(np.vstack([z1 / np.pi * ring, z2 / np.pi * ring + [centre, 0.0]]))  # 2 mm pitch, in mm
    found = chain.length(0.002, z1, z2, centre / 1e3, belt=True)
    evidence("intake", "Length of a toothed belt", "convex hull of two discs, by SciPy",
             "12 to 60 teeth of 2 mm, 45 to 100 mm apart", "teeth", found, hull.area / 2.0)  # fmt: skip
    assert found == pytest.approx(hull.area / 2.0, rel=1e-6)  # the area of a hull in a plane is its edge
    assert 1e3 * chain.centre_distance(0.002, z1, z2, found, belt=True) == pytest.approx(centre, rel=1e-9)


def test_a_belts_length_by_the_handbooks_series():
    # 2 C + pi (D + d) / 2 + (D - d)^2 / (4 C), to the first term, with D = z p / pi: 260.4 mm and 130.20 teeth for 20
    # and 40 teeth of 2 mm at 100 mm; the next term of the series is below 0.001 of a tooth
    assert chain.length(0.002, 20, 40, 0.1, belt=True) == pytest.approx(130.20, abs=0.005)
    assert chain.wrapped_teeth(0.002, 20, 40, 0.1, belt=True) == pytest.approx(
        20 * (0.5 - np.arcsin(20 / np.pi / 100) / np.pi), rel=1e-9
    )
