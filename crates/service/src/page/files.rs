//! Files to take away: the curve as SVG, the samples as CSV.

use std::fmt::Write as _;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::{Path, State};
use futures_util::{StreamExt as _, TryStreamExt as _};
use http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use http::{HeaderValue, Response};
use mechanics::quantity::{ForceUnit, LengthUnit, PressureUnit, TemperatureUnit, Unit};
use wire::v1;
use wire::v1::column::{Quantity, Unit as On};

use super::refusal::Refusal;
use super::run::{gathered, name_of};
use super::visitor::Visitor;
use super::{Page, curve};
use crate::bench::reading;
use crate::error::ServiceError;

/// The curve of a run, as a picture that stands alone.
pub(super) async fn curve_svg(
    State(page): State<Page>,
    visitor: Visitor,
    Path(id): Path<String>,
) -> Result<Response<Body>, Refusal> {
    let gathered = gathered(&page, &visitor, &id).await?;
    let reply = gathered.outcome.as_ref().as_ref().map_err(ServiceError::clone)?;
    let plot = curve::of_run(&format!("Curve of {}", gathered.title()), reply)
        .ok_or_else(|| ServiceError::internal("a reduction came without a curve"))?;
    let text = crate::drawing::file(&plot.svg());
    Ok(attached("image/svg+xml", &format!("{id}.svg"), Body::from(text)))
}

/// The samples of a run as they were recorded, in its own units.
pub(super) async fn samples_csv(State(page): State<Page>, Path(id): Path<String>) -> Result<Response<Body>, Refusal> {
    let name = name_of(&id);
    let asked = v1::GetRunRequest { name: name.clone() };
    // A run that is not there is refused before the stream begins.
    page.places.wait(move |bench| bench.get_run(asked)).await?;
    let request = v1::ReadRunSamplesRequest { name, from_block: 0 };
    let blocks = reading::start(Arc::clone(page.places.bench()), request)?;
    let rows = blocks
        .map_ok(|reply| rows(&reply))
        .map(|rows| rows.map_err(axum::Error::new));
    let body = Body::from_stream(rows);
    Ok(attached(
        "text/csv; charset=utf-8; header=present",
        &format!("{id}.csv"),
        body,
    ))
}

/// A file by its name. The name is a record's id, which is of letters, digits and dashes.
pub(super) fn attached(kind: &'static str, name: &str, body: Body) -> Response<Body> {
    let mut response = Response::new(body);
    let headers = response.headers_mut();
    headers.insert(CONTENT_TYPE, HeaderValue::from_static(kind));
    let disposition = HeaderValue::try_from(format!("attachment; filename=\"{name}\""));
    headers.insert(
        CONTENT_DISPOSITION,
        disposition.unwrap_or(HeaderValue::from_static("attachment")),
    );
    response
}

/// The heading, or the rows of a block (RFC 4180). No text of a person is in it, so nothing needs quoting.
fn rows(reply: &v1::ReadRunSamplesResponse) -> String {
    let mut text = String::new();
    if !reply.columns.is_empty() {
        text.push_str("segment,elapsed in s");
        for column in &reply.columns {
            let _ = write!(text, ",{}", heading(column));
        }
        text.push_str("\r\n");
    }
    let Some(block) = &reply.block else { return text };
    let count = block.columns.first().map_or(0, |column| column.values.len());
    for index in 0..count {
        let _ = write!(text, "{},", block.segment);
        if let Some(elapsed) = block.elapsed_ns.get(index) {
            text.push_str(&seconds(*elapsed));
        }
        for column in &block.columns {
            text.push(',');
            if let Some(value) = column.values.get(index) {
                let _ = write!(text, "{value}");
            }
        }
        text.push_str("\r\n");
    }
    text
}

/// Nanoseconds as seconds, exactly.
fn seconds(nanos: i64) -> String {
    const SECOND: u64 = 1_000_000_000;
    let (sign, nanos) = (if nanos < 0 { "-" } else { "" }, nanos.unsigned_abs());
    format!("{sign}{}.{:09}", nanos / SECOND, nanos % SECOND)
}

/// `deflection in mm`.
fn heading(column: &v1::Column) -> String {
    fn symbol<U: Unit>(number: i32) -> &'static str {
        U::from_number(number).map_or("", |unit| unit.row().symbol)
    }
    let what = match column.quantity() {
        Quantity::Elapsed => "elapsed",
        Quantity::Deflection => "deflection",
        Quantity::Load => "load",
        Quantity::Position => "position",
        Quantity::Force => "force",
        Quantity::Temperature => "temperature",
        Quantity::Pressure => "gauge pressure",
        Quantity::Unspecified => "column",
    };
    let unit = match column.unit {
        Some(On::Length(unit)) => symbol::<LengthUnit>(unit),
        Some(On::Force(unit)) => symbol::<ForceUnit>(unit),
        Some(On::Temperature(unit)) => symbol::<TemperatureUnit>(unit),
        Some(On::Pressure(unit)) => symbol::<PressureUnit>(unit),
        None => "s",
    };
    format!("{what} in {unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rows_carry_units_and_every_bit() {
        let column = |quantity: Quantity, unit| v1::Column {
            quantity: quantity as i32,
            unit: Some(unit),
        };
        let head = v1::ReadRunSamplesResponse {
            columns: vec![
                column(Quantity::Deflection, On::Length(1)),
                column(Quantity::Load, On::Force(3)),
            ],
            block: None,
        };
        assert_eq!(rows(&head), "segment,elapsed in s,deflection in mm,load in lbf\r\n");
        let values = |values: &[f64]| v1::ValueColumn {
            values: values.to_vec(),
        };
        let block = v1::ReadRunSamplesResponse {
            columns: Vec::new(),
            block: Some(v1::Block {
                segment: 1,
                elapsed_ns: vec![500_000, -1],
                columns: vec![values(&[0.1, 0.2]), values(&[1.0, 0.1 + 0.2])],
                ..Default::default()
            }),
        };
        assert_eq!(
            rows(&block),
            "1,0.000500000,0.1,1\r\n1,-0.000000001,0.2,0.30000000000000004\r\n"
        );
    }
}
