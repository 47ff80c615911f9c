"""A setup judged through the served API. Machines and readings are invented."""

from client import check_refusal, length, must_refuse, refused, stiffness


# Of the enum Remedy.
REMEDY_SET = 2


def values(**rear):
    """A rear that is too soft and wound up to hide it; parts of it may be put in another's place."""
    state = {"preload": length(20), "travel_used": length(100)} | rear.pop("state", {})
    unit = {
        "travel": length(125),
        "motion_ratio": 0.5,
        "legs": [{"spring_rate": stiffness(60), "least_preload": length(0), "most_preload": length(20)}],
    } | rear
    return {"machine": {"rear": unit}, "state": {"rear": state}, "riding": "RIDING_HARD_ROAD"}


def settled(pressed, lifted):
    return {"pressed": length(pressed), "lifted": length(lifted)}


def readings(alone, rider):
    return {"extended": settled(600, 600), "alone": settled(*alone), "with_rider": settled(*rider)}


def setup_is_judged_by_readings_and_the_hazard_comes_first(api):
    sag = readings((600, 600), (561, 563))
    sag |= {"mass_alone": {"value": 100, "unit": 1}, "mass_with_rider": {"value": 160, "unit": 1}}
    reply = api.call("SetupService/JudgeSetup", {"values": values(state={"sag": sag})})
    first = reply.verdicts[reply.first_change]
    assert (first.hazard, first.action, first.subject) == (True, REMEDY_SET, "preload"), first
    springs = [one for one in reply.verdicts if one.subject == "spring"]
    assert [(one.steps.least_count, one.steps.most_count) for one in springs] == [(2, 7)], springs
    assert springs[0].evidence and springs[0].cautions and springs[0].rule_table_version == "1.1"
    assert reply.missing and reply.rule_table_version == "1.1"


def shop_changes_a_rule_and_the_judge_follows(api):
    asked = {
        "values": values(
            state={"adjusters": [{"circuit": "DAMPING_CIRCUIT_REBOUND", "position_from_closed": 7}]},
            adjusters=[{"circuit": "DAMPING_CIRCUIT_REBOUND", "unit": "ADJUSTER_UNIT_CLICKS", "range_count": 24}],
            serviceability="SERVICEABILITY_VALVING",
        )
    }
    valving = lambda: [one for one in api.call("SetupService/JudgeSetup", asked).verdicts if one.subject == "valving"]
    assert not valving()
    own = {"id": "adjuster-near-limit", "end": "MACHINE_END_REAR", "ratio": 0.3}
    api.change("BookService/UpdateRuleTable", {"rule_table": {"overrides": [own]}, "update_mask": "overrides"})
    try:
        fired = valving()
        assert len(fired) == 1 and fired[0].rule_table_version.startswith("1.1+"), fired
    finally:
        api.change("BookService/UpdateRuleTable", {"rule_table": {}, "update_mask": "overrides"})
    assert not valving()


def every_fault_of_a_judgement_is_named(api):
    asked = {
        "values": values(state={"travel_used": length(2000), "adjusters": [{"position_from_closed": -1}]}),
        "front": {
            "spread": length(-1),
            "adjuster_forces": [{"circuit": "DAMPING_CIRCUIT_REBOUND"}],
            "least_available_rate": stiffness(8),
            "candidates": [{}, {"springs": [{"values": {"label": "no rate"}}]}],
        },
        "rear": {
            "least_available_rate": stiffness(90),
            "most_available_rate": stiffness(80),
            "available_dampings": [
                {"circuit": "DAMPING_CIRCUIT_REBOUND", "least_factor": 2, "most_factor": 1},
                {"circuit": "DAMPING_CIRCUIT_REBOUND", "least_factor": 0},
            ],
        },
        "deceleration_ratio": 9,
    }
    refusal = refused(api.call, "SetupService/JudgeSetup", asked)
    check_refusal(refusal, "INVALID_ARGUMENT", "INVALID_FIELDS")
    fields = {field for field, _ in refusal.faults()}
    wanted = {
        "front.spread.value",
        "front.adjuster_forces[0].closed_over_present_factor",
        "front.most_available_rate",
        "front.candidates[0].springs",
        "front.candidates[1].springs[0].values.rate",
        "rear.most_available_rate",
        "rear.available_dampings[0].most_factor",
        "rear.available_dampings[1].circuit",
        "rear.available_dampings[1].least_factor",
        "rear.available_dampings[1].most_factor",
        "deceleration_ratio",
        "values.state.rear.travel_used.value",
        "values.state.rear.adjusters[0].circuit",
    }
    assert wanted <= fields, fields
    must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SetupService/JudgeSetup", {})


def spring_of_the_rack_is_named_and_its_revision_told(api):
    sag = readings((588, 592), (553, 557))
    sag |= {"mass_alone": {"value": 110, "unit": 1}, "mass_with_rider": {"value": 163, "unit": 1}}
    unit = {"legs": [{"spring_rate": stiffness(80), "least_preload": length(0), "most_preload": length(20)}]}
    named = []
    for label, rate in (("judged 90", 90), ("judged 115", 115)):
        spring = {"label": label, "marked_rate": stiffness(rate)}
        named.append(api.change("RackService/CreateSpring", {"spring": spring}).name)
    asked = {
        "values": values(state={"sag": sag, "preload": length(10)}, **unit),
        "rear": {"candidates": [{"springs": [{"spring": name}]} for name in named]},
    }
    reply = api.call("SetupService/JudgeSetup", asked)
    spring = next(verdict for verdict in reply.verdicts if verdict.subject == "spring")
    # 94 and 147 kg sprung at the wheel: 115 N/mm would stand at 25.1 - 17.5 = 7.6 mm of preload with 16.9 mm of static sag.
    ranked = {one.labels[0]: one for one in spring.springs}
    assert set(ranked) == {"judged 90", "judged 115"}, spring
    stiff = ranked["judged 115"]
    assert stiff.candidate_indexes == [1] and abs(stiff.preload.value - 7.572) < 0.01, stiff
    assert abs(stiff.static_sag.value - 16.921) < 0.01 and abs(stiff.total_sag.value - 35) < 1e-6, stiff
    assert spring.springs[0].labels[0] in spring.text and not stiff.measured, spring.text
    used = {one.name.split("@")[0] for one in reply.used}
    assert set(named) <= used, used
    must_refuse(
        "NOT_FOUND", "NOT_FOUND", api.call, "SetupService/JudgeSetup",
        asked | {"rear": {"candidates": [{"springs": [{"spring": "springs/nowhere"}]}]}},
    )


JOURNEYS = [
    spring_of_the_rack_is_named_and_its_revision_told,
    setup_is_judged_by_readings_and_the_hazard_comes_first,
    shop_changes_a_rule_and_the_judge_follows,
    every_fault_of_a_judgement_is_named,
]
