//! RenderJobSheet: the records of a visit, gathered and drawn up.

mod fitted;
mod gather;

use mechanics::quantity::UnitSystem;
use wire::names::Collection;
use wire::v1;
use wire::v1::ViolationReason as Reason;
use wire::v1::render_job_sheet_request::Source;
use wire::violation::Violations;

use crate::bench::{Bench, checked};
use crate::error::ServiceError;
use crate::sheet::Paper;
use crate::sheet::made;

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
            let mut found = Violations::new();
            super::forecast::read(forecast, &mut found);
            below("forecast", found, &mut violations);
        }
        if let Some(judgement) = &request.judgement {
            let mut found = Violations::new();
            wire::setup::judge::detail::options(judgement, &mut found);
            if let Some(source) = &judgement.source {
                super::judge::check_source(source, &mut found);
                found.push(
                    "source",
                    Reason::Conflict,
                    "the sheet's own setup is judged: leave it out",
                );
            }
            below("judgement", found, &mut violations);
        }
        let options = checked(violations, options)?;
        let judgement = v1::JudgeSetupRequest {
            reply_units: request.reply_units,
            ..request.judgement.unwrap_or_default()
        };
        let mut gathered = match request.source {
            Some(Source::JobSheet(name)) => self.sheet_of(&name, judgement, options.units)?,
            Some(Source::Values(values)) => self.sheet_of_values(values, judgement, options.units)?,
            None => return Err(ServiceError::internal("a sheet without records")),
        };
        gathered.fitted = self.fitted(&mut gathered)?;
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
        let judged = gathered.judged.into_iter().flatten();
        let (mut findings, mut assumptions) = (Vec::new(), Vec::new());
        for reply in judged {
            findings.extend(reply.findings);
            assumptions.extend(reply.assumptions);
        }
        let mut used = gathered.used;
        if let Some(forecast) = gathered.forecast {
            findings.extend(forecast.findings);
            assumptions.extend(forecast.assumptions);
            used.extend(forecast.used);
        }
        Ok(v1::RenderJobSheetResponse {
            media_type: options.media_type.to_owned(),
            content: content.into(),
            findings,
            assumptions,
            used,
        })
    }
}

/// What can be told on the sheet in place of an answer: what the records do not allow. A fault of the store is one of the call.
fn told<T>(answer: Result<T, ServiceError>) -> Result<Result<T, String>, ServiceError> {
    match answer {
        Ok(answer) => Ok(Ok(answer)),
        Err(
            error @ (ServiceError::InvalidFields(_)
            | ServiceError::NotFound { .. }
            | ServiceError::Deleted { .. }
            | ServiceError::RunOpen { .. }
            | ServiceError::NotReducible { .. }
            | ServiceError::NotConverged { .. }),
        ) => Ok(Err(error.to_string())),
        Err(error) => Err(error),
    }
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

/// Notes faults of a message below its field.
fn below(field: &str, found: Violations, violations: &mut Violations) {
    for fault in found.finish().err().unwrap_or_default() {
        violations.push(format!("{field}.{}", fault.field), fault.reason, fault.description);
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
