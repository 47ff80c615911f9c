//! The line that stands below the help of every verb.

use prost_reflect::MethodDescriptor;

use super::bench::bench_name;
use crate::api;

/// A call of the verb as somebody would type it.
pub(super) fn of(method: &MethodDescriptor) -> String {
    let flags = match method.name() {
        "ReduceRun" => "--csv run.csv --columns deflection:mm,load:N --marking \"9.5 N/mm\" --grade 5%",
        "LoadAtLength" => "--rate 9.5N/mm --free-length 450mm --length 400mm",
        "SolveStack" => {
            "--shims \"30x0.15*2, 26x0.15, 22x0.15 mm\" --clamp 14mm --port-inner 18mm --port-outer 26mm --to 1MPa"
        }
        "CompareStacks" => {
            "--first \"30x0.15*2, 26x0.15 mm\" --second stacks/mid --clamp 14mm --port-inner 18mm --port-outer 26mm --server ..."
        }
        "EvaluateDamper" => "--damper dampers/rear --to 1m/s --server 127.0.0.1:7411",
        "EvaluateOil" => {
            "--viscosity 15mm2/s --viscosity-at 40degC --second-viscosity 3.8mm2/s --second-viscosity-at 100degC --temperature 20degC"
        }
        "CreateShimLot" => "--server 127.0.0.1:7411 --id face-30 --outer 30mm --bore 8mm --thickness 0.15mm --count 20",
        "AdjustShimCount" => "--server 127.0.0.1:7411 --lot shimLots/face-30 --by -3",
        "CreateStack" => {
            "--server 127.0.0.1:7411 --id mid --shims \"30x0.15*2, 26x0.15 mm\" --clamp 14mm --port-inner 18mm --port-outer 26mm"
        }
        "BuildStack" => "--server 127.0.0.1:7411 --stack stacks/mid --lot shimLots/face-30",
        "UnbuildStack" => "--server 127.0.0.1:7411 --stack stacks/mid",
        "CreateDamper" => "--server 127.0.0.1:7411 --id rear --request damper.json --compression-stack stacks/mid",
        "ListDampers" => "--server 127.0.0.1:7411 --stack stacks/mid",
        "ListShimLots" => "--server 127.0.0.1:7411 --outer-diameter 30mm",
        "ListStacks" => "--server 127.0.0.1:7411 --built true",
        name if name.contains("ShimLot") => "--server 127.0.0.1:7411 --name shimLots/face-30",
        name if name.contains("Stack") => "--server 127.0.0.1:7411 --name stacks/mid",
        name if name.contains("Damper") => "--server 127.0.0.1:7411 --name dampers/rear",
        "ReadSag" => {
            "--end rear --extended 600mm --alone-pressed 588mm --alone-lifted 592mm --rider-pressed 563.5mm --rider-lifted 567.5mm --rider-mass 82kg --motion-ratio 0.46 --rear-travel 130mm --rear-spring-rate 95N/mm"
        }
        "ChooseSpring" => "--request rack.json --end rear --rider-mass-with-gear 82kg --target-total-sag 35mm",
        "EvaluateResponse" => "--request bump.json --end front --sprung-mass 95kg",
        "ForecastLimits" => "--request machine.json --deceleration 0.6 --lateral 0.6 --drawn true --out stairs.svg",
        "JudgeSetup" => "--server 127.0.0.1:7411 --setup setups/s1 --moment as-found",
        "RenderJobSheet" => "--server 127.0.0.1:7411 --job-sheet jobSheets/tern-3 --out sheet.pdf",
        "EvaluateHelical" => "--wire-diameter 5mm --mean-coil-diameter 40mm --active-coil-count 5 --deflections 20mm",
        "EvaluateAssembly" => "--series \"40 N/mm stop 12mm, 9.5 N/mm\" --preload 10mm --deflections 25mm --plot",
        "EvaluateGasSpring" => {
            "--seal-diameter 48mm --bore-diameter 44mm --air-gap 130mm --travel 120mm --strokes 100mm --plot"
        }
        "ComputeWheelRate" => "--motion-ratio 0.5 --rate \"90 N/mm\" --preload 8mm --wheel-travels 60mm",
        "JudgePair" => "--server 127.0.0.1:7411 --first-run runs/left --second-run runs/right --limit-ratio 2%",
        "FitCalibration" => "--points \"0:0.2, 500:507.4, 1000:1014.8\" --degree 1 --readings 310.5",
        "UpdateTester" => "--server 127.0.0.1:7411 --name testers/press --notes \"new cell\"",
        "CreateTester" => {
            "--server 127.0.0.1:7411 --tester-id press --points-csv points.csv --applied-unit N --shown-unit N --calibrated 2026-03-01"
        }
        "ListTesters" => "--server 127.0.0.1:7411 --due-before 2026-12-31",
        "CreateSpring" => "--server 127.0.0.1:7411 --label \"fork, left\" --marked-rate 9.5N/mm",
        "UpdateSpring" => "--server 127.0.0.1:7411 --name springs/a7 --rack-place \"top row\"",
        "ListSprings" => "--server 127.0.0.1:7411 --label-contains fork",
        "ListRuns" => "--server 127.0.0.1:7411 --state finished",
        "UpdateRun" => "--server 127.0.0.1:7411 --name runs/r1 --spring springs/a7",
        "ReadRunSamples" => "--server 127.0.0.1:7411 --name runs/r1 --json",
        "WatchBench" => "--server 127.0.0.1:7411",
        "InstructRun" => "--server 127.0.0.1:7411 --name runs/r1 --action start",
        "CreateRider" => "--server 127.0.0.1:7411 --person-name \"N. N.\" --mass-with-gear 84kg",
        "CreateMachine" => {
            "--server 127.0.0.1:7411 --machine-id m1 --wheelbase 1420mm --front-adjuster \"rebound 24 clicks\""
        }
        "CreateSetup" => {
            "--server 127.0.0.1:7411 --machine machines/m1 --distance 1200km --found-front-adjuster \"rebound 12 clicks\""
        }
        "UpdateSetup" => "--server 127.0.0.1:7411 --name setups/s1 --left-rear-alone \"588/592 mm\"",
        "CreateJobSheet" => "--server 127.0.0.1:7411 --setup setups/s1 --media-type text/html",
        "ListSetups" | "FollowMachine" => "--server 127.0.0.1:7411 --machine machines/m1",
        "CompareSetups" => "--server 127.0.0.1:7411 --first setups/s1 --second setups/s2",
        "GetRuleTable" | "GetPriceList" | "ListRiders" | "ListMachines" | "ListJobSheets" => "--server 127.0.0.1:7411",
        "UpdateRuleTable" => "--server 127.0.0.1:7411 --request rules.json",
        "UpdatePriceList" => "--server 127.0.0.1:7411 --request prices.json",
        name if name.contains("Rider") => "--server 127.0.0.1:7411 --name riders/7b1e28ba-2fa1-41d2-883f-0016d3cca427",
        name if name.contains("Machine") => "--server 127.0.0.1:7411 --name machines/m1",
        name if name.contains("Setup") => "--server 127.0.0.1:7411 --name setups/s1",
        name if name.contains("JobSheet") => "--server 127.0.0.1:7411 --name jobSheets/j1",
        "RecordRun" => "--server 127.0.0.1:7411 --request steps.json --json",
        name if name.contains("Spring") => "--server 127.0.0.1:7411 --name springs/a7",
        name if name.contains("Tester") => "--server 127.0.0.1:7411 --name testers/press",
        name if name.contains("Run") => "--server 127.0.0.1:7411 --name runs/r1",
        _ => "--server 127.0.0.1:7411 --request request.json --json",
    };
    let bench = bench_name(method.parent_service().name());
    format!("Example: springwright {bench} {} {flags}", api::kebab(method.name()))
}

#[cfg(test)]
mod tests {
    use clap::Command;

    /// Words of a line: blanks part them but within double quotes.
    fn words(line: &str) -> Vec<String> {
        let (mut words, mut quoted) = (vec![String::new()], false);
        for letter in line.chars() {
            match letter {
                '"' => quoted = !quoted,
                ' ' if !quoted => words.push(String::new()),
                other => words.last_mut().unwrap().push(other),
            }
        }
        words
    }

    #[test]
    fn every_example_is_taken_by_its_own_verb() {
        let benches = super::super::bench::commands().unwrap();
        let program = Command::new("springwright").subcommands(benches.clone());
        let mut wrong = Vec::new();
        for bench in &benches {
            for verb in bench.get_subcommands() {
                let said = verb.get_after_help().map(ToString::to_string).unwrap_or_default();
                // What a shell makes of a line is not the verb's.
                let line = said.strip_prefix("Example: ").and_then(|line| line.split(" > ").next());
                let line = line.unwrap_or_default();
                assert!(line.contains(verb.get_name()), "{line}");
                if let Err(fault) = program.clone().try_get_matches_from(words(line.trim())) {
                    wrong.push(format!(
                        "{line}: {}",
                        fault.to_string().lines().next().unwrap_or_default()
                    ));
                }
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
}
