//! The job sheet of a visit, as a document and as a file for paper.

use axum::body::Body;
use axum::extract::{Path, RawQuery, State};
use http::Response;
use wire::v1;
use wire::v1::render_job_sheet_request::Source;

use super::ahead::{self, Asked};
use super::kept::{self, Kept, Wanted, id_of};
use super::words::ENDS;
use crate::bench::Bench;
use crate::error::ServiceError;
use crate::page::form::Posted;
use crate::page::refusal::Refusal;
use crate::page::visitor::Visitor;
use crate::page::{Page, files, guard};

const PDF: &str = "application/pdf";
const HTML: &str = "text/html";

/// The sheet of a visit; with `.pdf` behind its id, for paper.
pub(super) async fn view(
    State(page): State<Page>,
    visitor: Visitor,
    Path((id, name)): Path<(String, String)>,
    RawQuery(query): RawQuery,
) -> Result<Response<Body>, Refusal> {
    let asked = Asked::of(&Posted::of_query(query.as_deref()));
    let (setup, media_type) = match name.strip_suffix(".pdf") {
        Some(setup) => (setup.to_owned(), PDF),
        None => (name, HTML),
    };
    let units = visitor.reply_units();
    let (kept, sheet) = page
        .places
        .compute(move |bench| {
            let kept = kept::read(bench, &id, &Wanted::Named(setup))?;
            let sheet = rendered(bench, &kept, &asked, media_type, units)?;
            Ok((kept, sheet))
        })
        .await?;
    let setup = kept.setup.as_ref().map_or("", |setup| id_of(&setup.name));
    if sheet.media_type == PDF {
        let name = format!("job-sheet-{setup}.pdf");
        return Ok(files::attached(PDF, &name, Body::from(sheet.content)));
    }
    let document = String::from_utf8(sheet.content.to_vec()).map_err(ServiceError::internal)?;
    let style = style(&document).to_owned();
    Ok(guard::standing_alone(document, &style))
}

/// Renders it; with the forecast where somebody said how the machine is ridden, and one is answered.
fn rendered(
    bench: &Bench,
    kept: &Kept,
    asked: &Asked,
    media_type: &str,
    reply_units: i32,
) -> Result<v1::RenderJobSheetResponse, ServiceError> {
    let forecast = ahead::request(kept, asked, &ENDS, reply_units).filter(|_| asked.stated());
    let forecast = forecast.filter(|forecast| bench.forecast_limits(forecast.clone()).is_ok());
    bench.render_job_sheet(v1::RenderJobSheetRequest {
        source: Some(source(bench, kept)?),
        forecast,
        media_type: media_type.to_owned(),
        reply_units,
        ..Default::default()
    })
}

/// The sheet that was entered for this revision of the visit; else the visit itself.
fn source(bench: &Bench, kept: &Kept) -> Result<Source, ServiceError> {
    let setup = kept.setup.clone().unwrap_or_default();
    let entered = bench.list_job_sheets(v1::ListJobSheetsRequest {
        setup: setup.name.clone(),
        ..Default::default()
    })?;
    let pinned = format!("{}@{}", setup.name, setup.revision);
    let entered = entered.job_sheets.into_iter().find(|sheet| sheet.setup == pinned);
    if let Some(sheet) = entered {
        return Ok(Source::JobSheet(sheet.name));
    }
    let visit = setup.visit.unwrap_or_default();
    let [found, left] = &kept.fitted;
    Ok(Source::Values(v1::JobSheetValues {
        rider: kept.rider.clone(),
        machine: Some(if visit.as_left.is_some() { left } else { found }.clone()),
        visit: Some(visit),
        sheet: None,
    }))
}

/// The style within a document, which its content policy lets in.
fn style(document: &str) -> &str {
    let after = document.split_once("<style>").map_or("", |(_, after)| after);
    after.split_once("</style>").map_or("", |(style, _)| style)
}
