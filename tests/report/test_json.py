"""The plan as JSON: the keys that others rely on, plain numbers, the same bytes for the same plan."""

import json
from typing import Any

import numpy as np
import pytest
from helpers.fake_plan import HOSTILE, LONE_SURROGATE, controlled, never_thick, with_words
from helpers.small_plan import small_plan
from numpy.testing import assert_allclose

from geom.report.jsonfile import as_json, plan_tree
from geom.report.plainjson import dumped

PROMISED = {
    "schema_version": str,
    "part.wetted_area_mm2": float,
    "part.volume_mm3": float,
    "recommendation.current_A": float,
    "recommendation.mean_current_density_A_dm2": float,
    "recommendation.cell_voltage_V": float,
    "recommendation.time_min": float,
    "recommendation.limits": list,
    "balance.cathode_A": float,
    "balance.anode_A": float,
    "current_density.mean_A_dm2": float,
    **{f"current_density.ratio.{p}": float for p in ("p1", "p10", "p50", "p90", "p99")},
    **{f"thickness_um.{p}": float for p in ("mean", "min", "p1", "p10", "p50", "p90", "p99", "max")},
    "features": list,
    "deposit.mass_g": float,
    "deposit.charge_Ah": float,
    "anode.mass_g": float,
    "findings": list,
}
"""The contract of the document, written down apart from the program and its page."""


def strict(text: str) -> Any:
    """Return the document; NaN and Infinity, which Python reads and JSON does not have, are an error."""

    def refuse(word: str) -> None:
        raise AssertionError(word)

    return json.loads(text, parse_constant=refuse)


def at(tree: Any, key: str) -> Any:
    for word in key.split("."):
        tree = tree[word]
    return tree


@pytest.mark.parametrize("key", PROMISED)
def test_a_key_that_others_rely_on_is_there(key: str):
    assert type(at(strict(as_json(small_plan())), key)) is PROMISED[key]


def test_lists_have_the_keys_that_others_rely_on():
    tree = strict(as_json(small_plan()))
    assert tree["schema_version"] == "1"
    for limit in tree["recommendation"]["limits"]:
        assert {"name", "value", "binds"} <= limit.keys()
        assert type(limit["binds"]) is bool
    wanted = {"name", "kind", "area_mm2", "current_density_ratio", "thickness_um", "extra_time_min"}
    assert all(wanted <= feature.keys() for feature in tree["features"])
    assert all(finding.keys() == {"severity", "code", "message"} for finding in tree["findings"])


def test_numbers_are_those_of_the_plan():
    plan, tree = small_plan(), strict(as_json(small_plan()))
    pairs = {
        "part.volume_mm3": 1e9 * plan.cell.part.volume,
        "recommendation.current_A": plan.current,
        "recommendation.time_min": plan.time / 60,
        "recommendation.mean_current_density_A_dm2": plan.current / plan.wetted_area / 100,
        "thickness_um.mean": 1e6 * float(np.average(plan.deposit.thickness, weights=plan.deposit.areas)),
        "deposit.charge_Ah": sum(s.time * s.current for s in plan.deposit.stages) / 3600,
        "balance.anode_A": plan.fields[0].anode_current,
    }
    for key, value in pairs.items():
        # the panels have the exact area of a part with round holes to a few parts in a thousand
        np.testing.assert_allclose(at(tree, key), value, rtol=5e-3 if "density" in key else 1e-9, atol=0, err_msg=key)


def test_two_renders_have_the_same_bytes():
    assert as_json(small_plan()).encode() == as_json(small_plan()).encode()


def test_what_does_not_exist_is_null():
    tree = strict(as_json(never_thick()))
    assert tree["recommendation"]["time_min"] is None
    assert tree["features"][0]["extra_time_min"] is None
    assert tree["features"][0]["thickness_um"] is None
    assert tree["current_density"]["hottest_strip"] is None
    assert tree["recommendation"]["turn_after_min"] is None


@pytest.mark.parametrize("words", [HOSTILE, LONE_SURROGATE])
def test_hostile_names_are_escaped_and_come_back_whole(words: str):
    text = as_json(with_words(words))
    assert not any(ord(letter) < 32 and letter != "\n" for letter in text)
    assert strict(text.encode("utf-8").decode())["title"] == words.encode("utf-8", "replace").decode()


def test_a_given_current_binds_no_limit():
    tree = plan_tree(controlled(current=1.25))
    assert tree["recommendation"]["current_is_given"] is True
    assert not any(limit["binds"] for limit in tree["recommendation"]["limits"])


def test_numbers_of_numpy_become_plain_ones():
    tree = {"a": np.float64(1.5), "b": np.int64(3), "c": np.bool_(True), "d": (np.nan, -np.inf), "e": None}
    assert strict(dumped(tree)) == {"a": 1.5, "b": 3, "c": True, "d": [None, None], "e": None}
    assert '"c": true' in dumped(tree)


def test_noise_of_adding_up_is_left_out():
    assert dumped([0.1 + 0.2, 1 / 3, 1e-30]) == "[\n 0.3,\n 0.3333333333,\n 1e-30\n]\n"


def test_what_has_no_place_in_a_document_is_refused():
    with pytest.raises(TypeError, match="no place in a JSON document"):
        dumped({"a": object()})


def test_the_area_of_the_anodes_over_that_of_the_part_is_that_of_its_pieces() -> None:
    """By hand: a link of 60 x 20 x 3 mm with bores of 8 and 6 mm has 2 (1200 - 78.5) + 160 x 3 + 44 x 3 = 2855 mm²."""
    tree = plan_tree(small_plan())
    part = 2 * (60 * 20 - np.pi * (4**2 + 3**2)) + 2 * (60 + 20) * 3 + np.pi * (8 + 6) * 3
    anodes = sum(anode["area_mm2"] for anode in tree["anode_use"])
    assert_allclose(tree["anode_area_ratio"], anodes / part, rtol=5e-3, atol=0)  # bores are polygons
