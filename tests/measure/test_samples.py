"""Sensor readings: hue classes and thresholds, held to truths that only the test knows."""

from __future__ import annotations

import numpy as np
import pytest

from fieldworthy.files import BadInput
from fieldworthy.measure.fit import procedures
from fieldworthy.measure.prediction import combined, comparisons
from fieldworthy.physics.chance.chance import hue_estimate, spread_half_width
from fitted import LEAST, MOST, covers, measurements, only, rms, told, untold, write_csv

ROLLERS = {"diameter": "60 mm", "squeeze": "5 mm", "press": "5 N", "friction": 0.8, "width": "200 mm"}
SORTER = {
    "mechanisms": {
        "intake": {
            "kind": "intake", "object": "ball",
            "stages": {"one": {"motor": "test motor", "rollers": ROLLERS, "climb": "20 deg"}},
        },
        "sorter": {
            "kind": "sorter", "intake": "intake", "stage": "one",
            "sensor": {"period": "10 ms", "latency": "5 ms"},
            "classes": {
                "red": {"hue": "10 deg", "spread": "10 deg"},
                "blue": {"samples": ["220 deg", "230 deg", "240 deg"]},
            },
            "unwanted": "blue", "background": {"hue": "100 deg"},
        },
    }
}  # fmt: skip
COLUMNS = {"class": {"column": "colour"}, "hue": {"column": "hue", "unit": "deg"}}


def sampled(folder, classes=None, **more):
    section = ({"classes": classes} if classes else {}) | more
    return only(measurements(folder, {"samples": {"sorter": section}}, SORTER))


def hues(rng, mean, spread, count):
    return np.mod(rng.normal(mean, spread, count), 360.0)


@pytest.mark.long
def test_means_and_spreads_hold_the_truth_as_often_as_they_say_and_beat_one_reading(tmp_path):
    first = []

    def fit(seed):
        rng = np.random.default_rng(seed)
        red, blue = hues(rng, 5.0, 20.0, 12), hues(rng, 240.0, 9.0, 20)  # red lies across the circle's seam
        first.append((red[0] - 5.0 + 180.0) % 360.0 - 180.0)
        columns = {"red": red, "blue": blue}
        return sampled(tmp_path, {k: {"hue": [f"{h:.5f} deg" for h in v]} for k, v in columns.items()})

    truths = {"hue of 'red'": 5.0, "spread of 'red'": 20.0, "hue of 'blue'": 240.0, "spread of 'blue'": 9.0}
    found = covers(fit, {name: np.radians(v) for name, v in truths.items()})
    for share, errors in found.values():
        assert LEAST <= share <= MOST
        assert rms(errors) < np.radians(8.0)
    assert rms(found["hue of 'red'"][1]) < 0.4 * rms(np.radians(first))  # 1 / sqrt(12) is 0.29


def test_thresholds_lie_where_the_densities_of_the_truth_are_equal(tmp_path):
    # equal spreads and shares: half way between the means, 40 deg and 200 deg, so at 120 deg and 300 deg
    rng = np.random.default_rng(5)
    classes = {"red": hues(rng, 40.0, 12.0, 400), "blue": hues(rng, 200.0, 12.0, 400)}
    found = sampled(tmp_path, {k: {"hue": [f"{h:.4f} deg" for h in v]} for k, v in classes.items()})
    for name, truth in (("hue from which it is 'blue'", 120.0), ("hue from which it is 'red'", 300.0)):
        item = found.get(name)
        assert abs(item.value - np.radians(truth)) <= 1.5 * item.half_width
        assert np.radians(0.2) < item.half_width < np.radians(12.0)
    assert any("Thresholds" in note for note in found.notes)


@pytest.mark.long
def test_thresholds_hold_the_truth_about_as_often_as_they_say(tmp_path):
    def fit(seed):
        rng = np.random.default_rng(seed)
        classes = {"red": hues(rng, 40.0, 12.0, 25), "blue": hues(rng, 200.0, 12.0, 25)}
        return sampled(tmp_path, {k: {"hue": [f"{h:.4f} deg" for h in v]} for k, v in classes.items()})

    found = covers(fit, {"hue from which it is 'blue'": np.radians(120.0)}, range(100))
    assert found
    for share, _ in found.values():
        assert 0.88 <= share <= 1.0


def test_a_table_of_readings_gives_what_the_same_readings_by_hand_give(tmp_path):
    rng = np.random.default_rng(1)
    red, blue, brightness = hues(rng, 5.0, 20.0, 9), hues(rng, 240.0, 9.0, 9), rng.uniform(0.4, 0.5, 18)
    text = [f"{h:.3f}" for h in (*red, *blue)]
    write_csv(tmp_path / "hues.csv", ("colour", "hue", "bright"), ["red"] * 9 + ["blue"] * 9, text,
              [f"{100 * b:.2f}" for b in brightness], delimiter=";")  # fmt: skip
    columns = COLUMNS | {"brightness": {"column": "bright", "unit": "%"}}
    by_table = sampled(tmp_path, file="hues.csv", columns=columns)
    shares = {"red": brightness[:9], "blue": brightness[9:]}
    by_hand = sampled(tmp_path, {
        label: {"hue": [f"{t} deg" for t in part], "brightness": [f"{100 * b:.2f} %" for b in shares[label]]}
        for label, part in (("red", text[:9]), ("blue", text[9:]))
    })  # fmt: skip
    assert told(by_table) == pytest.approx(told(by_hand))
    assert told(by_table)["brightness of 'red'"] == pytest.approx(brightness[:9].mean(), abs=1e-4)


def test_a_class_that_lists_readings_has_them_replaced(tmp_path):
    hand = {"hue": [f"{h} deg" for h in (220, 230, 241, 233, 229, 226, 238, 231)]}
    found = sampled(tmp_path, {"blue": hand})
    item = found.get("hue of 'blue'")
    assert item.key == ("mechanisms", "sorter", "classes", "blue", "hue")
    assert item.replaces == (("mechanisms", "sorter", "classes", "blue", "samples"),)
    assert untold(found) == {"hue of 'red'", "spread of 'red'"}  # not read


def test_a_hue_across_the_seam_agrees_with_its_neighbour_on_the_other_side(tmp_path):
    hand = {"hue": [f"{h} deg" for h in (339, 25, 350, 5, 15, 335, 20, 350)]}  # 21 + 10 + 25 + 10 less 25 + 5 + 15 + 20
    measured = measurements(tmp_path, {"samples": {"sorter": {"classes": {"red": hand}}}}, SORTER)
    found = {c.key: c for c in comparisons(measured, combined(procedures(measured)))}
    hue = found["mechanisms.sorter.classes.red.hue"]
    assert np.degrees(hue.value) == pytest.approx(360.0 - 1.0 / 8.0, abs=0.2)
    assert np.degrees(hue.half_width) > 10.2  # the file says 10 deg
    assert hue.standing == "agrees"


@pytest.mark.parametrize(
    ("red", "cannot", "word"),
    [
        (["10 deg", "11 deg"], {"hue of 'red'", "spread of 'red'"}, "2 readings"),
        (["10 deg"] * 8, {"hue of 'red'", "spread of 'red'"}, "stuck"),
        (["0 deg", "90 deg", "180 deg", "270 deg"], {"hue of 'red'", "spread of 'red'"}, "every way"),
        (["10 deg", "14 deg", "12 deg"], {"spread of 'red'"}, "factor of two"),
    ],
)
def test_readings_that_cannot_tell_say_so(tmp_path, red, cannot, word):
    found = sampled(tmp_path, {"red": {"hue": red}})
    assert untold(found) - {"hue of 'blue'", "spread of 'blue'"} == cannot
    assert any(word in item.why for item in found.unidentified)


def test_a_wrong_class_and_a_hue_off_the_circle_are_named_by_row(tmp_path):
    rows = [("red", 10), ("red", 12), ("bleu", 230), ("blue", 365), ("blue", 231), ("red", 9)]
    write_csv(tmp_path / "hues.csv", ("colour", "hue"), *zip(*rows, strict=True))
    with pytest.raises(BadInput) as caught:
        sampled(tmp_path, file="hues.csv", columns=COLUMNS)
    problems = [(p.file.name, p.line, p.suggestion) for p in caught.value.problems]
    assert problems == [("hues.csv", 4, "blue"), ("hues.csv", 5, None)]


@pytest.mark.parametrize(
    ("section", "word"),
    [
        ({"columns": COLUMNS}, "either"),
        ({"file": "hues.csv", "columns": {"class": {"column": "c"}}}, "hue"),
        ({"file": "hues.csv", "columns": COLUMNS | {"huge": {"column": "c"}}}, "expected one of"),
        ({"classes": {"green": {"hue": ["1 deg", "2 deg", "3 deg"]}}}, "red"),
        ({"classes": {"red": {"hue": ["1 deg", "400 deg"]}}}, "circle"),
    ],
)
def test_mistakes_are_named_at_their_place(tmp_path, section, word):
    write_csv(tmp_path / "hues.csv", ("c", "hue"), ["red", "blue"], [1, 2])
    with pytest.raises(BadInput) as caught:
        sampled(tmp_path, **section)
    assert all(p.key[:2] == ("samples", "sorter") for p in caught.value.problems)
    assert word in str(caught.value)


def test_only_a_sorter_has_classes(tmp_path):
    with pytest.raises(BadInput, match="sorter"):
        only(measurements(tmp_path, {"samples": {"intake": {"classes": {"red": {"hue": ["1 deg"]}}}}}, SORTER))


def test_estimates_refuse_what_says_nothing():
    with pytest.raises(ValueError, match="two readings"):
        spread_half_width(1)
    with pytest.raises(ValueError, match="three readings"):
        hue_estimate(np.array([1.0, 1.0, 1.0]))
    with pytest.raises(ValueError, match="every way"):
        hue_estimate(np.radians([0.0, 90.0, 180.0, 270.0]))
