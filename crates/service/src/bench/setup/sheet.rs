//! RenderJobSheet: the records of a visit, gathered and drawn up.

use mechanics::quantity::UnitSystem;
use wire::names::{Collection, Name};
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::render_job_sheet_request::Source;
use wire::violation::Violations;

use crate::bench::{Bench, checked};
use crate::error::ServiceError;
use crate::sheet::Paper;
use crate::sheet::made::{self, Gathered, SagOf};

/// Media types a sheet can be had as.
const HTML: &str = "text/html";
const PDF: &str = "application/pdf";

/// What is asked beside the records.
struct Options {
    media_type: &'static str,
    paper: Paper,
    units: UnitSystem,
}

impl Bench {
    /// A visit as a sheet for the customer.
    pub fn render_job_sheet(
        &self,
        request: v1::RenderJobSheetRequest,
    ) -> Result<v1::RenderJobSheetResponse, ServiceError> {
        let mut violations = Violations::new();
        let options = options(&request, &mut violations);
        match &request.source {
            None => violations.push("source", Reason::ValueMissing, "one of job_sheet, values is required"),
            Some(Source::JobSheet(name)) => {
                Collection::JobSheets.revisable(name, violations.at("job_sheet"));
            }
            Some(Source::Values(values)) => check(values, &mut violations),
        }
        if let Some(forecast) = &request.forecast {
            let mut below = Violations::new();
            super::forecast::read(forecast, &mut below);
            for fault in below.finish().err().unwrap_or_default() {
                violations.push(format!("forecast.{}", fault.field), fault.reason, fault.description);
            }
        }
        let options = checked(violations, options)?;
        let mut gathered = match request.source {
            Some(Source::JobSheet(name)) => self.sheet_of(&name)?,
            Some(Source::Values(values)) => Gathered {
                rider: values.rider,
                machine: values.machine.unwrap_or_default(),
                visit: values.visit.unwrap_or_default(),
                sheet: values.sheet.unwrap_or_default(),
                ..Gathered::default()
            },
            None => return Err(ServiceError::internal("a sheet without records")),
        };
        gathered.units = options.units;
        gathered.sags = self.sags(&gathered);
        if let Some(mut asked) = request.forecast {
            asked.drawn = true;
            asked.reply_units = request.reply_units;
            gathered.forecast = Some(self.forecast_limits(asked).map_err(below_forecast)?);
        }
        let sheet = made::sheet(&gathered);
        let content = match options.media_type {
            HTML => sheet.html(options.paper).into_bytes(),
            _ => sheet.pdf(options.paper).map_err(ServiceError::internal)?,
        };
        let mut used = gathered.used;
        used.extend(gathered.forecast.iter().flat_map(|forecast| forecast.used.clone()));
        Ok(v1::RenderJobSheetResponse {
            media_type: options.media_type.to_owned(),
            content: content.into(),
            findings: gathered
                .forecast
                .iter()
                .flat_map(|forecast| forecast.findings.clone())
                .collect(),
            assumptions: gathered
                .forecast
                .iter()
                .flat_map(|forecast| forecast.assumptions.clone())
                .collect(),
            used,
        })
    }

    /// The records a sheet names: its setup, the machine as it left, the rider as now.
    fn sheet_of(&self, shown: &str) -> Result<Gathered, ServiceError> {
        let mut used = Vec::new();
        let sheet: v1::JobSheet = self.read_used(&named(Collection::JobSheets, shown)?, shown, &mut used)?;
        let setup = named(Collection::Setups, &sheet.setup)?;
        let mut setup: v1::Setup = self.read_used(&setup, &sheet.setup, &mut used)?;
        let visit = setup.visit.take().unwrap_or_default();
        let state = visit.as_left.as_ref().or(visit.as_found.as_ref());
        let machine = self.machine_at(&setup, state, &mut used)?;
        // A rider may have been erased: the sheet is then without a name.
        let rider = named(Collection::Riders, &setup.rider)
            .and_then(|name| self.read_named::<v1::Rider>(&name, &setup.rider))
            .ok()
            .filter(|(rider, _)| rider.delete_time.is_none());
        Ok(Gathered {
            rider: rider.map(|(rider, _)| rider),
            machine: machine.unwrap_or_default(),
            visit,
            sheet,
            used,
            ..Gathered::default()
        })
    }

    /// Sag of both ends, as found and as left; what cannot be read is told on the sheet.
    fn sags(&self, gathered: &Gathered) -> Vec<SagOf> {
        let mut sags = Vec::new();
        let states = [(false, &gathered.visit.as_found), (true, &gathered.visit.as_left)];
        for (left, state) in states {
            let Some(state) = state else { continue };
            let ends = [
                (v1::MachineEnd::Front, &state.front),
                (v1::MachineEnd::Rear, &state.rear),
            ];
            for (end, given) in ends {
                let Some(readings) = given.as_ref().and_then(|given| given.sag) else {
                    continue;
                };
                let rider = gathered.rider.as_ref();
                let asked = v1::ReadSagRequest {
                    source: Some(v1::read_sag_request::Source::Values(v1::SagValues {
                        readings: Some(readings),
                        machine: Some(gathered.machine.clone()),
                        rider_mass_with_gear: rider.and_then(|rider| rider.mass_with_gear),
                    })),
                    end: end as i32,
                    reply_units: match gathered.units {
                        UnitSystem::Metric => v1::UnitSystem::Metric as i32,
                        UnitSystem::Inch => v1::UnitSystem::Inch as i32,
                    },
                    ..v1::ReadSagRequest::default()
                };
                let found = self.read_sag(asked).map_err(|error| error.to_string());
                sags.push(SagOf { left, end, found });
            }
        }
        sags
    }
}

fn named(collection: Collection, shown: &str) -> Result<Name, ServiceError> {
    let mut violations = Violations::new();
    let name = collection.revisable(shown, violations.at("name"));
    checked(violations, name)
}

fn options(request: &v1::RenderJobSheetRequest, violations: &mut Violations) -> Option<Options> {
    let media_type = match request.media_type.as_str() {
        "" | PDF => Some(PDF),
        HTML => Some(HTML),
        other => {
            let shown = wire::violation::bounded(other, 60);
            let text = format!("media_type is {shown:?}; allowed {HTML}, {PDF}");
            violations.push("media_type", Reason::OutOfRange, text);
            None
        }
    };
    let paper = match v1::PaperSize::try_from(request.paper_size) {
        Ok(v1::PaperSize::Unspecified | v1::PaperSize::A4) => Some(Paper::A4),
        Ok(v1::PaperSize::Letter) => Some(Paper::Letter),
        Err(_) => {
            let text = format!("paper_size is {}; allowed 1 (A4), 2 (letter)", request.paper_size);
            violations.push("paper_size", Reason::OutOfRange, text);
            None
        }
    };
    let units = wire::quantity::unit_system(request.reply_units, violations.at("reply_units"));
    Some(Options {
        media_type: media_type?,
        paper: paper?,
        units,
    })
}

fn check(values: &v1::JobSheetValues, violations: &mut Violations) {
    let mut at = violations.at("values");
    if let Some(rider) = &values.rider {
        wire::book::rider(rider, at.at("rider"));
    }
    if let Some(machine) = &values.machine {
        wire::book::machine::machine_values(machine, at.at("machine"));
    }
    match &values.visit {
        Some(visit) => wire::book::visit::visit_values(visit, at.at("visit")),
        None => at.at("visit").push(Reason::ValueMissing, "a visit is required"),
    }
    if let Some(sheet) = &values.sheet {
        wire::book::job_sheet(sheet, false, at.at("sheet"));
    }
}

/// Faults of the forecast stand below its field.
fn below_forecast(error: ServiceError) -> ServiceError {
    match error {
        ServiceError::InvalidFields(mut violations) => {
            for violation in &mut violations {
                violation.field = format!("forecast.{}", violation.field);
            }
            ServiceError::InvalidFields(violations)
        }
        other => other,
    }
}
