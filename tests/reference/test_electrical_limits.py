"""Limits of electrical tests against what their sources publish."""

import pytest

from mitigation.calc.electrical_tests import keeps, kinds_of, limit_of, practice_of

# IEC 60364-6: 230/400 V circuits at 500 V dc at least 1.0 Mohm, SELV and PELV at 250 V dc at least
# 0.5 Mohm. EN 61008-1 and EN 61009-1: general type within 300 ms at 1x and 40 ms at 5x, selective
# type at 1x not before 130 ms and within 500 ms.
PUBLISHED = [
    ("insulation", {"test_voltage_v": 500.0}, [1.0, 200.0], [0.99, 0.0]),
    ("insulation", {"test_voltage_v": 250.0}, [0.5, 1.0], [0.49]),
    ("rcd-trip-1x", {"device": "general"}, [0.0, 28.0, 300.0], [301.0]),
    ("rcd-trip-1x", {"device": "selective"}, [130.0, 500.0], [129.0, 501.0]),
    ("rcd-trip-5x", {"device": "general"}, [40.0], [41.0]),
]
NO_SOURCE = [
    ("bond", {}), ("loop-impedance", {}), ("continuity", {}), ("insulation", {}),
    ("insulation", {"test_voltage_v": 1000.0}), ("rcd-trip-5x", {"device": "selective"}),
    ("rcd-trip-1x", {}),
]  # fmt: skip


@pytest.mark.parametrize(("test", "conditions", "kept", "missed"), PUBLISHED)
def test_a_published_limit_is_kept_at_its_ends_and_missed_beyond(test, conditions, kept, missed):
    limit = limit_of(test, "230 V", **conditions)
    assert limit is not None and limit.source
    assert all(keeps(limit, value) for value in kept)
    assert not any(keeps(limit, value) for value in missed)


@pytest.mark.parametrize(("test", "conditions"), NO_SOURCE)
def test_without_a_source_there_is_no_limit(test, conditions):
    assert limit_of(test, "230 V", **conditions) is None


@pytest.mark.parametrize(("test", "conditions", "kept", "missed"), PUBLISHED)
def test_limits_of_230_v_practice_are_not_held_against_120_v(test, conditions, kept, missed):
    assert limit_of(test, "120 V", **conditions) is None


def test_a_value_at_the_end_of_the_testers_range_keeps_only_what_is_certain():
    insulation = limit_of("insulation", "230 V", test_voltage_v=500.0)
    trip = limit_of("rcd-trip-1x", "230 V", device="general")
    assert insulation is not None and trip is not None
    assert keeps(insulation, 999.0, ">") and not keeps(insulation, 0.5, ">")
    assert not keeps(insulation, 5.0, "<")
    assert keeps(trip, 10.0, "<") and not keeps(trip, 200.0, ">")


def test_the_practice_follows_the_supply():
    assert practice_of(230.0) == "230 V" and practice_of(120.0) == "120 V"
    asked = {kind.code for kind in kinds_of("120 V")}
    assert {"gfci-button", "gfci-tester", "afci", "grounding"} <= asked
    assert not asked & {"rcd-trip-1x", "rcd-trip-5x", "loop-impedance"}
