//! `convert`.

use mechanics::quantity;

use crate::args::ConvertArgs;
use crate::fail::{Answer, Ended, Fail};
use crate::out::Out;

/// Prints a value in another unit, in the shortest digits that give it back.
pub(crate) fn convert(args: &ConvertArgs) -> Ended {
    let unit = args.unit.trim();
    let value = quantity::convert(&args.value, unit).map_err(|fault| Fail::error(fault.to_string()))?;
    // The last of seventeen digits holds the rounding of two factors, nothing of the value.
    let shown: f64 = format!("{value:.14e}").parse().unwrap_or(value);
    let mut out = Out::stdout();
    out.line(format_args!("{shown} {unit}"))?;
    out.flush()?;
    Ok(Answer::Yes)
}
