"""Springs on the rack: created, read, listed, changed, deleted, brought back, each exactly as promised."""

from client import fresh, length, must_refuse, refused, stiffness

SPRING = {
    "label": "rear, 54 lb/in mark",
    "marked_rate": {"value": 54.1, "unit": "UNIT_POUND_FORCE_PER_INCH"},
    "marking_text": "54 - 160",
    "free_length": {"value": 6.2992, "unit": "UNIT_INCH"},
    "wire_diameter": length(11.0),
    "active_coil_count": 5.25,
}


def put(api, spring_id, **more):
    return api.change("RackService/CreateSpring", {"spring": dict(SPRING, **more), "spring_id": spring_id})


def spring_comes_back_as_entered(api):
    made = put(api, "as-entered")
    assert (made.name, made.revision, made.label) == ("springs/as-entered", 1, SPRING["label"]), made
    assert made.uid and made.etag and made.HasField("create_time") and not made.HasField("delete_time"), made
    read = api.call("RackService/GetSpring", {"name": made.name})
    assert read == made, (read, made)
    # As entered: neither the value nor the unit moved by a bit.
    assert read.marked_rate.value == 54.1 and read.marked_rate.unit == 3, read
    assert read.free_length.value == 6.2992 and read.free_length.unit == 2, read
    assert not read.HasField("solid_length"), read


def server_chooses_an_id_and_ignores_its_own_fields(api):
    spring = dict(SPRING, name="springs/not-this", uid="mine", etag="mine", revision=77)
    made = api.change("RackService/CreateSpring", {"spring": spring})
    assert made.name.startswith("springs/") and len(made.name) == len("springs/") + 36, made.name
    assert made.uid != "mine" and made.revision == 1, made


def name_is_taken_even_by_a_deleted_spring(api):
    put(api, "taken")
    content = {"spring": SPRING, "spring_id": "taken"}
    must_refuse("ALREADY_EXISTS", "NAME_TAKEN", api.change, "RackService/CreateSpring", content)
    api.change("RackService/DeleteSpring", {"name": "springs/taken"})
    must_refuse("ALREADY_EXISTS", "NAME_TAKEN_BY_DELETED", api.change, "RackService/CreateSpring", content)


def update_changes_what_the_mask_names(api):
    before = put(api, "masked", notes="keep")
    change = {"name": before.name, "label": "softer", "notes": "not in the mask", "marked_rate": stiffness(8.5)}
    after = api.change("RackService/UpdateSpring", {"spring": change, "update_mask": "label,markedRate"})
    assert (after.label, after.notes, after.marked_rate.value) == ("softer", "keep", 8.5), after
    assert after.revision == 2 and after.etag != before.etag and after.uid == before.uid, after
    # Without a mask: the fields that are populated.
    after = api.change("RackService/UpdateSpring", {"spring": {"name": before.name, "rack_place": "B4"}})
    assert (after.rack_place, after.label, after.revision) == ("B4", "softer", 3), after
    # A field in the mask that is left out is cleared.
    after = api.change("RackService/UpdateSpring", {"spring": {"name": before.name}, "update_mask": "markedRate"})
    assert not after.HasField("marked_rate") and after.label == "softer", after
    # "*" replaces the whole.
    after = api.change("RackService/UpdateSpring", {"spring": {"name": before.name, "label": "bare"}, "update_mask": "*"})
    assert after.label == "bare" and not after.rack_place and not after.HasField("free_length"), after


def update_that_changes_nothing_makes_no_revision(api):
    before = put(api, "unchanged")
    same = {"spring": {"name": before.name, "label": SPRING["label"]}, "update_mask": "label"}
    after = api.change("RackService/UpdateSpring", same)
    assert (after.revision, after.etag) == (1, before.etag), after


def mask_takes_whole_quantities_of_known_fields_only(api):
    made = put(api, "mask-form")
    for path in ("markedRate.value", "colour", "revision", "name"):
        content = {"spring": {"name": made.name, "marked_rate": stiffness(9.0)}, "update_mask": path}
        refusal = refused(api.change, "RackService/UpdateSpring", content)
        assert (refusal.code.name, refusal.reason) == ("INVALID_ARGUMENT", "INVALID_FIELDS"), f"{path}: {refusal}"
        assert any(field.startswith("update_mask") for field, _ in refusal.faults()), f"{path}: {refusal}"


def stale_etag_is_refused_with_the_current_one(api):
    first = put(api, "etags")
    name = first.name
    second = api.change("RackService/UpdateSpring", {"spring": {"name": name, "etag": first.etag, "label": "second"}})
    stale = {"spring": {"name": name, "etag": first.etag, "label": "third"}}
    for rpc, content in (
        ("RackService/UpdateSpring", stale),
        ("RackService/DeleteSpring", {"name": name, "etag": first.etag}),
    ):
        refusal = must_refuse("ABORTED", "STALE_ETAG", api.change, rpc, content)
        assert refusal.metadata.get("etag") == second.etag, refusal
    assert api.call("RackService/GetSpring", {"name": name}).label == "second"


def deleted_spring_comes_back(api):
    made = put(api, "comes-back")
    name = {"name": made.name}
    deleted = api.change("RackService/DeleteSpring", name)
    assert deleted.HasField("delete_time") and deleted.HasField("purge_time"), deleted
    kept = deleted.purge_time.ToSeconds() - deleted.delete_time.ToSeconds()
    assert abs(kept - 30 * 86400) <= 1, f"kept for {kept} s"
    # It is still there to be looked at, but takes no change.
    assert api.call("RackService/GetSpring", name).HasField("delete_time")
    change = {"spring": dict(name, label="x")}
    must_refuse("FAILED_PRECONDITION", "DELETED", api.change, "RackService/UpdateSpring", change)
    source = {"spring": made.name, "length": length(100)}
    must_refuse("FAILED_PRECONDITION", "DELETED", api.call, "SpringService/LoadAtLength", source)
    listed = [spring.name for spring in pages(api, "RackService/ListSprings", "springs", {"label_contains": "54 lb"})]
    assert made.name not in listed
    shown = {"label_contains": "54 lb", "show_deleted": True}
    assert made.name in [spring.name for spring in pages(api, "RackService/ListSprings", "springs", shown)]
    back = api.change("RackService/UndeleteSpring", name)
    assert not back.HasField("delete_time") and not back.HasField("purge_time") and back.label == made.label, back
    assert back.uid == made.uid and back.revision > made.revision, back


def revisions_are_kept(api):
    made = put(api, "revised")
    for label in ("second", "third"):
        api.change("RackService/UpdateSpring", {"spring": {"name": made.name, "label": label}})
    revisions = pages(api, "RackService/ListSpringRevisions", "revisions", {"name": made.name, "page_size": 2})
    assert [(one.revision, one.label) for one in revisions] == [(3, "third"), (2, "second"), (1, SPRING["label"])], revisions
    pinned = api.call("RackService/GetSpring", {"name": made.name + "@1"})
    assert pinned.label == SPRING["label"] and pinned.revision == 1, pinned
    must_refuse("NOT_FOUND", "NOT_FOUND", api.call, "RackService/GetSpring", {"name": made.name + "@9"})
    # A calculation reads the revision that is named, and says so.
    reply = api.call("SpringService/LoadAtLength", {"spring": made.name + "@1", "length": length(100)})
    assert [used.name for used in reply.used] == [made.name + "@1"], reply


def pages(api, rpc, field, content):
    """Everything a list holds, page by page."""
    found, token = [], ""
    while True:
        page = api.call(rpc, dict(content, page_token=token))
        found.extend(getattr(page, field))
        token = page.next_page_token
        if not token:
            return found


def list_goes_through_every_page_once(api):
    for number in range(7):
        put(api, f"paged-{number}", label=f"Paged {number}")
    content = {"label_contains": "pAgEd", "page_size": 3}
    first = api.call("RackService/ListSprings", content)
    assert len(first.springs) == 3 and first.next_page_token, first
    names = [spring.name for spring in pages(api, "RackService/ListSprings", "springs", content)]
    assert names == [f"springs/paged-{number}" for number in range(7)], names
    # A token belongs to its filters, and is not to be made up.
    for token, changed in ((first.next_page_token, {"label_contains": "other"}), ("made-up", {})):
        refusal = refused(api.call, "RackService/ListSprings", dict(content, page_token=token, **changed))
        assert refusal.code.name == "INVALID_ARGUMENT", refusal
        assert [field for field, _ in refusal.faults()] == ["page_token"], refusal
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "RackService/ListSprings", {"page_size": -1})
    assert refusal.faults() == [("page_size", "OUT_OF_RANGE")], refusal
    assert api.call("RackService/ListSprings", {"page_size": 2**31 - 1}).springs


def request_id_is_required_by_every_change(api):
    changes = [name for name, rpc in api.rpcs.items() if "request_id" in rpc.input_type.fields_by_name]
    assert len(changes) >= 9, changes
    for rpc in changes:
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, rpc, {})
        assert ("request_id", "VALUE_MISSING") in refusal.faults(), f"{rpc}: {refusal}"
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, rpc, {"request_id": "no-uuid"})
        assert ("request_id", "OUT_OF_RANGE") in refusal.faults(), f"{rpc}: {refusal}"


def repeated_change_happens_once_and_answers_the_same(api):
    once = fresh()
    content = {"spring": dict(SPRING, label="once")}
    first = api.change("RackService/CreateSpring", content, once)
    # Between the two the spring moves on: the answer is still the first one.
    api.change("RackService/UpdateSpring", {"spring": {"name": first.name, "label": "later"}})
    again = api.change("RackService/CreateSpring", content, once)
    assert again == first, (again, first)
    found = pages(api, "RackService/ListSpringRevisions", "revisions", {"name": first.name})
    assert len(found) == 2, found
    update = fresh()
    change = {"spring": {"name": first.name, "label": "replayed"}, "update_mask": "label"}
    first = api.change("RackService/UpdateSpring", change, update)
    assert api.change("RackService/UpdateSpring", change, update) == first
    delete = fresh()
    first = api.change("RackService/DeleteSpring", {"name": first.name}, delete)
    assert api.change("RackService/DeleteSpring", {"name": first.name}, delete) == first


def request_id_with_other_content_is_refused(api):
    once = fresh()
    made = api.change("RackService/CreateSpring", {"spring": SPRING}, once)
    other = {"spring": dict(SPRING, label="other")}
    must_refuse("FAILED_PRECONDITION", "REQUEST_ID_REUSED", api.change, "RackService/CreateSpring", other, once)
    must_refuse(
        "FAILED_PRECONDITION", "REQUEST_ID_REUSED", api.change, "RackService/DeleteSpring", {"name": made.name}, once
    )
    assert not api.call("RackService/GetSpring", {"name": made.name}).HasField("delete_time")


def refusal_is_not_remembered(api):
    once = fresh()
    update = {"spring": {"name": "springs/comes-later", "label": "now"}}
    must_refuse("NOT_FOUND", "NOT_FOUND", api.change, "RackService/UpdateSpring", update, once)
    put(api, "comes-later")
    assert api.change("RackService/UpdateSpring", update, once).label == "now"


def names_are_checked(api):
    for name in ("springs/A", "spring/a7", "springs/a7/b", "springs/", "springs/" + "a" * 64, "runs/a7"):
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "RackService/GetSpring", {"name": name})
        assert refusal.faults() == [("name", "UNKNOWN_NAME")], f"{name}: {refusal}"
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "RackService/GetSpring", {})
    assert refusal.faults() == [("name", "VALUE_MISSING")], refusal
    refusal = must_refuse("NOT_FOUND", "NOT_FOUND", api.call, "RackService/GetSpring", {"name": "springs/nobody"})
    assert refusal.metadata.get("name") == "springs/nobody", refusal


def load_at_length_follows_the_spring(api):
    values = {"rate": stiffness(90), "free_length": length(160), "solid_length": length(90)}
    reply = api.call("SpringService/LoadAtLength", {"values": values, "length": length(120)})
    # Hooke: 40 mm at 90 N/mm; energy 90 N/mm * (40 mm)^2 / 2 = 72 J.
    assert abs(reply.load.value.value - 3600) < 1e-9 * 3600 and reply.load.value.unit == 1, reply.load
    assert abs(reply.deflection.value.value - 40) < 1e-9 * 40, reply.deflection
    assert abs(reply.energy.value.value - 72) < 1e-9 * 72, reply.energy
    inch = api.call("SpringService/LoadAtLength", {"values": values, "length": length(120), "reply_units": 2})
    assert abs(inch.load.value.value * 4.4482216152605 - 3600) < 1e-9 * 3600 and inch.load.value.unit == 3, inch.load
    longer = api.call("SpringService/LoadAtLength", {"values": values, "length": length(170)})
    assert longer.load.value.value == 0 and longer.energy.value.value == 0, longer
    bound = api.call("SpringService/LoadAtLength", {"values": values, "length": length(80)})
    assert any(finding.severity == 3 and finding.caution for finding in bound.findings), bound.findings


JOURNEYS = [
    spring_comes_back_as_entered,
    server_chooses_an_id_and_ignores_its_own_fields,
    name_is_taken_even_by_a_deleted_spring,
    update_changes_what_the_mask_names,
    update_that_changes_nothing_makes_no_revision,
    mask_takes_whole_quantities_of_known_fields_only,
    stale_etag_is_refused_with_the_current_one,
    deleted_spring_comes_back,
    revisions_are_kept,
    list_goes_through_every_page_once,
    request_id_is_required_by_every_change,
    repeated_change_happens_once_and_answers_the_same,
    request_id_with_other_content_is_refused,
    refusal_is_not_remembered,
    names_are_checked,
    load_at_length_follows_the_spring,
]
