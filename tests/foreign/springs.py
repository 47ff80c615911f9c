"""What a spring is from its geometry, together with others, as a gas, at the wheel and in a pair, through the served API."""

import math

import grpc
from client import length, stiffness
from published import DATA, given, load_cases
from rack import put

CASES = load_cases()


def newtons(value):
    return {"value": value, "unit": "UNIT_NEWTON"}


def pressure(value, unit="UNIT_MEGAPASCAL"):
    return {"value": value, "unit": unit}


def near(got, want, rel=1e-9):
    assert math.isclose(got, want, rel_tol=rel), f"{got}, expected {want}"


def expected(case, name):
    return CASES[case]["expected"][name]["value"]


def a_spring_follows_from_its_geometry(api):
    case = CASES["G-09"]
    reply = api.call(
        "SpringService/EvaluateHelical",
        {
            "wire_diameter": length(given(case, "d")),
            "mean_coil_diameter": length(given(case, "D")),
            "active_coil_count": given(case, "n"),
            "ends": "SPRING_ENDS_SQUARED_GROUND",
            "free_length": length(given(case, "L0")),
            "shear_modulus": pressure(given(case, "G")),
            "elastic_modulus": pressure(given(case, "E")),
            "seating_factor": given(case, "nu_fixity"),
            "deflections": [length(given(case, "s"))],
        },
    )
    near(reply.rate.value.value, expected("G-09", "k"))
    near(reply.solid_length.value, expected("G-09", "Ls"))
    near(reply.points[0].wahl_stress.value, expected("G-09", "tau_wahl"))
    near(reply.surge_frequency.value, expected("G-09", "f_surge"))
    assert "STORED_ENERGY" in [finding.code for finding in reply.findings]
    assert any("density" == assumption.subject for assumption in reply.assumptions)


def springs_together_close_in_order_of_load(api):
    case = CASES["P-05"]
    parts = [
        {"straight": {"rate": stiffness(k), **({"stop_travel": length(stop)} if stop else {})}}
        for k, stop in zip(given(case, "k"), given(case, "stop"))
    ]
    reply = api.call(
        "SpringService/EvaluateAssembly",
        {"part": {"series": {"parts": parts}}, "deflections": [length(s) for s in given(case, "probe")]},
    )
    for point, load, rate in zip(reply.points, expected("P-05", "F_probe"), expected("P-05", "rate_probe")):
        near(point.load.value, load)
        near(point.rate_after.value, rate)
    assert [stop.part for stop in reply.stops] == ["part.1", "part.2"]


def a_spring_of_the_rack_is_a_part(api):
    made = put(api, "a-part", marked_rate=stiffness(9.5), free_length=length(200), solid_length=length(120))
    parts = [{"spring": made.name}, {"straight": {"rate": stiffness(3)}, "gap": length(40)}]
    reply = api.call(
        "SpringService/EvaluateAssembly",
        {"part": {"parallel": {"parts": parts}}, "deflections": [length(20), length(60)]},
    )
    near(reply.points[0].load.value, 190)
    near(reply.points[1].load.value, 9.5 * 60 + 3 * 20)
    # Closed after free less solid length; nobody measured it, which is said.
    near(reply.travel_to_solid.value, 80)
    assert [used.name for used in reply.used] == [f"{made.name}@1"], reply.used
    assert any("marked rate" in assumption.text for assumption in reply.assumptions), reply.assumptions
    for name, code in [("springs/nobody", grpc.StatusCode.NOT_FOUND), ("runs/a7", grpc.StatusCode.INVALID_ARGUMENT)]:
        try:
            api.call("SpringService/EvaluateAssembly", {"part": {"series": {"parts": [{"spring": name}]}}})
        except grpc.RpcError as error:
            assert error.code() == code, (name, error.code())
        else:
            raise AssertionError(f"{name} was taken")


def units_change_no_answer(api):
    """The same values in millimetres and in inches give the same answer, to what rounding leaves."""

    def inches(value):
        return {"value": value / 25.4, "unit": "UNIT_INCH"}

    def pounds_per_inch(value):
        return {"value": value / (4.4482216152605 / 25.4), "unit": "UNIT_POUND_FORCE_PER_INCH"}

    def helical(size):
        request = {"wire_diameter": size(5), "mean_coil_diameter": size(40), "active_coil_count": 5.5, "deflections": [size(30)]}
        return api.call("SpringService/EvaluateHelical", request)

    metric, other = helical(length), helical(inches)
    near(other.rate.value.value, metric.rate.value.value, 1e-12)
    near(other.points[0].wahl_stress.value, metric.points[0].wahl_stress.value, 1e-12)

    def together(size, rate):
        parts = [{"straight": {"rate": rate(40), "stop_travel": size(12)}}, {"straight": {"rate": rate(9.5)}}]
        request = {"part": {"series": {"parts": parts}}, "preload": size(10), "deflections": [size(25), size(60)]}
        return api.call("SpringService/EvaluateAssembly", request)

    for metric, other in zip(together(length, stiffness).points, together(inches, pounds_per_inch).points):
        near(other.load.value, metric.load.value, 1e-12)
        near(other.energy.value, metric.energy.value, 1e-12)

    def air(size):
        leg = {"seal_diameter": size(48), "bore_diameter": size(44), "air_gap": size(130), "travel": size(120)}
        return api.call("SpringService/EvaluateGasSpring", {"oil_level": leg, "strokes": [size(100)]})

    near(air(inches).points[0].force.value, air(length).points[0].force.value, 1e-12)

    def wheel(size, rate):
        request = {"motion_ratio": 0.5, "springs": [{"rate": rate(90)}], "preload": size(8), "wheel_travels": [size(60)]}
        return api.call("SpringService/ComputeWheelRate", request)

    near(wheel(inches, pounds_per_inch).points[0].wheel_force.value, wheel(length, stiffness).points[0].wheel_force.value, 1e-12)


def both_variables_may_err(api):
    samples = {"deflection_unit": 1, "load_unit": 1}
    samples["deflections"] = [0.5 * k + 0.2 * math.sin(7.0 * k) for k in range(121)]
    samples["loads"] = [9.5 * 0.5 * k + 1.0 * math.cos(11.0 * k) for k in range(121)]
    request = {"samples": samples, "tare": {"none": True}, "window": {"all_samples": True}}
    assert not api.call("SpringService/ReduceRun", request).HasField("both_errors")
    request["uncertainty"] = {"deflection_noise": length(0.14), "load_noise": newtons(0.7)}
    reply = api.call("SpringService/ReduceRun", request)
    line = reply.both_errors
    # What the deflections' noise flattens is given back.
    assert line.slope.value > reply.fit.slope.value and line.slope_difference_ratio > 0.0, reply
    assert abs(line.slope.value - 9.5) < 3.0 * line.slope_standard_uncertainty.value, line
    assert 0.5 < line.misfit_ratio < 2.0, line


def a_table_is_interpolated_without_overshoot(api):
    case = CASES["P-11"]
    table = {"deflection_unit": 1, "deflections": given(case, "x"), "load_unit": 1, "loads": given(case, "y")}
    probes = [length(s) for s in given(case, "probe")] + [length(70)]
    reply = api.call("SpringService/EvaluateAssembly", {"part": {"table": table}, "deflections": probes})
    for point, load in zip(reply.points, expected("P-11", "y_probe")):
        near(point.load.value, load)
    near(reply.points[-1].energy.value, expected("P-11", "energy_0_70"))


def gas_is_a_spring(api):
    case = CASES["A-01"]
    reply = api.call(
        "SpringService/EvaluateGasSpring",
        {
            "oil_level": {
                "seal_diameter": length(given(case, "d_seal")),
                "bore_diameter": length(given(case, "d_bore")),
                "air_gap": length(given(case, "air_gap")),
                "travel": length(given(case, "travel")),
                "spring_volume": {"value": given(case, "spring_volume"), "unit": "UNIT_MILLILITER"},
            },
            "polytropic_exponent": given(case, "n"),
            "ambient_absolute_pressure": pressure(101.325, "UNIT_KILOPASCAL"),
            "strokes": [length(x) for x in given(case, "x")],
        },
    )
    near(reply.extended_volume.value, expected("A-01", "V0"))
    for point, force, rate in zip(reply.points, expected("A-01", "F"), expected("A-01", "k")):
        assert math.isclose(point.force.value, force, rel_tol=1e-9, abs_tol=1e-9)
        near(point.rate.value, rate)
        assert point.slow_force.value <= point.force.value + 1e-9 <= point.fast_force.value + 2e-9
    case = CASES["A-10"]
    state = api.call(
        "SpringService/EvaluateGasSpring",
        {
            "state": {
                "start_temperature": {"value": given(case, "T1"), "unit": "UNIT_KELVIN"},
                "start_absolute_pressure": pressure(given(case, "p1_abs") * 1e-6),
                "fast_compression_ratio": given(case, "ratio"),
            }
        },
    ).state
    near(state.absolute_pressure.value * 1e6, expected("A-10", "p2_real"), 1e-6)


def a_spring_is_felt_at_the_wheel_with_its_geometry(api):
    case = CASES["W-04"]
    lower, upper = given(case, "lower_mount_arm_frame"), given(case, "upper_mount")
    reply = api.call(
        "SpringService/ComputeWheelRate",
        {
            "swingarm": {
                "axle_radius": length(given(case, "R_axle")),
                "lower_mount_x": length(lower[0]),
                "lower_mount_y": length(lower[1]),
                "upper_mount_x": length(upper[0]),
                "upper_mount_y": length(upper[1]),
                "angles": [{"value": a, "unit": "UNIT_DEGREE"} for a in given(case, "theta")],
            },
            "springs": [{"rate": stiffness(given(case, "k"))}],
            "preload": length(given(case, "preload_at_first_theta")),
        },
    )
    for point, rate, ratio in zip(reply.points, expected("W-04", "k_wheel"), expected("W-04", "MR")):
        near(point.wheel_rate.value.value, rate, 1e-8)
        near(point.motion_ratio, ratio)


def a_calibration_is_fitted_and_read_back(api):
    rows = (DATA / "nist" / "pontius.csv").read_text().split()[1:]
    points = [{"shown": float(y), "applied": float(x)} for y, x in (row.split(",") for row in rows)]
    reading = given(CASES["R-10"], "y")
    reply = api.call("SpringService/FitCalibration", {"points": points, "degree": 2, "readings": [reading]})
    for got, want in zip(reply.coefficients, expected("R-02", "coef")):
        near(got.value, want)
    near(reply.readings[0].applied, expected("R-10", "x"), 1e-9)


def pressed(rate, knee=1000.0, after=0.0):
    deflections = [0.5 * k for k in range(161)]
    loads = [rate * s + after * max(0.0, s - knee) + 0.3 * math.sin(7.0 * k * k) for k, s in enumerate(deflections)]
    samples = {"deflection_unit": 1, "deflections": deflections, "load_unit": 1, "loads": loads}
    limits = {"load_scale_limit_ratio": 0.02, "deflection_scale_limit_ratio": 0.005}
    return {"reduction": {"samples": samples, "tare": {"none": True}, "uncertainty": limits}}


def pairs_match_or_do_not_or_cannot_be_told(api):
    def verdict(first, second, **options):
        reply = api.call("SpringService/JudgePair", dict(options, first=first, second=second))
        return reply, reply.DESCRIPTOR.fields_by_name["verdict"].enum_type.values_by_number[reply.verdict].name

    reply, said = verdict(pressed(9.5), pressed(9.55))
    assert said == "PAIR_VERDICT_MATCHED", reply
    near(reply.difference.rate_ratio, 0.05 / 9.525, 0.02)
    # The scales' errors are the same for both legs on one tester, and none of it on two.
    reply, said = verdict(pressed(9.5), pressed(9.55), different_testers=True)
    assert said == "PAIR_VERDICT_CANNOT_TELL", reply
    _, said = verdict(pressed(9.5), pressed(10.2))
    assert said == "PAIR_VERDICT_NOT_MATCHED"
    # One rate in the window, and another curve above it.
    reply, said = verdict(pressed(9.5), pressed(9.5, knee=60.0, after=6.0))
    assert said == "PAIR_VERDICT_NOT_MATCHED", reply
    assert reply.difference.largest.deflection.value > 60.0


def faults_are_named_by_their_place(api):
    def refused(method, content):
        try:
            api.call(f"SpringService/{method}", content)
        except grpc.RpcError as error:
            return error.code(), error.details()
        raise AssertionError(f"{method} took {content}")

    code, details = refused("EvaluateHelical", {"wire_diameter": length(5)})
    assert code == grpc.StatusCode.INVALID_ARGUMENT and "mean_coil_diameter" in details, details
    deep = {"series": {"parts": [{"parallel": {"parts": [{"straight": {}}]}}]}}
    code, details = refused("EvaluateAssembly", {"part": deep})
    assert code == grpc.StatusCode.INVALID_ARGUMENT, details
    assert "part.series.parts[0].parallel.parts[0].straight.rate" in details, details
    code, details = refused("JudgePair", {"first": pressed(9.5), "second": {"reduction": {}}})
    assert code == grpc.StatusCode.INVALID_ARGUMENT and "second.reduction.source" in details, details


JOURNEYS = [
    a_spring_follows_from_its_geometry,
    springs_together_close_in_order_of_load,
    a_spring_of_the_rack_is_a_part,
    units_change_no_answer,
    both_variables_may_err,
    a_table_is_interpolated_without_overshoot,
    gas_is_a_spring,
    a_spring_is_felt_at_the_wheel_with_its_geometry,
    a_calibration_is_fitted_and_read_back,
    pairs_match_or_do_not_or_cannot_be_told,
    faults_are_named_by_their_place,
]
