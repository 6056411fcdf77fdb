"""What is unusual in a plant file: each number at its limit and beyond, each contradiction by itself."""

import pytest

from labkit.plant.file_doubts import doubts


def part(**numbers):
    return {"part": [{"designation": "P", **numbers}]}


def two(key, *tables, **numbers):
    """Two parts A and B with one number each, and a table beside them."""
    return {"part": [{"designation": name, "mttr_h" if key != "twins" else "mtbf_h": number}
                     for name, number in zip("AB", numbers.pop("of"), strict=True)], key: [*tables]}


def modes(*shares, name="P"):
    return {"mode": [{"parts": [name], "share": share} for share in shares]}


def steps(*tables):
    return {"costs": {"step": [*tables]}}


# What a file says, and the doubt of it: where it stands, words of its rule, what was found. Limits are those
# of `file_doubts.toml`; at a limit there is no doubt.
DOUBTS = [
    (part(kind="panel", mtbf_h=30_000, mttr_h=8), None),
    (part(kind="panel", mtbf_h=80_000, mttr_h=2), None),
    (part(kind="panel", mtbf_h=80_001), ("mtbf_h", "is usually 30000 to 80000 for a panel (common practice)", "80001")),
    (part(kind="panel", mttr_h=1.9), ("mttr_h", "2 to 8 for a panel (common practice)", "1.9")),
    (part(kind="interface", mttr_h=4), ("mttr_h", "0.5 to 3 for an interface (common practice)", "4")),
    (part(kind="other", mttr_h=0.25), None),
    (part(kind="other", mttr_h=0.2), ("mttr_h", "0.25 to 168 for any part (common practice; 0.2 days", "0.2")),
    (part(kind="other", mtbf_h=1), ("mtbf_h", "; 1 years would be 8760)", "1")),
    (part(kind="other", mtbf_h=300), ("mtbf_h", "; 300 days would be 7200)", "300")),
    (part(kind="panel", mtbf_h=40), ("mtbf_h", "; 40 thousand would be 40000)", "40")),
    (part(kind="other", mtbf_h=6_000_000), ("mtbf_h", "2000 to 2000000 for any part (common practice; 6e+06 minutes "
                                            "would be 100000)", "6e+06")),
    (part(kind="pump", mttr_h=60), ("mttr_h", "4 to 24 for a pump (common practice)", "60")),
    (part(kind="pump", mttr_h=240), ("mttr_h", "; 240 minutes would be 4)", "240")),
    (part(kind="pump", mttr_h=1440), ("mttr_h", "; 1440 minutes would be 24)", "1440")),
    (part(battery_h=0), ("battery_h", "0.05 to 24 (common practice)", "0")),
    (part(test_interval_h=1), ("test_interval_h", "; 1 years would be 8760)", "1")),
    (part(test_interval_h=7), ("test_interval_h", "; 7 days would be 168)", "7")),
    (part(test_interval_h=0.5), ("test_interval_h", "; 0.5 years would be 4380)", "0.5")),
    (part(test_interval_h=168), None),
    ({"pair": {"coverage": 0.9, "diagnosed": 0.9}}, ("common_cause", "usually 0.005 to 0.1", "0")),
    ({"pair": {"common_cause": 0.1, "diagnosed": 0.9}}, ("coverage", "0.8 to 0.999 or 0 for by hand", "1")),
    ({"pair": {"common_cause": 0.1, "coverage": 0}}, ("diagnosed", "0.3 to 0.999", "1")),
    ({"pair": {"common_cause": 0.1, "coverage": 0, "diagnosed": 0.9}}, None),
    ({"variant": [{"pair": {"common_cause": 0.2}}]}, ("common_cause", "0.005 to 0.1", "0.2")),
    ({"changeover": [{"starts": 0}]}, None), ({"changeover": [{"starts": 0.8}]}, None),
    ({"changeover": [{"starts": 0.7}]}, ("starts", "0.8 to 1 or 0 for by hand", "0.7")),
    ({"changeover": [{"starts": 1, "every_h": 8}]}, None),
    ({"changeover": [{"every_h": 8}]}, None),
    ({"changeover": [{"starts": 1}]}, (0, "should say starts or every_h", "neither")),
    ({"changeover": [{}]}, (0, "should say starts or every_h", "neither")),
    ({"spare": [{"stock": 0, "delivery_days": 1200}]}, ("delivery_days", "; 1200 hours would be 50)", "1200")),
    # A variant may be that without a spare: its repair lasts from that of a class to that of any part.
    (part(kind="panel") | {"variant": [{"part": [{"parts": ["P"], "mttr_h": 168}]}]}, None),
    (part(kind="panel") | {"variant": [{"part": [{"parts": ["P"], "mttr_h": 169}]}]},
     ("mttr_h", "2 to 168 for a panel", "169")),
    (part(kind="panel") | {"variant": [{"part": [{"parts": ["P"], "mttr_h": 1.5}]}]},
     ("mttr_h", "2 to 168 for a panel", "1.5")),
    (part(kind="panel") | {"variant": [{"part": [{"parts": ["Q"], "mttr_h": 169}, {"mttr_h": 170}]}]}, None),
    (part(source="found"), ("source", "should have a source_note", "none")),
    (part(sources={"mttr_h": "found"}), ("source", "should have a source_note", "none")),
    (part(source="found", source_note="a book"), None), (part(source="practice"), None),
    ({"pair": {"common_cause": 0.1, "coverage": 0, "diagnosed": 0.9, "source": "found"}},
     ("source", "should have a source_note", "none")),
    (steps({"cost": 0}), ("cost", "should be above 0", "0")), (steps({"cost": 1}), None),
    (steps({"cost": 0, "cost_per_h": 5}), None), (steps({"cost_per_h": 5}), None),
    (steps({"chance": 0, "cost_per_h": 5}), ("chance", "should be above 0", "0")),
    (steps({"function": "f", "longer_than_min": 5}, {"function": "f", "longer_than_min": 5}),
     (1, "due at another time", "5 min of f twice")),
    (steps({"function": "f", "longer_than_min": 5}, {"function": "g", "longer_than_min": 5}), None),
    (steps({"function": "f"}, {"function": "f"}), None),
    ({"function": [{}]}, None), ({"function": [{"idle_h": 1}]}, ("idle_h", "<= 0, what hours_per_year leaves", "1")),
    ({"function": [{"hours_per_year": 8000, "idle_h": 760}]}, None),
    ({"function": [{"hours_per_year": 8000, "idle_h": 761}]}, ("idle_h", "<= 760,", "761")),
    (part(alarm="gone", noticed=1), None), (part(alarm="gone"), None), (part(noticed=0.99), None),
    (part(alarm="gone", noticed=0.99), ("alarm", "should go with noticed = 1", "0.99")),
    (part(mtbf_h=2000, replaced_after_h=4380), ("replaced_after_h", "below mtbf_h, 2000, the mean life", "4380")),
    (part(mtbf_h=4380, replaced_after_h=4380), ("replaced_after_h", "below mtbf_h, 4380", "4380")),
    (part(mtbf_h=4381, replaced_after_h=4380), None),
    (part(mtbf_h=2000, test_interval_h=2000), ("test_interval_h", "below mtbf_h, 2000", "2000")),
    (part(mtbf_h=0.5), ("mtbf_h", "; 0.5 years would be 4380)", "0.5")),
    (part(test_interval_h=730, noticed=1), ("test_interval_h", "noticed below 1", "1")),
    (part(missed=0.1, noticed=1), ("missed", "noticed below 1", "1")),
    (part(missed=0.1, noticed=0.5), None), (part(noticed=1), None),
    (part(mttr_h=0.5), None), (part(mttr_h=2, short_cuts={"mean_h": 1.9}), None),
    (part(mttr_h=2, short_cuts={"mean_h": 2}), ("short_cuts", "shorter than the long ones, 2 h", "2")),
    (modes(1.0) | {"spare": [{"parts": ["P"]}]}, None),
    ({"mode": [{"parts": ["P"], "share": 1, "mttr_h": 2}], "spare": [{"parts": ["P", "Q"]}]},
     ("parts", "should name what fails in a way that takes a spare", "P")),
    ({"mode": [{"parts": ["P"], "share": 0.5, "mttr_h": 2}, {"parts": ["P"], "share": 0.5}],
      "spare": [{"parts": ["P"]}]}, None),
    (modes(0.5, 0.49), None), (modes(0.5, 0.51), None),
    (modes(0.5, 0.3, 0.17), ((2, "share"), "should make 1 with the other modes of P", "0.97 in all")),
    (modes(0.5, 0.53), ((1, "share"), "should make 1 with the other modes of P", "1.03 in all")),
    (part(overhaul_interval_h=8760, test_interval_h=8760), ("overhaul_interval_h", "above test_interval_h, 8760", "8760")),
    (part(overhaul_interval_h=8760), None), (part(overhaul_interval_h=8761, test_interval_h=8760), None),
    ({"title_block": {"author": "A", "checker": "A"}}, ("checker", "another one than author", "'A'")),
    ({"title_block": {"author": "A", "checker": "B"}}, None), ({"title_block": {"author": "A"}}, None),
    ({"variant": [{"fit": ["P"]}]}, (0, "should have a price_per_year", "none")),
    ({"variant": [{"fit": ["P"], "price_per_year": 1}]}, None), ({"variant": [{"remove": ["P"]}]}, None),
    (part(battery_h=1, range={"battery_h": [1, 100]}), None),
    (part(battery_h=1, range={"battery_h": [1, 100.5]}), ("battery_h", "less than 100 times apart", "[1, 100.5]")),
    (part(battery_h=1, range={"battery_h": [0.001, 1]}), ("battery_h", "less than 100 times apart", "[0.001, 1]")),
    (part(battery_h=1, range={"battery_h": [0, 5]}), None),
    (two("shared_event", {"breaks": ["A", "B"], "mttr_h": 3}, of=(2, 3)), None),
    (two("shared_event", {"breaks": ["A", "B"], "mttr_h": 2}, of=(2, 3)),
     ("mttr_h", "not be below that of a part that it breaks, 3", "2")),
    (two("shared_event", {"breaks": ["A"]}, {"breaks": [], "mttr_h": 0.5}, of=(2, 3)), None),
    (two("twins", {"parts": ["A", "B"]}, of=(2000, 2000)), None),
    (two("twins", {"parts": ["A", "B"]}, of=(2000, 3000)), (0, "with the same mtbf_h", "2000 and 3000")),
    (two("twins", {"parts": ["A", "B"]}, of=(3000, 2000)), (0, "with the same mtbf_h", "2000 and 3000")),
    *((two("none", of=(0.25, 3)) | {"pair": {"units": ["A", "B"], "common_cause": 0.1, "coverage": 0,
                                             "diagnosed": 0.9} | given}, doubt) for given, doubt in (
        ({}, None), ({"restart_h": 0.25}, None),
        ({"restart_h": 0.3}, ("restart_h", "at most mttr_h of the units, 0.25", "0.3")))),
]


@pytest.mark.parametrize(("document", "doubt"), DOUBTS)
def test_a_doubt_begins_beyond_its_limit(document, doubt):
    found = list(doubts(document))
    assert len(found) == (doubt is not None), found
    for path, rule, what in found:
        where, words, number = doubt
        tail = where if isinstance(where, tuple) else (where,)
        assert (path[-len(tail):], what) == (tail, number) and words in rule
