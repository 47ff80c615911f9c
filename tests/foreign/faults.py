"""Every number a request can carry is spoilt in every way, and must be refused at its own field.

The fields are found by walking the messages that reflection tells of: a field that is added later is tried too."""

import math

from google.protobuf.descriptor import FieldDescriptor

from client import PACKAGE, check_refusal, must_refuse, refused
from drawer import damper, lot, stack
from rack import put
from recording import attach, attach_refused, header

NUMBER = FieldDescriptor.TYPE_DOUBLE
ENUM = FieldDescriptor.TYPE_ENUM
MESSAGE = FieldDescriptor.TYPE_MESSAGE

# What the server fills in is ignored in a request, so its numbers are not judged.
SERVERS = {
    "UpdateRunRequest": ["run.header", "run.gaps"],
    "UpdateRuleTableRequest": ["rule_table.defaults[0]", "rule_table.in_force[0]"],
}
# Where either sign makes sense: a tester's zero may be off either way, and so may its datum. Temperatures fall below 0.
EITHER_SIGN = [
    "tare_load",
    "tare.load",
    "tare_mark.load",
    "tare_mark.zeroed_load",
    "temperature",
    "test_temperature",
    "window.deflections.from",
    "window.deflections.to",
    "reference_deflection",
    "predict_at[0]",
    "rate_at[0]",
    # A wheel and a linkage lie on either side of what they count from.
    "wheel_travels[0]",
    "further_force",
    "fork.axial_force",
    "swingarm.lower_mount_x",
    "swingarm.lower_mount_y",
    "swingarm.upper_mount_x",
    "swingarm.upper_mount_y",
    "swingarm.angles[0]",
    "start_temperature",
    "warmed_to",
    # A seat may stand above or below the clamp, and be dished either way.
    "seat.height",
    "seat.dish",
    # A shaft moves both ways, and a linkage may rise or fall.
    "shaft_velocities[0]",
    "temperatures[0]",
    # A spring may be loose, a tube stand below its clamp, and a sag be predicted where an end only tops out.
    "legs[0].preload",
    "front.preload",
    "rear.preload",
    "least_preload",
    "most_preload",
    "leg_preloads[0]",
    # A road rises and falls, and a load presses or lifts.
    "step.height",
    "bump.height",
    "load.wheel_load",
    "fork_height",
    "predictions[0].value",
    "viscosity_temperature",
    # A spring may bind before the stop.
    "bind_margin",
]
# Plain numbers of either sign: what an instrument shows and what it was shown under, and how fast a linkage rises or falls.
SIGNED = ["points[0].applied", "points[0].shown", "motion_ratio_change_per_meter"]
# What an update changes: a record that is there.
UPDATES = {
    "RackService/UpdateSpring": ("spring", "springs/spoilt"),
    "CalibrationService/UpdateTester": ("tester", "testers/spoilt"),
    "DrawerService/UpdateShimLot": ("shim_lot", "shimLots/spoilt"),
    "DrawerService/UpdateStack": ("stack", "stacks/spoilt"),
    "DrawerService/UpdateDamper": ("damper", "dampers/spoilt"),
}
# As many as one likes: a large number of degrees of freedom is as good as none stated.
UNLIMITED = ["degrees_of_freedom"]


class Place:
    """A number within a request: its path, and how to put something there."""

    def __init__(self, field, steps):
        self.field, self.steps = field, steps
        self.path = ".".join(
            step.name + ("[0]" if step.is_repeated and (step is not steps[-1] or step.type == MESSAGE) else "")
            for step in steps
        )

    def holder(self, request):
        """The message that holds the number, made along the way."""
        for step in self.steps[:-1]:
            request = into(request, step)
        return request

    def ends_with(self, endings):
        return any(self.path == one or self.path.endswith("." + one) for one in endings)


def into(message, field):
    child = getattr(message, field.name)
    if field.is_repeated:
        return child[0] if len(child) else child.add()
    child.SetInParent()
    return child


def is_quantity(descriptor):
    fields = descriptor.fields_by_name
    return set(fields) == {"value", "unit"} and fields["value"].type == NUMBER and fields["unit"].type == ENUM


def places(descriptor, steps=(), seen=()):
    """Quantities, bare numbers and bare units of a message, in all its parts."""
    if descriptor in seen or not descriptor.full_name.startswith(PACKAGE):
        return
    for field in descriptor.fields:
        here = [*steps, field]
        if field.type == MESSAGE and is_quantity(field.message_type):
            yield Place(field, here)
        elif field.type == MESSAGE:
            yield from places(field.message_type, here, (*seen, descriptor))
        elif field.type == NUMBER or (field.type == ENUM and field.enum_type.name == "Unit"):
            yield Place(field, here)


def requests_with_numbers(api):
    """Each RPC with each place of its request; what a stream of blocks holds is tried with the recordings."""
    found = []
    for rpc, method in sorted(api.rpcs.items()):
        kind = method.input_type
        for place in places(kind):
            mine = any(place.path.startswith(one + ".") for one in SERVERS.get(kind.name, []))
            if not mine and not place.path.startswith(("block.", "header.columns")):
                found.append((rpc, place))
    return found


def spoilt(place):
    """Name of the fault, what to do to the holder, and the violation that must follow."""
    name = place.field.name
    if place.field.type == ENUM:
        yield "unit missing", lambda at: setattr(at, name, 0), (place.path, "UNIT_MISSING")
        return
    if place.field.type == MESSAGE:
        yield from spoilt_quantity(place)
        return
    shown = place.path + ("[0]" if place.field.is_repeated else "")

    def put_number(value):
        return (lambda at: getattr(at, name).append(value)) if place.field.is_repeated else (
            lambda at: setattr(at, name, value)
        )

    for value in (math.nan, math.inf, -math.inf):
        yield str(value), put_number(value), (shown, "NOT_FINITE")
    # Bare columns hold whatever was read: only what is no number is a fault.
    if not place.field.is_repeated:
        if not place.ends_with(SIGNED):
            yield "negative", put_number(-1.0), (shown, "OUT_OF_RANGE")
        if not place.ends_with(UNLIMITED):
            yield "too large", put_number(1e300), (shown, "OUT_OF_RANGE")


def spoilt_quantity(place):
    field, path = place.field, place.path
    good = field.message_type.fields_by_name["unit"].enum_type.values[1].number

    def quantity(at):
        return at.__getattribute__(field.name).add() if field.is_repeated else into(at, field)

    def fill(value, unit):
        def act(at):
            one = quantity(at)
            if value is not None:
                one.value = value
            one.unit = unit

        return act

    yield "value missing", fill(None, good), (path + ".value", "VALUE_MISSING")
    yield "unit missing", fill(10.0, 0), (path + ".unit", "UNIT_MISSING")
    yield "unknown unit", fill(10.0, 99), (path + ".unit", "OUT_OF_RANGE")
    for value in (math.nan, math.inf, -math.inf):
        yield str(value), fill(value, good), (path + ".value", "NOT_FINITE")
    yield "too large", fill(1e300, good), (path + ".value", "OUT_OF_RANGE")
    negative = -1e300 if place.ends_with(EITHER_SIGN) else -1.0
    yield "negative", fill(negative, good), (path + ".value", "OUT_OF_RANGE")


def base(api, rpc):
    """A request that is good but for what is put into it; numbers are judged only within what they belong to."""
    request = api.request(rpc)
    if "request_id" in request.DESCRIPTOR.fields_by_name:
        request.request_id = "00000000-0000-4000-8000-000000000001"
    if rpc in UPDATES:
        field, name = UPDATES[rpc]
        getattr(request, field).name = name
    if rpc.startswith("BookService/Update"):
        record = next(field for field in request.DESCRIPTOR.fields if field.name not in ("update_mask", "request_id"))
        if record.name in ("rider", "machine", "setup", "job_sheet"):
            segment = {"job_sheet": "jobSheets"}.get(record.name, record.name + "s")
            getattr(request, record.name).name = segment + "/spoilt"
    return request


def stated_ratio(message, place):
    """A ratio of a grade counts only where the grade is one of a stated ratio."""
    if place.field.name == "rate_tolerance_ratio":
        message.system = message.DESCRIPTOR.fields_by_name["system"].enum_type.values_by_name["SYSTEM_STATED_RATIO"].number


def refusal_of_place(api, rpc, place, act):
    request = base(api, rpc)
    holder = place.holder(request)
    stated_ratio(holder, place)
    act(holder)
    if rpc != "RunService/RecordRun":
        return refused(api.call, rpc, request)
    if place.path.startswith("notice."):
        # A step of its own, which has its place only after the header.
        stream, _ = attach(api, header())
        stream.send(request)
        return stream.end_of_error()
    good = api.request(rpc, {"header": header()})
    good.MergeFrom(request)
    stream = api.open(rpc)
    stream.send(good)
    return stream.end_of_error()


def every_number_is_refused_when_it_makes_no_sense(api):
    put(api, "spoilt")
    lot(api, "spoilt", 62, 0.1, 1)
    stack(api, "spoilt")
    damper(api, "spoilt")
    found = requests_with_numbers(api)
    rpcs = {rpc for rpc, _ in found}
    assert {"SpringService/ReduceRun", "RackService/CreateSpring", "RunService/RecordRun", "DrawerService/UpdateDamper"} <= rpcs, rpcs
    assert len(found) >= 60, len(found)
    tried, wrong = 0, []
    for rpc, place in found:
        for fault, act, wanted in spoilt(place):
            tried += 1
            try:
                refusal = refusal_of_place(api, rpc, place, act)
            except AssertionError as accepted:
                wrong.append(f"{rpc} {place.path} {fault}: {accepted}")
                continue
            right = (refusal.code.name, refusal.reason) == ("INVALID_ARGUMENT", "INVALID_FIELDS")
            if not right or wanted not in refusal.faults():
                wrong.append(f"{rpc} {place.path} {fault}: wanted {wanted}: {refusal}")
    print(f"  {tried} faults in {len(found)} numbers of {len(rpcs)} RPCs")
    assert not wrong, f"{len(wrong)} of {tried}:\n" + "\n".join(wrong)


def both_parts_of_a_bare_quantity_are_missed(api):
    request = base(api, "RackService/CreateSpring")
    request.spring.marked_rate.SetInParent()
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "RackService/CreateSpring", request)
    wanted = [("spring.marked_rate.value", "VALUE_MISSING"), ("spring.marked_rate.unit", "UNIT_MISSING")]
    assert sorted(refusal.faults()) == sorted(wanted), refusal


def required_quantity_is_missed_by_name(api):
    for rpc, content, field in (
        ("SpringService/LoadAtLength", {"values": {"rate": {"value": 9.5, "unit": 1}}}, "length"),
        ("SpringService/LoadAtLength", {"values": {}, "length": {"value": 100, "unit": 1}}, "values.rate"),
        ("SpringService/ReduceRun", {"measured_rate": {}}, "measured_rate.rate"),
        ("SpringService/ReduceRun", {"frame": {"stiffness": {}}}, "frame.stiffness.rate"),
    ):
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, rpc, content)
        assert (field, "VALUE_MISSING") in refusal.faults(), f"{field}: {refusal}"


def description_says_value_unit_and_limits(api):
    request = base(api, "RackService/CreateSpring")
    request.spring.free_length.value, request.spring.free_length.unit = 99.5, 2
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "RackService/CreateSpring", request)
    (field, reason, words), = refusal.violations
    assert (field, reason) == ("spring.free_length.value", "OUT_OF_RANGE"), refusal
    assert "99.5 in" in words and "2000 mm" in words, words


def faults_are_told_together_up_to_a_bound(api):
    samples = api.request("SpringService/ReduceRun")
    samples.samples.deflection_unit = samples.samples.load_unit = 1
    samples.samples.deflections.extend(float(number) for number in range(1000))
    samples.samples.loads.extend([math.nan] * 1000)
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SpringService/ReduceRun", samples)
    assert len(refusal.violations) == 25, len(refusal.violations)
    wanted = [(f"samples.loads[{number}]", "NOT_FINITE") for number in range(24)]
    assert refusal.faults()[:24] == wanted, refusal.faults()
    assert refusal.faults()[24][1] == "MORE" and "976" in refusal.violations[24][2], refusal.violations[24]
    assert refusal.detail_bytes <= 4096 + 512, refusal.detail_bytes
    # Few faults with long texts are bounded too, or a client would refuse the trailers.
    long = attach_refused(api, header(spring="x" * 100_000, run_id="y" * 100_000, tester="z" * 100_000))
    assert long.code.name == "INVALID_ARGUMENT" and long.detail_bytes <= 4096 + 512, long.detail_bytes
    assert {field for field, _ in long.faults()} == {"header.spring", "header.run_id", "header.tester"}, long


def sides_of_samples_must_agree(api):
    good = {"deflection_unit": 1, "deflections": [1, 2, 3, 4], "load_unit": 1, "loads": [10, 20, 30, 40]}
    for fault, field, reason in (
        ({"loads": [10, 20]}, "samples.loads", "WRONG_LENGTH"),
        ({"elapsed_ns": [1]}, "samples.elapsed_ns", "WRONG_LENGTH"),
        ({"segment_starts": [3, 2]}, "samples.segment_starts[1]", "OUT_OF_RANGE"),
        ({"segment_starts": [9]}, "samples.segment_starts[0]", "OUT_OF_RANGE"),
    ):
        content = {"samples": dict(good, **fault)}
        refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SpringService/ReduceRun", content)
        assert (field, reason) in refusal.faults(), f"{field}: {refusal}"


def message_beyond_its_bound_is_too_large(api):
    """The largest request of each service is accepted as a message; one byte more is refused by its head."""
    for rpc, text, bound in (
        ("RackService/GetSpring", "name", 1 << 20),
        ("RunService/ReadRunSamples", "name", 1 << 20),
        ("SpringService/ReduceRun", "run", 8 << 20),
    ):
        content = api.request(rpc, {text: "x" * bound})
        setattr(content, text, "x" * (2 * bound - content.ByteSize()))
        assert content.ByteSize() == bound, content.ByteSize()
        call = api.read_message if api.method(rpc).server_streaming else api.call
        must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", call, rpc, content)
        setattr(content, text, getattr(content, text) + "x")
        refusal = must_refuse("RESOURCE_EXHAUSTED", "TOO_LARGE", call, rpc, content)
        assert str(bound) in refusal.message, refusal
    header_too_large = attach_refused(api, header(tester="x" * (1 << 20)))
    check_refusal(header_too_large, "RESOURCE_EXHAUSTED", "TOO_LARGE")


def nothing_to_reduce_is_said(api):
    refusal = must_refuse("INVALID_ARGUMENT", "INVALID_FIELDS", api.call, "SpringService/ReduceRun", {})
    assert any(reason == "VALUE_MISSING" for _, reason in refusal.faults()), refusal
    few = {"samples": {"deflection_unit": 1, "deflections": [1, 2], "load_unit": 1, "loads": [10, 20]}}
    flat = {"samples": {"deflection_unit": 1, "deflections": [5] * 50, "load_unit": 1, "loads": list(range(50))}}
    for name, content in (("two points", few), ("one deflection", flat)):
        refusal = refused(api.call, "SpringService/ReduceRun", content)
        assert refusal.code.name == "INVALID_ARGUMENT", f"{name}: {refusal}"
        assert refusal.reason in ("NOT_REDUCIBLE", "INVALID_FIELDS") and refusal.message, f"{name}: {refusal}"


JOURNEYS = [
    every_number_is_refused_when_it_makes_no_sense,
    both_parts_of_a_bare_quantity_are_missed,
    required_quantity_is_missed_by_name,
    description_says_value_unit_and_limits,
    faults_are_told_together_up_to_a_bound,
    sides_of_samples_must_agree,
    message_beyond_its_bound_is_too_large,
    nothing_to_reduce_is_said,
]
