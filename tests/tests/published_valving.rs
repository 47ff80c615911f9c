//! Published and recomputed values for valving, case by case, each at the tolerance the case states.

#[cfg(test)]
mod stacks {
    use std::path::PathBuf;

    use mechanics::quantity::{ElasticModulus, Length, LengthUnit, PressureDifference, PressureUnit, Quantity};
    use mechanics::valving::stack::{Face, Layer, Method, RadialHold, Request, Seat, Solved, Stack, solve};
    use serde_json::Value;

    fn cases() -> Vec<Value> {
        let path = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("data/stacks/fea_cases.json");
        let file: Value = serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap();
        file["cases"].as_array().unwrap().clone()
    }

    fn mm(value: f64) -> Length {
        Length::new(value, LengthUnit::Millimeter)
    }

    fn number(value: &Value) -> f64 {
        value.as_f64().unwrap()
    }

    fn stack_of(case: &Value) -> Stack {
        let (geometry, load) = (&case["geometry"], &case["load"]);
        let diameter = |value: &Value| mm(2.0 * number(value));
        let seat = geometry["seat"].is_object().then(|| Seat {
            inner_diameter: diameter(&geometry["seat"]["r_in"]),
            outer_diameter: diameter(&geometry["seat"]["r_out"]),
            height: mm(number(&geometry["seat"]["height"])),
            dish: mm(0.0),
        });
        let shims = geometry["shims_face_first"].as_array().unwrap();
        Stack {
            layers: shims
                .iter()
                .map(|shim| Layer {
                    outer_diameter: mm(number(&shim["od_mm"])),
                    inner_diameter: None,
                    thickness: mm(number(&shim["t_mm"])),
                    count: 1,
                })
                .collect(),
            faces: vec![Face {
                port_inner_diameter: diameter(&load["r_in"]),
                port_outer_diameter: diameter(&load["r_out"]),
                land_outer_diameter: load["r_zero"].is_number().then(|| diameter(&load["r_zero"])),
                coverage_ratio: load["coverage"].as_f64().unwrap_or(1.0),
            }],
            clamp_diameter: diameter(&geometry["clamp_radius_mm"]),
            radial_hold: RadialHold::Held,
            seat,
            stop: None,
            modulus: Some(ElasticModulus::new(
                number(&case["material"]["E_MPa"]),
                PressureUnit::Megapascal,
            )),
            poisson_ratio: Some(number(&case["material"]["nu"])),
            stress_limit: None,
            friction_factor: None,
        }
    }

    fn solved(case: &Value, method: Method, ring_count: usize) -> Solved {
        let pressure =
            |point: &Value| PressureDifference::new(number(&point["pressure_MPa"]), PressureUnit::Megapascal);
        solve(&Request {
            stack: stack_of(case),
            pressures: case["results"].as_array().unwrap().iter().map(pressure).collect(),
            method,
            ring_count: Some(ring_count),
        })
        .unwrap()
    }

    /// Within the larger of 1 % and 1.5 times the case's own estimated error, edge of the face and lift at the seat.
    #[test]
    fn every_finite_element_case_is_met() {
        let mut wrong = Vec::new();
        let mut compared = 0;
        for case in cases() {
            let small = !case["nlgeom"].as_bool().unwrap();
            let methods: &[Method] = if small {
                &[Method::SmallDeflection, Method::LargeDeflection]
            } else {
                &[Method::LargeDeflection]
            };
            let allowed = (1.5 * number(&case["estimated_error_percent"])).max(1.0) / 100.0;
            for method in methods {
                let solved = solved(&case, *method, 24);
                for (point, truth) in solved.points.iter().zip(case["results"].as_array().unwrap()) {
                    let got = point.edge_lift.get(LengthUnit::Millimeter);
                    let wanted = number(&truth["edge_lift_mm"]);
                    compared += 1;
                    if !((got / wanted - 1.0).abs() <= allowed) {
                        wrong.push(format!("{} {method:?}: {got} instead of {wanted}", case["id"]));
                    }
                    println!(
                        "{} {method:?} {:.4} MPa {got:.6} {wanted:.6} {:+.3} %",
                        case["id"],
                        number(&truth["pressure_MPa"]),
                        (got / wanted - 1.0) * 100.0
                    );
                    if let Some(seat) = truth["w_at_seat_r_out_mm"].as_f64() {
                        let got = point.seat_lift.get(LengthUnit::Millimeter);
                        let height = number(&case["geometry"]["seat"]["height"]);
                        println!("   seat {got} {}", seat - height);
                        if !(((got + height) / seat - 1.0).abs() <= allowed) {
                            wrong.push(format!(
                                "{} {method:?} seat: {got} over {height} instead of {seat}",
                                case["id"]
                            ));
                        }
                    }
                }
                for event in &solved.events {
                    println!("   {event:?}");
                }
            }
        }
        assert!(compared >= 47, "{compared}");
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
}
