"""The drawer: lots of shims, stacks built of them and taken apart, dampers that name stacks. All of it is invented."""

import threading

import valving
from client import fresh, length, must_refuse, refused
from rack import pages
from valving import pressure

BORE = 8


def lot(api, lot_id, outer, thickness, count, **more):
    content = {"outer_diameter": length(outer), "thickness": length(thickness), "count": count, **more}
    return api.change("DrawerService/CreateShimLot", {"shim_lot": content, "shim_lot_id": lot_id})


def stack(api, stack_id, **more):
    content = {**valving.taper(), "label": f"stack {stack_id}", **more}
    return api.change("DrawerService/CreateStack", {"stack": content, "stack_id": stack_id})


def own(tag):
    """Layers of a size that no other journey has, so that its lots are its own."""
    return [{"outer_diameter": length(30 + tag / 100), "thickness": length(0.15), "count": 3}]


def counts(api, *names):
    lots = [api.call("DrawerService/GetShimLot", {"name": name}) for name in names]
    return [(lot.count, lot.built_count) for lot in lots]


def build(api, name, **more):
    return api.change("DrawerService/BuildStack", {"name": name, **more})


def lot_comes_back_as_entered_and_counts_are_adjusted(api):
    thickness = {"value": 0.006, "unit": "UNIT_INCH"}
    content = {"label": "face", "outer_diameter": length(30.0), "inner_diameter": length(8.0), "thickness": thickness, "count": 12}
    made = api.change("DrawerService/CreateShimLot", {"shim_lot": content, "shim_lot_id": "as-entered"})
    assert (made.name, made.count, made.built_count) == ("shimLots/as-entered", 12, 0), made
    read = api.call("DrawerService/GetShimLot", {"name": made.name})
    assert read == made and (read.thickness.value, read.thickness.unit) == (0.006, 2), read
    adjust = lambda change, once=None: api.change(
        "DrawerService/AdjustShimCount", {"name": made.name, "change": change}, once
    )
    once = fresh()
    first = adjust(-5, once)
    assert first.count == 7 and adjust(-5, once) == first, first
    refusal = must_refuse("FAILED_PRECONDITION", "NOT_ENOUGH_SHIMS", adjust, -8)
    assert all(word in refusal.message for word in (made.name, "7", "8")), refusal
    assert (refusal.metadata["have"], refusal.metadata["need"]) == ("7", "8"), refusal
    for change in (0, 1_000_001, -(2**31)):
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", adjust, change)
        assert refusal.faults() == [("change", "OUT_OF_RANGE")], refusal
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", adjust, 999_999)
    assert refusal.faults() == [("change", "OUT_OF_RANGE")], refusal
    assert adjust(3).count == 10
    # A count is not written over what was taken meanwhile.
    update = {"shim_lot": {"name": made.name, "count": 99}}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/UpdateShimLot", update)
    assert refusal.faults() == [("shim_lot.count", "CONFLICT")], refusal
    after = api.change("DrawerService/UpdateShimLot", {"shim_lot": {"name": made.name, "count": 10, "label": "low"}})
    assert (after.label, after.count, after.thickness.value) == ("low", 10, 0.006), after
    labels = [one.label for one in pages(api, "DrawerService/ListShimLotRevisions", "revisions", {"name": made.name})]
    assert labels == ["low", "face", "face", "face"], labels
    sized = pages(api, "DrawerService/ListShimLots", "shim_lots", {"thickness": {"value": 0.1524, "unit": 1}})
    assert [one.name for one in sized] == [made.name], sized


def standard_methods_hold_for_all_three(api):
    for service, field, make in (
        ("ShimLot", "shim_lot", lambda name: lot(api, name, 61, 0.1, 1)),
        ("Stack", "stack", lambda name: stack(api, name)),
        ("Damper", "damper", lambda name: damper(api, name)),
    ):
        made = make("standard")
        call = lambda verb, content, service=service: api.change(f"DrawerService/{verb}{service}", content)
        name = {"name": made.name}
        must_refuse("ALREADY_EXISTS", "NAME_TAKEN", make, "standard")
        after = call("Update", {field: {**name, "label": "renamed", "etag": made.etag}})
        assert (after.label, after.revision, after.uid) == ("renamed", 2, made.uid), after
        # What is not named stays, to the last bit.
        after.label, after.revision, after.etag = made.label, 1, made.etag
        after.update_time.CopyFrom(made.update_time)
        assert after == made, (after, made)
        refusal = must_refuse("ABORTED", "STALE_ETAG", call, "Delete", {**name, "etag": made.etag})
        deleted = call("Delete", {**name, "etag": refusal.metadata["etag"]})
        assert deleted.HasField("purge_time"), deleted
        must_refuse("FAILED_PRECONDITION", "DELETED", call, "Update", {field: {**name, "label": "x"}})
        must_refuse("ALREADY_EXISTS", "NAME_TAKEN_BY_DELETED", make, "standard")
        plural = f"{service}s"
        listed = lambda **more: [
            one.name for one in pages(api, f"DrawerService/List{plural}", field + "s", {"label_contains": "ReNamed", **more})
        ]
        assert made.name not in listed() and made.name in listed(show_deleted=True)
        assert not call("Undelete", name).HasField("delete_time")
        assert made.name in listed()
        for path in ("built", "uid", "nonsense", "label.value"):
            content = {field: {**name, "label": "y"}, "update_mask": path}
            refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", call, "Update", content)
            assert refusal.faults() == [("update_mask.paths[0]", "UNKNOWN_NAME")], refusal
        revisions = pages(api, f"DrawerService/List{service}Revisions", "revisions", {**name, "page_size": 1})
        assert [one.revision for one in revisions] == [4, 3, 2, 1], revisions
        pinned = api.call(f"DrawerService/Get{service}", {"name": made.name + "@1"})
        assert pinned == made, (pinned, made)


def what_is_kept_is_whole(api):
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/CreateStack", {"stack": {}})
    assert sorted(refusal.faults()) == [(f"stack.{field}", "VALUE_MISSING") for field in ("clamp", "faces", "layers")], refusal
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/CreateShimLot", {"shim_lot": {}})
    assert refusal.faults() == [(f"shim_lot.{field}", "VALUE_MISSING") for field in ("outer_diameter", "thickness")], refusal
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/CreateDamper", {})
    assert ("damper", "VALUE_MISSING") in refusal.faults(), refusal
    # Fields may be good one by one and yet make no stack: no shim here reaches beyond its clamp.
    wide = {**valving.taper(), "clamp": {"diameter": length(40)}, "faces": [{"port_inner_diameter": length(41), "port_outer_diameter": length(42)}]}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/CreateStack", {"stack": wide})
    assert refusal.faults() == [("stack.layers", "OUT_OF_RANGE")], refusal
    made = stack(api, "whole")
    for change, field in (({"clamp": {"diameter": length(19)}}, "stack.faces[0].port_inner_diameter"),):
        content = {"stack": {"name": made.name, **change}}
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/UpdateStack", content)
        assert refusal.faults() == [(field, "OUT_OF_RANGE")], refusal
    content = {"stack": {"name": made.name}, "update_mask": "faces"}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/UpdateStack", content)
    assert refusal.faults() == [("stack.faces", "VALUE_MISSING")], refusal
    wide = {"outer_diameter": length(10), "inner_diameter": length(10), "thickness": length(0.1)}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, "DrawerService/CreateShimLot", {"shim_lot": wide})
    assert refusal.faults() == [("shim_lot.inner_diameter", "CONFLICT")], refusal


def stack_is_built_and_taken_apart(api):
    first, second = lot(api, "b-one", 30.01, 0.15, 2), lot(api, "b-two", 30.01, 0.15, 4)
    made = stack(api, "b-stack", layers=own(1))
    once = fresh()
    built = api.change("DrawerService/BuildStack", {"name": made.name}, once)
    taken = [(part.lot, part.layer_index, part.count) for part in built.taken]
    assert built.built and taken == [(first.name, 0, 2), (second.name, 0, 1)], built
    assert counts(api, first.name, second.name) == [(0, 2), (3, 1)]
    assert api.change("DrawerService/BuildStack", {"name": made.name}, once) == built
    assert counts(api, first.name, second.name) == [(0, 2), (3, 1)]
    must_refuse("FAILED_PRECONDITION", "STACK_BUILT", build, api, made.name)
    # While it is built it stays, and so do its layers and its lots; what is said of it may change.
    must_refuse("FAILED_PRECONDITION", "STACK_BUILT", api.change, "DrawerService/DeleteStack", {"name": made.name})
    change = lambda **fields: api.change("DrawerService/UpdateStack", {"stack": {"name": made.name, **fields}})
    must_refuse("FAILED_PRECONDITION", "STACK_BUILT", change, layers=own(2))
    assert change(notes="in the fork").built
    refusal = must_refuse("FAILED_PRECONDITION", "IN_USE", api.change, "DrawerService/DeleteShimLot", {"name": first.name})
    assert refusal.metadata["by"] == made.name, refusal
    listed = lambda built: [one.name for one in pages(api, "DrawerService/ListStacks", "stacks", {"built": built})]
    assert made.name in listed(True) and made.name not in listed(False)
    apart = api.change("DrawerService/UnbuildStack", {"name": made.name})
    assert not apart.built and not apart.taken, apart
    assert counts(api, first.name, second.name) == [(2, 0), (4, 0)]
    must_refuse("FAILED_PRECONDITION", "STACK_NOT_BUILT", api.change, "DrawerService/UnbuildStack", {"name": made.name})
    api.change("DrawerService/DeleteShimLot", {"name": first.name})
    # A deleted lot is not taken from.
    assert [part.lot for part in build(api, made.name).taken] == [second.name]
    api.change("DrawerService/UnbuildStack", {"name": made.name})
    assert counts(api, second.name) == [(4, 0)]


def every_size_that_is_short_is_named(api):
    lot(api, "s-one", 30.03, 0.15, 1)
    layers = own(3) + [{"outer_diameter": length(28.03), "thickness": length(0.2)}]
    made = stack(api, "s-stack", layers=layers)
    refusal = must_refuse("FAILED_PRECONDITION", "NOT_ENOUGH_SHIMS", build, api, made.name)
    for words in ("30.03x0.15 mm: have 1, need 3, in shimLots/s-one", "28.03x0.20 mm: have 0, need 1, in no lot"):
        assert words in refusal.message, refusal
    assert counts(api, "shimLots/s-one") == [(1, 0)]
    assert not api.call("DrawerService/GetStack", {"name": made.name}).built
    # Layers of one size are counted together.
    twice = stack(api, "s-twice", layers=[dict(own(3)[0], count=1)] * 2)
    refusal = must_refuse("FAILED_PRECONDITION", "NOT_ENOUGH_SHIMS", build, api, twice.name)
    assert "have 1, need 2" in refusal.message, refusal


def lots_may_be_named(api):
    lot(api, "n-one", 30.04, 0.15, 9)
    lot(api, "n-two", 30.04, 0.15, 9)
    lot(api, "n-other", 31.04, 0.15, 9)
    made = stack(api, "n-stack", layers=own(4))
    built = build(api, made.name, lots=["shimLots/n-two"])
    assert [part.lot for part in built.taken] == ["shimLots/n-two"], built
    api.change("DrawerService/UnbuildStack", {"name": made.name})
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", build, api, made.name, lots=["shimLots/n-one", "shimLots/n-other"])
    assert refusal.faults() == [("lots[1]", "CONFLICT")], refusal
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", build, api, made.name, lots=["stacks/x", "shimLots/n-one", "shimLots/n-one"])
    assert refusal.faults() == [("lots[0]", "UNKNOWN_NAME"), ("lots[2]", "CONFLICT")], refusal
    must_refuse("NOT_FOUND", "NOT_FOUND", build, api, made.name, lots=["shimLots/nobody"])
    must_refuse("NOT_FOUND", "NOT_FOUND", build, api, "stacks/nobody")


def bore_decides_between_lots(api):
    lot(api, "c-eight", 30.05, 0.15, 9, inner_diameter=length(8))
    lot(api, "c-ten", 30.05, 0.15, 9, inner_diameter=length(10))
    made = stack(api, "c-stack", layers=own(5))
    refusal = must_refuse("FAILED_PRECONDITION", "LOTS_DIFFER", build, api, made.name)
    assert "shimLots/c-eight" in refusal.message and "shimLots/c-ten" in refusal.message, refusal
    # A bore that one layer states is that of the stack.
    ten = stack(api, "c-ten-stack", layers=[own(5)[0], dict(own(5)[0], count=1, inner_diameter=length(10))])
    assert {part.lot for part in build(api, ten.name).taken} == {"shimLots/c-ten"}


def inch_lots_serve_metric_layers_only_where_they_are_the_same(api):
    inches = lambda value: {"value": value, "unit": "UNIT_INCH"}
    content = {"outer_diameter": inches(30.06 / 25.4), "thickness": inches(0.006), "count": 9}
    api.change("DrawerService/CreateShimLot", {"shim_lot": content, "shim_lot_id": "i-inch"})
    made = stack(api, "i-stack", layers=own(6))
    # 0.006 in is 0.1524 mm: near, but another shim.
    must_refuse("FAILED_PRECONDITION", "NOT_ENOUGH_SHIMS", build, api, made.name)
    same = stack(api, "i-same", layers=[dict(own(6)[0], thickness=length(0.1524))])
    assert build(api, same.name).taken[0].lot == "shimLots/i-inch"


def builders_at_once_never_take_a_shim_twice(api):
    lot(api, "r-one", 30.07, 0.15, 10)
    lot(api, "r-two", 30.07, 0.15, 7)
    names = [stack(api, f"r-{number}", layers=own(7)).name for number in range(8)]
    outcomes = []

    def one(name):
        try:
            outcomes.append(build(api, name).built)
        except Exception as error:
            outcomes.append(error)

    threads = [threading.Thread(target=one, args=(name,)) for name in names]
    [thread.start() for thread in threads]
    [thread.join() for thread in threads]
    built = [name for name in names if api.call("DrawerService/GetStack", {"name": name}).built]
    # 17 shims make five stacks of three.
    assert outcomes.count(True) == len(built) == 5, outcomes
    assert sum(count for count, _ in counts(api, "shimLots/r-one", "shimLots/r-two")) == 2
    assert sum(count for _, count in counts(api, "shimLots/r-one", "shimLots/r-two")) == 15


def damper(api, damper_id, compression=None, rebound=None, **more):
    content = {**valving.damper(), **more}
    for place, name in (("compression", compression), ("rebound", rebound)):
        if name:
            valve = {"ports": content[place]["valve"]["ports"], "stack": name}
            content[place] = {**content[place], "valve": valve}
    return api.change("DrawerService/CreateDamper", {"damper": content, "damper_id": damper_id})


def calculations_read_the_drawer(api):
    made = stack(api, "calc")
    asked = {"max_pressure": pressure(0.5), "point_count": 4}
    by_values = api.call("ValvingService/SolveStack", {"values": valving.taper(), **asked})
    by_name = api.call("ValvingService/SolveStack", {"stack": made.name, **asked})
    assert [used.name for used in by_name.used] == [made.name + "@1"], by_name.used
    assert by_name.points == by_values.points
    thinner = {"stack": {"name": made.name, "layers": valving.taper()["layers"][:2]}}
    api.change("DrawerService/UpdateStack", thinner)
    newest = api.call("ValvingService/SolveStack", {"stack": made.name, **asked})
    assert newest.used[0].name == made.name + "@2" and newest.points != by_values.points
    pinned = api.call("ValvingService/SolveStack", {"stack": made.name + "@1", **asked})
    assert pinned.points == by_values.points and pinned.used[0].name == made.name + "@1"
    sides = {"first": {"stack": made.name + "@1"}, "second": {"stack": made.name}}
    compared = api.call("ValvingService/CompareStacks", sides)
    assert [used.name for used in compared.used] == [made.name + "@1", made.name + "@2"], compared.used
    assert all(at.stiffness_ratio < 1 for at in compared.stack_differences), compared.stack_differences
    kept = damper(api, "calc", compression=made.name + "@1", rebound=made.name + "@1")
    wanted = valving.damper()
    for place in ("compression", "rebound"):
        wanted[place] = {**wanted[place], "valve": {"ports": wanted[place]["valve"]["ports"], "values": valving.taper()}}
    asked = {"max_shaft_velocity": {"value": 1, "unit": 1}, "point_count": 3}
    by_values = api.call("ValvingService/EvaluateDamper", {"values": wanted, **asked})
    by_name = api.call("ValvingService/EvaluateDamper", {"damper": kept.name, **asked})
    assert by_name.points == by_values.points
    assert [used.name for used in by_name.used] == [kept.name + "@1", made.name + "@1"], by_name.used
    for content, code, reason in (
        ({"stack": "stacks/nobody"}, "NOT_FOUND", "NOT_FOUND"),
        ({"stack": made.name + "@9"}, "NOT_FOUND", "NOT_FOUND"),
        ({"stack": "stacks/NO"}, "INVALID_ARGUMENT", "INVALID_FIELDS"),
    ):
        must_refuse(code, reason, api.call, "ValvingService/SolveStack", {**content, "max_pressure": pressure(1)})
    # Faults of the request are told before anything is looked up.
    content = {"stack": "stacks/nobody", "max_pressure": pressure(-1)}
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "ValvingService/SolveStack", content)
    assert refusal.faults() == [("max_pressure.value", "OUT_OF_RANGE")], refusal


def stack_that_a_damper_names_stays(api):
    made = stack(api, "named")
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", damper, api, "d-lost", "stacks/lost", made.name + "@7")
    wanted = [(f"damper.{place}.valve.stack", "UNKNOWN_NAME") for place in ("compression", "rebound")]
    assert refusal.faults() == wanted, refusal
    kept = damper(api, "d-named", rebound=made.name)
    delete = lambda: api.change("DrawerService/DeleteStack", {"name": made.name})
    refusal = must_refuse("FAILED_PRECONDITION", "IN_USE", delete)
    assert refusal.metadata["by"] == kept.name, refusal
    named = [one.name for one in pages(api, "DrawerService/ListDampers", "dampers", {"stack": made.name})]
    assert named == [kept.name], named
    api.change("DrawerService/DeleteDamper", {"name": kept.name})
    delete()
    # A damper does not come back to a stack that is gone.
    refusal = must_refuse("NOT_FOUND", "NOT_FOUND", api.change, "DrawerService/UndeleteDamper", {"name": kept.name})
    assert refusal.metadata["name"] == made.name, refusal
    must_refuse("FAILED_PRECONDITION", "DELETED", api.call, "ValvingService/SolveStack", {"stack": made.name, "max_pressure": pressure(1)})
    api.change("DrawerService/UndeleteStack", {"name": made.name})
    back = api.change("DrawerService/UndeleteDamper", {"name": kept.name})
    assert back.rebound.valve.stack == made.name, back
    must_refuse("FAILED_PRECONDITION", "IN_USE", delete)


def damper_comes_back_as_entered(api):
    needle = {
        "seat_diameter": {"value": 0.118, "unit": "UNIT_INCH"},
        "half_angle": {"value": 12, "unit": 1},
        "pitch": length(0.75),
        "clicks_per_turn": 8.0,
        "click_range": 24.0,
        "clicks_from_closed": 12.0,
        "closed_area": {"value": 0.02, "unit": 1},
        "discharge_factor": 0.66,
    }
    leak = {"diameter": length(46), "clearance": length(0.01), "length": length(6), "eccentricity_ratio": 0.5}
    straight = {"cracking_pressure": pressure(0.1), "pressure": {"value": 300, "unit": 4}, "opening": length(0.5), "largest_opening": length(1)}
    law = {"perimeter": length(80), "straight": straight, "discharge_factor": 0.61, "stack_factor": 1.25}
    base = {"valve": law, "bleed": {"needle": needle}, "leak": leak}
    extra = {
        "label": "rear", "base_compression": base, "base_rebound": {"bleed": {"needle": needle}}, "notes": "as found",
        "friction": {"value": 2.5, "unit": 2}, "friction_velocity": {"value": 3, "unit": 2},
    }
    seat = {"inner_diameter": length(26), "outer_diameter": length(27), "height": length(-0.02), "dish": length(0.01)}
    full = {
        **valving.taper(), "label": "piston", "notes": "ours", "seat": seat, "modulus": {"value": 207, "unit": 2}, "poisson_ratio": 0.3,
        "stop": {"inner_diameter": length(15), "outer_diameter": length(26), "clearance": length(1.5)},
        "stress_limit": pressure(1200), "friction_factor": 0.12, "clamp": {"diameter": length(14), "radial_hold": 2},
    }
    full["modulus"] = pressure(207_000)
    content = {**valving.damper(), **extra}
    content["compression"] = {**content["compression"], "valve": {"values": full, "perimeter": length(70)}, "leak": leak}
    asked = api.request("DrawerService/CreateDamper", {"damper": content, "damper_id": "entered", "request_id": fresh()})
    made = api.call("DrawerService/CreateDamper", asked)
    read = api.call("DrawerService/GetDamper", {"name": made.name})
    assert read == made
    for field in ("name", "uid", "etag", "revision", "create_time", "update_time"):
        read.ClearField(field)
    assert read == asked.damper, (read, asked.damper)


def words_have_their_bounds(api):
    for rpc, content, field in (
        ("CreateShimLot", {"shim_lot": {"outer_diameter": length(9), "thickness": length(1), "label": "x" * 201}}, "shim_lot.label"),
        ("CreateShimLot", {"shim_lot": {"outer_diameter": length(9), "thickness": length(1), "material": "x" * 201}}, "shim_lot.material"),
        ("CreateStack", {"stack": {**valving.taper(), "notes": "x" * 4001}}, "stack.notes"),
        ("CreateDamper", {"damper": {**valving.damper(), "label": "x" * 201}}, "damper.label"),
        ("BuildStack", {"name": "stacks/whole", "lots": [f"shimLots/l{number}" for number in range(49)]}, "lots"),
    ):
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.change, f"DrawerService/{rpc}", content)
        assert refusal.faults() == [(field, "WRONG_LENGTH")], refusal
    many = {**valving.taper(), "layers": valving.taper()["layers"][:1] * 49}
    refusal = refused(api.change, "DrawerService/CreateStack", {"stack": many})
    assert refusal.faults() == [("stack.layers", "OUT_OF_RANGE")], refusal
    heavy = {**valving.taper(), "layers": [dict(valving.taper()["layers"][0], count=25)] * 2}
    refusal = refused(api.change, "DrawerService/CreateStack", {"stack": heavy})
    assert refusal.faults() == [("stack.layers[1].count", "OUT_OF_RANGE")], refusal
    for count in (-1, 2**31 - 1):
        content = {"shim_lot": {"outer_diameter": length(9), "thickness": length(1), "count": count}}
        refusal = refused(api.change, "DrawerService/CreateShimLot", content)
        assert refusal.faults() == [("shim_lot.count", "OUT_OF_RANGE")], refusal


JOURNEYS = [
    lot_comes_back_as_entered_and_counts_are_adjusted,
    standard_methods_hold_for_all_three,
    what_is_kept_is_whole,
    stack_is_built_and_taken_apart,
    every_size_that_is_short_is_named,
    lots_may_be_named,
    bore_decides_between_lots,
    inch_lots_serve_metric_layers_only_where_they_are_the_same,
    builders_at_once_never_take_a_shim_twice,
    calculations_read_the_drawer,
    stack_that_a_damper_names_stays,
    damper_comes_back_as_entered,
    words_have_their_bounds,
]
