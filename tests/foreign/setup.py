"""Sag, springs to choose and the response of an end through the served API. Machines, riders and springs are invented."""

import json
import pathlib
import uuid

from client import length, must_refuse

DATA = pathlib.Path(__file__).resolve().parent.parent / "data" / "setup" / "checks.json"
FRONT, REAR = 1, 2
PER_MM, KG, DEG = 1, 1, 1


def rate(value):
    return {"value": value, "unit": PER_MM}


def mass(value):
    return {"value": value, "unit": KG}


def case(name):
    found = next(one for one in json.loads(DATA.read_text()) if one["id"] == name)
    plain = lambda values: {key: value["value"] for key, value in values.items()}
    return plain(found["inputs"]), plain(found["expected"])


def close(got, wanted, relative=1e-6):
    assert abs(got - wanted) <= relative * max(abs(wanted), 1e-9), f"{got} instead of {wanted}"


def readings(**more):
    """Those of SET-01: 600 extended, 590 alone, 565.5 with the rider."""
    pair = lambda pressed, lifted: {"pressed": length(pressed), "lifted": length(lifted)}
    return {
        "extended": pair(600, 600),
        "alone": pair(588, 592),
        "with_rider": pair(563.5, 567.5),
        "resolution": length(0.5),
        "handling": length(0),
        **more,
    }


def machine(**rear):
    unit = {"travel": length(130), "motion_ratio": 0.5, **rear}
    return {"wheelbase": length(1420), "rake": {"value": 24, "unit": DEG}, "rear": unit}


def sag_of_a_published_case(api):
    given, wanted = case("SET-01")
    assert given["L_ext"] == [600, 600] and given["L_alone_pressed"] == 588, given
    reply = api.call("SetupService/ReadSag", {"values": {"readings": readings()}, "end": REAR})
    close(reply.static_sag.value.value, wanted["static"])
    close(reply.total_sag.value.value, wanted["total"])
    close(reply.riders_share.value.value, wanted["riders_share"])
    close(reply.riders_share.standard_uncertainty.value, wanted["u_riders_share"])
    close(reply.alone_half_band.value, wanted["friction_half_band_alone"])
    inch = api.call("SetupService/ReadSag", {"values": {"readings": readings()}, "end": REAR, "reply_units": 2})
    close(inch.total_sag.value.value * 25.4, wanted["total"])


def rate_of_a_published_case(api):
    given, wanted = case("SET-07")
    sent = readings(
        mass_alone=mass(100),
        mass_with_rider=mass(100 + given["dm"]),
        mass_standard_uncertainty=mass(given["u_dm"] / 2**0.5),
    )
    unit = {"motion_ratio": given["MR"], "motion_ratio_standard_uncertainty": given["u_MR"]}
    values = {"readings": sent, "machine": machine(**unit, legs=[{"spring_rate": rate(95)}])}
    reply = api.call("SetupService/ReadSag", {"values": values, "end": REAR})
    close(reply.implied.wheel_rate.value.value, wanted["k_wheel"])
    close(reply.implied.spring_rate.value.value, wanted["k_spring"])
    assert reply.comparison.agreement in (1, 2), reply.comparison
    # A spring two steps softer is not the one that is in there, and the cheapest check comes first.
    values["machine"]["rear"]["legs"] = [{"spring_rate": rate(70)}]
    reply = api.call("SetupService/ReadSag", {"values": values, "end": REAR})
    assert reply.comparison.agreement == 3 and reply.comparison.causes, reply.comparison
    kinds = [cause.kind for cause in reply.comparison.causes]
    assert kinds == sorted(kinds) and kinds[-1] == 6, kinds


def swapped_readings_are_named(api):
    sent = readings(alone={"pressed": length(592), "lifted": length(588)})
    refusal = must_refuse(
        "INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SetupService/ReadSag",
        {"values": {"readings": sent}, "end": REAR},
    )
    assert refusal.faults() == [("values.readings.alone.lifted", "CONFLICT")], refusal


def everything_missing_is_named_at_once(api):
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SetupService/ChooseSpring", {})
    fields = {field for field, _ in refusal.faults()}
    assert {"end", "source", "candidates", "mass_with_rider"} <= fields, fields
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SetupService/EvaluateResponse", {})
    fields = {field for field, _ in refusal.faults()}
    assert {"end", "source", "sprung_mass", "damping", "road"} <= fields, fields


def candidates_of_a_published_case(api):
    given, wanted = case("SET-17")
    least, most = (length(value) for value in given["preload_allowed"])
    # The case's gas force, as a reservoir so large that its rate does not count.
    area = 3.141592653589793 * 14.0**2 / 4
    gas = {
        "gas_chamber": {"rod_diameter": length(14), "gas_volume": {"value": 90000, "unit": 1}},
        "charge_gauge_pressure": {"value": given["rod_gas_force"] / area, "unit": 1},
    }
    candidates = [
        {"springs": [{"values": {"label": f"{k:g}", "rate": rate(k), "rate_standard_uncertainty": rate(0.1)}}]}
        for k in given["rates"]
    ]
    unsprung = 16
    request = {
        "values": machine(motion_ratio=given["MR"], legs=[{"least_preload": least, "most_preload": most, **gas}]),
        "end": REAR,
        "mass_alone": mass(given["m_sprung_end"] + unsprung),
        "mass_with_rider": mass(given["m_sprung_end"] + unsprung + given["dm"]),
        "target_total_sag": length(given["target_total"]),
        "present_total_sag": length(given["target_total"]),
        "candidates": candidates,
    }
    reply = api.call("SetupService/ChooseSpring", request)
    assert len(reply.ranked) == 5, reply
    for one in reply.ranked:
        index = one.candidate_indexes[0]
        close(one.preload.value, wanted["preload"][index], 2e-3)
        close(one.static_sag.value, wanted["static"][index], 2e-3)
        assert one.fits == wanted["allowed"][index], one
    assert [one.fits for one in reply.ranked] == [True] * 4 + [False], reply


def fork_legs_may_be_mixed(api):
    springs = [{"springs": [{"values": {"rate": rate(k), "rate_standard_uncertainty": rate(0.05)}}]} for k in (8.5, 9)]
    request = {
        "values": {
            "wheelbase": length(1420),
            "rake": {"value": 24, "unit": DEG},
            "mass": mass(185),
            "gravity_ahead": length(700),
            "gravity_height": length(550),
            "front": {"travel": length(120)},
        },
        "end": FRONT,
        "rider_mass_with_gear": mass(80),
        "candidates": springs,
        "mixed_legs": True,
        "braking": {"deceleration_ratio": 0.7},
    }
    reply = api.call("SetupService/ChooseSpring", request)
    mixed = [one for one in reply.ranked if len(one.candidate_indexes) == 2]
    assert len(mixed) == 1 and abs(mixed[0].rate.value - 17.5) < 1e-9, reply
    sags = {round(one.total_sag.value, 6) for one in reply.ranked}
    assert sags == {35.0}, sags
    left = {one.rate.value: one.travel_case_left.value for one in reply.ranked}
    assert left[17.0] < left[17.5] < left[18.0], left


def bump_is_followed(api):
    """DYN-20 of the hydraulic cases (scipy, DOP853, own code): a bump with unequal damping, from the rest position."""
    request = {
        "values": {
            "front_unsprung_mass": mass(15),
            "rear_unsprung_mass": mass(15),
            "rear": {
                "travel": length(800),
                "motion_ratio": 1.0,
                "legs": [{"spring_rate": rate(18), "preload": length(0)}],
            },
        },
        "end": REAR,
        "sprung_mass": mass(95),
        "tyre_rate": rate(160),
        "wheel_damping": {
            "compression": {"value": 600, "unit": 1},
            "rebound": {"value": 1500, "unit": 1},
        },
        "bump": {"height": length(50), "length": length(500), "speed": {"value": 15, "unit": 1}},
        "followed": "1s",
    }
    reply = api.call("SetupService/EvaluateResponse", request)
    before = reply.wheel_travel_before.value
    assert abs(reply.most_wheel_travel.value - before - 55.2034552) < 0.02, reply.most_wheel_travel
    assert abs(reply.least_wheel_travel.value - before + 20.7100573) < 0.02, reply.least_wheel_travel
    assert any(finding.code == "LEAVES_GROUND" for finding in reply.findings), reply.findings


def setup_of_the_book_is_read(api):
    def make(rpc, field, values):
        return api.call(f"BookService/{rpc}", {field: values, "request_id": str(uuid.uuid4())})

    rider = make("CreateRider", "rider", {"person_name": "Invented Rider", "mass_with_gear": mass(82)})
    spring = api.call(
        "RackService/CreateSpring",
        {"spring": {"label": "shock 95", "marked_rate": rate(95)}, "request_id": str(uuid.uuid4())},
    )
    legs = [{"spring": spring.name, "preload": length(10)}]
    kept = make("CreateMachine", "machine", {"values": machine(motion_ratio=0.46, legs=legs)})
    visit = {"as_found": {"rear": {"sag": readings()}}}
    setup = make("CreateSetup", "setup", {"machine": kept.name, "rider": rider.name, "visit": visit})
    reply = api.call("SetupService/ReadSag", {"setup": {"name": setup.name}, "end": REAR})
    close(reply.total_sag.value.value, 34.5)
    close(reply.comparison.fitted_rate.value, 95)
    used = [one.name.split("@")[0] for one in reply.used]
    assert set(used) == {setup.name, kept.name, spring.name}, used
    # What was not read at the other end is a fault of the record.
    must_refuse(
        "FAILED_PRECONDITION", "NOT_REDUCIBLE", api.call, "SetupService/ReadSag",
        {"setup": {"name": setup.name}, "end": FRONT},
    )
    chosen = api.call(
        "SetupService/ChooseSpring",
        {
            "machine": kept.name,
            "end": REAR,
            "mass_alone": mass(111),
            "rider_mass_with_gear": mass(82),
            "candidates": [{"springs": [{"spring": spring.name}]}],
        },
    )
    assert chosen.ranked[0].labels == ["shock 95"] and not chosen.ranked[0].measured, chosen
    must_refuse(
        "NOT_FOUND", "NOT_FOUND", api.call, "SetupService/EvaluateResponse",
        {
            "machine": "machines/nowhere",
            "end": REAR,
            "sprung_mass": mass(100),
            "wheel_damping": {"compression": {"value": 600, "unit": 1}, "rebound": {"value": 1500, "unit": 1}},
            "step": {"height": length(10)},
        },
    )


JOURNEYS = [
    sag_of_a_published_case,
    rate_of_a_published_case,
    swapped_readings_are_named,
    everything_missing_is_named_at_once,
    candidates_of_a_published_case,
    fork_legs_may_be_mixed,
    bump_is_followed,
    setup_of_the_book_is_read,
]
