"""The shop's book: riders, machines, setups, job sheets, rules, prices; a machine followed and two setups compared."""

from client import fresh, length, must_refuse, refused, stiffness
from rack import pages

REBOUND = "DAMPING_CIRCUIT_REBOUND"
COMPRESSION = "DAMPING_CIRCUIT_COMPRESSION"


def mass(value):
    return {"value": value, "unit": "UNIT_KILOGRAM"}


def km(value):
    return {"value": value, "unit": "UNIT_KILOMETER"}


def adjuster(circuit, clicks):
    return {"circuit": circuit, "unit": "ADJUSTER_UNIT_CLICKS", "range_count": clicks}


def position(circuit, clicks):
    return {"circuit": circuit, "position_from_closed": clicks}


VALUES = {
    "label": "allrounder, invented",
    "wheelbase": length(1420.0),
    "gravity_ahead": length(654.7169811320754),
    "rake": {"value": 24.0, "unit": "UNIT_DEGREE"},
    "front": {
        "travel": length(4.72, "UNIT_INCH"),
        "damper_type": "DAMPER_TYPE_CARTRIDGE",
        "legs": [
            {"spring_rate": stiffness(9.0), "preload": length(12.0), "damping_side": "DAMPING_SIDE_COMPRESSION"},
            {"spring_rate": stiffness(9.5), "preload": length(12.0), "damping_side": "DAMPING_SIDE_REBOUND"},
        ],
        "adjusters": [adjuster(REBOUND, 24), adjuster(COMPRESSION, 20)],
    },
    "rear": {"motion_ratio": 0.47, "adjusters": [adjuster(REBOUND, 30)]},
}


def rider(api, **more):
    content = {"person_name": "N. N.", "contact": "invented 1", "mass_with_gear": mass(84.5), **more}
    return api.change("BookService/CreateRider", {"rider": content})


def machine(api, machine_id, **more):
    content = {"machine": {"values": VALUES, **more}, "machine_id": machine_id}
    return api.change("BookService/CreateMachine", content)


def setup(api, setup_id, machine_name, **visit):
    content = {"setup": {"machine": machine_name, "visit": visit}, "setup_id": setup_id}
    return api.change("BookService/CreateSetup", content)


def front(clicks, **more):
    return {"front": {"adjusters": [position(REBOUND, clicks)], **more}}


def records_come_back_as_entered(api):
    person = rider(api)
    assert person.name.startswith("riders/") and len(person.name) == len("riders/") + 36, person.name
    assert api.call("BookService/GetRider", {"name": person.name}) == person
    made = machine(api, "as-entered", rider=person.name, notes="invented")
    assert (made.name, made.revision, made.rider) == ("machines/as-entered", 1, person.name), made
    read = api.call("BookService/GetMachine", {"name": made.name})
    assert read == made, (read, made)
    # As entered, to the bit; what was left out is not there.
    assert read.values.front.travel.value == 4.72 and read.values.front.travel.unit == 2, read
    assert read.values.gravity_ahead.value == 654.7169811320754, read
    assert not read.values.HasField("gravity_height") and not read.values.rear.HasField("travel"), read
    assert read.values.rear.WhichOneof("linkage") == "motion_ratio", read


def states_are_pinned_to_the_machine_as_it_was(api):
    made = machine(api, "pinned")
    first = setup(api, "pinned-1", made.name, as_found=front(12), distance=km(1200))
    assert first.visit.as_found.machine_revision == 1, first
    values = dict(VALUES, label="other springs")
    again = api.change("BookService/UpdateMachine", {"machine": {"name": made.name, "values": values}})
    assert again.revision == 2, again
    visit = {"as_found": {"machine_revision": 1, **front(12)}, "as_left": front(10), "distance": km(1200)}
    second = api.change("BookService/UpdateSetup", {"setup": {"name": first.name, "visit": visit}})
    assert (second.visit.as_found.machine_revision, second.visit.as_left.machine_revision) == (1, 2), second
    assert second.machine == made.name, second
    visit["as_left"] = {"machine_revision": 9, **front(10)}
    content = {"setup": {"name": first.name, "visit": visit}}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "BookService/UpdateSetup", content)
    assert refusal.faults() == [("setup.visit.as_left.machine_revision", "OUT_OF_RANGE")], refusal
    old = api.call("BookService/GetMachine", {"name": made.name + "@1"})
    assert old.values.label == VALUES["label"], old


def what_is_named_must_be_there(api):
    for rpc, content, field in (
        ("BookService/CreateSetup", {"setup": {"machine": "machines/nobody"}}, "setup.machine"),
        ("BookService/CreateJobSheet", {"job_sheet": {"setup": "setups/nobody"}}, "job_sheet.setup"),
    ):
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, rpc, content)
        assert refusal.faults() == [(field, "UNKNOWN_NAME")], refusal
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "BookService/CreateSetup", {"setup": {}})
    assert refusal.faults() == [("setup.machine", "VALUE_MISSING")], refusal
    # A rider is always named by the server: there is no field for an id.
    assert "rider_id" not in api.method("BookService/CreateRider").input_type.fields_by_name


def every_fault_of_a_machine_is_told(api):
    values = {
        "wheelbase": length(1400),
        "gravity_ahead": length(1500),
        "front": {
            "legs": [{"solid_length": length(300), "free_length": length(250), "spring": "machines/a7"}],
            "adjusters": [adjuster(REBOUND, 24), {"circuit": REBOUND, "range_count": 12}, {"range_count": 3}],
        },
        "rear": {"motion_ratio_standard_uncertainty": 0.01, "wear": ["WEAR_UNSPECIFIED"]},
    }
    content = {"machine": {"values": values}}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "BookService/CreateMachine", content)
    wanted = [
        ("machine.values.gravity_ahead", "OUT_OF_RANGE"),
        ("machine.values.front.legs[0].spring", "UNKNOWN_NAME"),
        ("machine.values.front.legs[0].solid_length", "OUT_OF_RANGE"),
        ("machine.values.front.adjusters[1].unit", "UNIT_MISSING"),
        ("machine.values.front.adjusters[2].circuit", "VALUE_MISSING"),
        ("machine.values.front.adjusters[2].unit", "UNIT_MISSING"),
        ("machine.values.front.adjusters[1]", "CONFLICT"),
        ("machine.values.rear.wear[0]", "VALUE_MISSING"),
        ("machine.values.rear.motion_ratio_standard_uncertainty", "CONFLICT"),
    ]
    assert refusal.faults() == wanted, refusal


def lists_take_their_filters(api):
    person = rider(api, person_name="Filtered Invented")
    names = [found.name for found in pages(api, "BookService/ListRiders", "riders", {"person_name_contains": "FILTERED"})]
    assert names == [person.name], names
    made = machine(api, "filtered", rider=person.name)
    of_rider = {"rider": person.name, "label_contains": "ALLROUNDER"}
    assert [found.name for found in pages(api, "BookService/ListMachines", "machines", of_rider)] == [made.name]
    for number in range(3):
        setup(api, f"filtered-{number}", made.name, distance=km(number))
    setups = [found.name for found in pages(api, "BookService/ListSetups", "setups", {"machine": made.name, "page_size": 2})]
    # Newest first.
    assert setups == [f"setups/filtered-{number}" for number in (2, 1, 0)], setups
    sheet = api.change("BookService/CreateJobSheet", {"job_sheet": {"setup": "setups/filtered-1", "notes": "by hand"}})
    assert sheet.setup == "setups/filtered-1@1", sheet
    sheets = pages(api, "BookService/ListJobSheets", "job_sheets", {"setup": "setups/filtered-1"})
    assert [found.name for found in sheets] == [sheet.name], sheets
    assert not pages(api, "BookService/ListJobSheets", "job_sheets", {"setup": "setups/filtered-2"})
    assert api.call("BookService/GetJobSheet", {"name": sheet.name}) == sheet


def standard_methods_hold_for_every_kind(api):
    made = machine(api, "standard")
    visit = setup(api, "standard", made.name)
    sheet = api.change("BookService/CreateJobSheet", {"job_sheet": {"setup": visit.name}, "job_sheet_id": "standard"})
    for kind, field, name, change in (
        ("Rider", "rider", rider(api).name, {"notes": "later"}),
        ("Machine", "machine", made.name, {"notes": "later"}),
        ("Setup", "setup", visit.name, {"visit": {"notes": "later"}}),
        ("JobSheet", "job_sheet", sheet.name, {"notes": "later"}),
    ):
        before = api.call(f"BookService/Get{kind}", {"name": name})
        once = fresh()
        content = {field: {"name": name, "etag": before.etag, **change}}
        after = api.change(f"BookService/Update{kind}", content, once)
        assert after.revision == 2 and after.uid == before.uid, after
        assert api.change(f"BookService/Update{kind}", content, once) == after
        must_refuse("ABORTED", "STALE_ETAG", api.change, f"BookService/Update{kind}", content)
        content = {field: {"name": name, **change}, "update_mask": "revision"}
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, f"BookService/Update{kind}", content)
        assert ("update_mask.paths[0]", "UNKNOWN_NAME") in refusal.faults(), refusal
        deleted = api.change(f"BookService/Delete{kind}", {"name": name})
        assert deleted.HasField("delete_time") and deleted.revision == 3, deleted
        must_refuse("FAILED_PRECONDITION", "DELETED", api.change, f"BookService/Update{kind}", {field: {"name": name, **change}})
        back = api.change(f"BookService/Undelete{kind}", {"name": name})
        assert back.revision == 4 and not back.HasField("delete_time"), back
        if kind != "Rider":
            revisions = pages(api, f"BookService/List{kind}Revisions", "revisions", {"name": name, "page_size": 3})
            assert [found.revision for found in revisions] == [4, 3, 2, 1] and revisions[-1] == before, revisions


def a_rider_keeps_no_history_and_is_erased_at_once(api):
    once = fresh()
    content = {"rider": {"person_name": "Before Invented", "contact": "x"}}
    made = api.change("BookService/CreateRider", content, once)
    after = api.change("BookService/UpdateRider", {"rider": {"name": made.name, "person_name": "After Invented"}})
    assert (after.revision, after.contact) == (2, "x"), after
    # What it was first is kept nowhere: the repeat is answered with what became of it.
    assert api.change("BookService/CreateRider", content, once) == after
    refusal = refused(api.call, "BookService/GetRider", {"name": made.name + "@1"})
    assert refusal.faults() == [("name", "UNKNOWN_NAME")], refusal
    bike = machine(api, "erased", rider=made.name)
    again = fresh()
    erased = api.change("BookService/EraseRider", {"name": made.name, "etag": after.etag}, again)
    assert erased.name == made.name and erased.HasField("erase_time") and "compact" in erased.remaining, erased
    assert api.change("BookService/EraseRider", {"name": made.name, "etag": after.etag}, again) == erased
    for rpc in ("GetRider", "EraseRider", "UndeleteRider"):
        call = api.call if rpc == "GetRider" else api.change
        must_refuse("NOT_FOUND", "NOT_FOUND", call, f"BookService/{rpc}", {"name": made.name})
    listed = {"show_deleted": True, "person_name_contains": "invented"}
    assert made.name not in [found.name for found in pages(api, "BookService/ListRiders", "riders", listed)]
    # Other records hold the random id only, and still read and change.
    assert api.call("BookService/GetMachine", {"name": bike.name}).rider == made.name
    changed = api.change("BookService/UpdateMachine", {"machine": {"name": bike.name, "notes": "still here"}})
    assert changed.rider == made.name, changed


def rules_are_shipped_and_overridden_by_end(api):
    shipped = api.call("BookService/GetRuleTable")
    assert shipped.name == "ruleTable" and shipped.revision == 0 and len(shipped.defaults) > 20, shipped
    assert all(rule.end and rule.WhichOneof("threshold") and rule.tests and rule.source for rule in shipped.defaults)
    near = next(rule for rule in shipped.defaults if rule.id == "adjuster-near-limit")
    assert near.ratio == 0.25, near
    own = {"id": "adjuster-near-limit", "end": "MACHINE_END_FRONT", "ratio": 0.2, "text": "our forks"}
    for spoil, field, reason in (
        ({"end": 0}, "end", "VALUE_MISSING"),
        ({"id": "no-such-rule"}, "id", "UNKNOWN_NAME"),
        ({"ratio": 5.0}, "ratio", "OUT_OF_RANGE"),
        ({"id": "fork-spread-note"}, "threshold", "CONFLICT"),
        ({"id": "fork-spread-note", "end": "MACHINE_END_REAR", "ratio": None, "length": length(9)}, "end", "OUT_OF_RANGE"),
        ({"ratio": None}, "threshold", "VALUE_MISSING"),
    ):
        row = {name: value for name, value in {**own, **spoil}.items() if value is not None}
        content = {"rule_table": {"overrides": [row]}}
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "BookService/UpdateRuleTable", content)
        assert refusal.faults() == [(f"rule_table.overrides[0].{field}", reason)], (spoil, refusal)
    content = {"rule_table": {"etag": shipped.etag, "overrides": [own]}}
    once = fresh()
    changed = api.change("BookService/UpdateRuleTable", content, once)
    assert api.change("BookService/UpdateRuleTable", content, once) == changed
    must_refuse("ABORTED", "STALE_ETAG", api.change, "BookService/UpdateRuleTable", content)
    assert (changed.revision, len(changed.overrides)) == (1, 1) and changed.version != shipped.version, changed
    assert changed.defaults == shipped.defaults
    held = {rule.end: rule.ratio for rule in changed.in_force if rule.id == own["id"]}
    assert sorted(held.values()) == [0.2, 0.25], held
    cleared = api.change("BookService/UpdateRuleTable", {"rule_table": {}})
    assert (cleared.revision, len(cleared.overrides), cleared.version) == (2, 0, shipped.version), cleared
    assert api.call("BookService/GetRuleTable", {"name": "ruleTable@1"}) == changed
    must_refuse("NOT_FOUND", "NOT_FOUND", api.call, "BookService/GetRuleTable", {"name": "ruleTable@9"})
    must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "BookService/GetRuleTable", {"name": "priceList"})


def prices_are_the_shops_own(api):
    assert not api.call("BookService/GetPriceList").rows
    row = {"label": "fork springs", "remedy": "REMEDY_RESPRING", "end": "MACHINE_END_FRONT", "price": {"units": 140, "nanos": 500_000_000}}
    prices = {"currency_code": "XTS", "rows": [row, {**row, "label": "shock spring", "end": "MACHINE_END_REAR"}]}
    kept = api.change("BookService/UpdatePriceList", {"price_list": prices})
    assert (kept.name, kept.revision, kept.rows[0].price.units) == ("priceList", 1, 140), kept
    assert api.call("BookService/GetPriceList", {"name": "priceList@1"}) == kept
    bad = {"currency_code": "euro", "rows": [{**row, "price": {"units": -1}}, {"label": row["label"], "remedy": 1, "end": 1}]}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "BookService/UpdatePriceList", {"price_list": bad})
    assert set(refusal.faults()) == {
        ("price_list.currency_code", "OUT_OF_RANGE"),
        ("price_list.rows[0].price.units", "OUT_OF_RANGE"),
        ("price_list.rows[1].price", "VALUE_MISSING"),
        ("price_list.rows[1].label", "CONFLICT"),
    }, refusal
    one = api.change("BookService/UpdatePriceList", {"price_list": {"currency_code": "CHF"}})
    assert (one.currency_code, len(one.rows)) == ("CHF", 2), one


SHARES = [(0.0, 0.58), (1500.0, 0.54), (3200.0, 0.50), (5200.0, 0.46), (7000.0, 0.41), (9100.0, 0.37)]


def followed(shares):
    visits = [
        {
            "visit": {"as_found": front(100 * share), "distance": km(distance)},
            "front_adjusters": [adjuster(REBOUND, 100)],
        }
        for distance, share in shares
    ]
    return {"visits": {"visits": visits}}


def the_published_trend_comes_out(api):
    """Check SET-25: Theil (1950), Sen (1968), Kendall's S."""
    reply = api.call("BookService/FollowMachine", followed(SHARES))
    (trend,) = reply.trends
    states = api.method("BookService/FollowMachine").output_type.fields_by_name["trends"].message_type.enum_types_by_name["State"]
    assert trend.state == states.values_by_name["STATE_CLOSING"].number, trend
    assert abs(trend.slope_ratio / (-2.3076923076923082e-05 * 1000) - 1) < 1e-9, trend
    assert abs(trend.intercept_ratio / 0.5769230769230769 - 1) < 1e-9, trend
    assert abs(trend.limit_distance.value / 14166.66666666666 - 1) < 1e-9 and trend.limit_distance.unit == 4, trend
    assert [finding.code for finding in reply.findings] == ["ADJUSTER_CLOSES"], reply
    assert any(one.subject == "limit_ratio" for one in reply.assumptions), reply
    miles = api.call("BookService/FollowMachine", {**followed(SHARES), "reply_units": "UNIT_SYSTEM_INCH"}).trends[0]
    assert abs(miles.limit_distance.value / (14166.66666666666 / 1.609344) - 1) < 1e-9 and miles.limit_distance.unit == 5, miles
    for count, state in ((3, "STATE_TOO_FEW"), (4, "STATE_TOO_FEW"), (5, "STATE_CLOSING")):
        (some,) = api.call("BookService/FollowMachine", followed(SHARES[:count])).trends
        assert some.state == states.values_by_name[state].number, (count, some)


def work_on_a_circuit_begins_a_new_story(api):
    content = followed(SHARES)
    visits = content["visits"]["visits"]
    visits[3]["visit"]["work"] = [{"remedy": "REMEDY_REVALVE", "end": "MACHINE_END_FRONT", "circuits": [REBOUND]}]
    (trend,) = api.call("BookService/FollowMachine", content).trends
    assert (trend.point_count, [point.before_change for point in trend.points]) == (2, [True] * 4 + [False] * 2), trend
    visits[3]["visit"]["work"][0]["circuits"] = [COMPRESSION]
    (trend,) = api.call("BookService/FollowMachine", content).trends
    assert trend.point_count == 6, trend


def a_machine_is_followed_from_its_records(api):
    made = machine(api, "followed")
    sag = {
        "extended": {"pressed": length(600), "lifted": length(600)},
        "alone": {"pressed": length(588), "lifted": length(592)},
        "with_rider": {"pressed": length(563.5), "lifted": length(567.5)},
        "resolution": length(0.5),
        "handling": length(0),
    }
    prediction = {"subject": "SUBJECT_TOTAL_SAG", "end": "MACHINE_END_REAR", "standard_uncertainty": length(0.5)}
    # Entered in another order than they took place.
    for number, clicks in ((2, 10), (1, 12)):
        visit = {
            "as_found": front(clicks),
            "as_left": {"rear": {"sag": sag}},
            "distance": km(1000 * number),
            "visit_time": f"2031-0{number}-01T08:00:00Z",
            "predictions": [{**prediction, "value": length(34.0 if number == 1 else 30.0)}],
        }
        setup(api, f"followed-{number}", made.name, **visit)
    reply = api.call("BookService/FollowMachine", {"machine": made.name})
    (trend,) = reply.trends
    assert [(point.visit, point.share_ratio) for point in trend.points] == [
        ("setups/followed-1", 12 / 24),
        ("setups/followed-2", 10 / 24),
    ], trend
    assert {one.name for one in reply.used} == {"setups/followed-1@1", "setups/followed-2@1", made.name + "@1"}, reply.used
    met, missed = reply.predictions
    assert abs(met.measured.value.value - 34.5) < 1e-9 and not met.differs and missed.differs, reply.predictions
    assert abs(missed.difference.value - 4.5) < 1e-9 and missed.measured_at == "setups/followed-2", missed
    assert abs(missed.difference_standard_uncertainty.value - (0.5**2 + 0.5**2 / 24 * 2) ** 0.5) < 0.02, missed
    assert "PREDICTION_MISSED" in [finding.code for finding in reply.findings], reply
    must_refuse("NOT_FOUND", "NOT_FOUND", api.call, "BookService/FollowMachine", {"machine": "machines/nobody"})


def two_setups_differ_field_by_field(api):
    made = machine(api, "compared")
    found = {"front": {"adjusters": [position(REBOUND, 12)], "preload": length(10)}, "rear": {"preload": length(8)}}
    left = {"front": {"adjusters": [position(REBOUND, 10)], "preload": length(0.5, "UNIT_INCH")}, "rear": {"preload": length(8)}}
    left["rear"]["tyre_gauge_pressure"] = {"value": 250, "unit": "UNIT_KILOPASCAL"}
    kept = setup(api, "compared", made.name, as_found=found, as_left=left)
    first = {"setup": kept.name, "moment": "MOMENT_AS_FOUND"}
    reply = api.call("BookService/CompareSetups", {"first": first, "second": {"setup": kept.name}})
    told = [(one.label, one.first, one.second, one.change) for one in reply.differences]
    assert told == [
        ("front rebound from closed", "12 clicks", "10 clicks", "2 clicks further closed"),
        ("front preload", "10 mm", "0.5 in", "0.106299 in more"),
        ("rear tyre pressure", "", "250 kPa", ""),
    ], told
    assert reply.alike_count > 10 and {one.name for one in reply.used} == {"setups/compared@1", "machines/compared@1"}, reply
    # The same as values, and with other springs.
    values = {"state": left, "machine": dict(VALUES, rear={"motion_ratio": 0.47, "legs": [{"spring_rate": stiffness(95)}]})}
    other = {"state": left, "machine": dict(VALUES, rear={"motion_ratio": 0.47, "legs": [{"spring_rate": stiffness(90)}]})}
    reply = api.call("BookService/CompareSetups", {"first": {"values": values}, "second": {"values": other}})
    (one,) = reply.differences
    assert (one.label, one.change, one.amount, one.unit) == ("rear shock spring rate", "5 N/mm less", -5.0, "N/mm"), one
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "BookService/CompareSetups", {})
    assert refusal.faults() == [("first", "VALUE_MISSING"), ("second", "VALUE_MISSING")], refusal


JOURNEYS = [
    records_come_back_as_entered,
    states_are_pinned_to_the_machine_as_it_was,
    what_is_named_must_be_there,
    every_fault_of_a_machine_is_told,
    lists_take_their_filters,
    standard_methods_hold_for_every_kind,
    a_rider_keeps_no_history_and_is_erased_at_once,
    rules_are_shipped_and_overridden_by_end,
    prices_are_the_shops_own,
    the_published_trend_comes_out,
    work_on_a_circuit_begins_a_new_story,
    a_machine_is_followed_from_its_records,
    two_setups_differ_field_by_field,
]
