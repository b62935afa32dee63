"""A mechanism that the file only names is not judged in silence."""

from __future__ import annotations

from robots import check, find


def test_a_plain_mechanism_is_unknown_and_says_what_is_missing(tmp_path):
    found = find(check(tmp_path, {"mechanisms": {"catapult": {"kind": "plain"}}}), "mechanism.catapult")
    assert found.verdict == "unknown"
    assert found.missing == ("mechanisms.catapult.kind",)
    assert found.value is None
    assert found.margin is None
    assert "catapult" in found.because


def test_without_plain_mechanisms_nothing_is_said(tmp_path):
    assert not [f for f in check(tmp_path).findings if f.id.startswith("mechanism.")]
