"""Two bodies held against each other: what differs is named by its path, what does not is not."""

from __future__ import annotations

import copy

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pitbird.fleet.differing import Difference, differences
from pitbird.fleet.kinds import KINDS
from tests.bodies import at, bump, detector


def test_the_same_entry_differs_in_nothing() -> None:
    test = bump(at("06:41"))
    assert differences(test, copy.deepcopy(test)) == ()


def test_a_channel_is_told_by_its_name_though_it_stands_elsewhere() -> None:
    old = bump(at("06:41"))
    new = copy.deepcopy(old)
    new["applications"][0]["channels"].reverse()
    h2s = next(each for each in new["applications"][0]["channels"] if each["channel"] == "H2S")
    h2s["reached"] = "no"
    new["outcome"] = "failed"
    assert set(differences(old, new)) == {
        Difference(("applications", "1", "channels", "H2S", "reached"), "yes", "no"),
        Difference(("outcome",), "passed", "failed"),
    }


def test_what_stands_on_one_side_only_is_told_whole() -> None:
    old = detector()
    new = copy.deepcopy(old)
    gone = new["channels"].pop()
    new["firmware"] = "2.0"
    told = {each.path: each for each in differences(old, new)}
    assert told[("channels", gone["name"])] == Difference(("channels", gone["name"]), gone, None)
    assert told[("firmware",)].new == "2.0"


def test_moving_an_entry_is_told_once_and_not_as_what_it_is_about() -> None:
    old = bump(at("06:41"))
    new = {**old, "detector": "detector:D-018", "about": ["detector:D-018", "cylinder:C-112"]}
    assert differences(old, new) == (Difference(("detector",), old["detector"], "detector:D-018"),)


@pytest.mark.parametrize("kind", sorted(KINDS))
@given(data=st.data())
def test_every_changed_field_of_every_kind_is_told(kind: str, data: st.DataObject) -> None:
    example = KINDS[kind].model_validate(KINDS[kind].EXAMPLE).as_body()
    name = data.draw(st.sampled_from(sorted(set(example) - {"v", "id", "kind", "about"})))
    changed = {**example, name: "something else"}
    assert [each.path for each in differences(example, changed)] == [(name,)]
    without = {key: value for key, value in example.items() if key != name}
    assert differences(example, without) == (Difference((name,), example[name], None),)
