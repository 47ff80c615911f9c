//! The verbs: one per call of the API under its bench, made from the API's description, and the few beside them.

mod ask;
mod bench;
mod book;
mod calibration;
mod convert;
mod csv_samples;
mod draw_stack;
mod drawer;
mod example;
mod folder;
mod reduce_run;
mod setup;
mod springs;
mod valving;

pub(crate) use bench::{commands, run as run_bench};
pub(crate) use convert::convert;
pub(crate) use folder::{compact, export, import, verify};

use std::path::PathBuf;

use prost_reflect::{DynamicMessage, MethodDescriptor};

use crate::args::{CallArgs, CommonArgs};
use crate::call::{Call, Door, Requests};
use crate::documents::Documents;
use crate::entry::enter;
use crate::fail::{Answer, Ended, Fail};
use crate::out::Out;
use crate::{api, call};

/// `call`: any call by its name.
pub(crate) async fn run_call(args: CallArgs) -> Ended {
    let Some(name) = args.call else {
        let mut out = Out::stdout();
        out.line(api::listing(&api::methods()?))?;
        out.flush()?;
        return Ok(Answer::Yes);
    };
    let method = api::method(&name)?;
    let shown = Shown {
        verdict_counts: false,
        plot: false,
        out: None,
    };
    run_method(method, args.common, |_| Ok(()), shown).await
}

/// What becomes of the reply.
#[derive(Debug, Clone)]
struct Shown {
    /// Whether a verdict that refuses the part is answered with exit code 1.
    verdict_counts: bool,
    /// Whether its curve is drawn.
    plot: bool,
    /// Where the document or picture in it goes.
    out: Option<PathBuf>,
}

/// Makes a request from file, flags and paths, in that order, and calls.
async fn run_method(
    method: MethodDescriptor,
    common: CommonArgs,
    flags: impl FnOnce(&mut DynamicMessage) -> Result<(), Fail>,
    shown: Shown,
) -> Ended {
    let requests = if method.is_client_streaming() {
        if !common.set.is_empty() {
            return Err(Fail::error(
                "--set fits one request, and this call takes a stream of them",
            ));
        }
        let source = common.request.ok_or_else(|| {
            Fail::error("this call takes a stream of requests: --request FILE with one JSON document after another")
        })?;
        Requests::Stream(Documents::open(&source)?)
    } else {
        Requests::One(Box::new(one_request(&method, &common, flags)?))
    };
    call::run(Call {
        method,
        door: Door::of(common.server),
        requests,
        json: common.json,
        verdict_counts: shown.verdict_counts,
        plot: shown.plot,
        out: shown.out,
    })
    .await
}

/// One request from file, flags and paths, in that order.
fn one_request(
    method: &MethodDescriptor,
    common: &CommonArgs,
    flags: impl FnOnce(&mut DynamicMessage) -> Result<(), Fail>,
) -> Result<DynamicMessage, Fail> {
    let mut message = match &common.request {
        Some(source) => Documents::open(source)?.only(&method.input())?,
        None => DynamicMessage::new(method.input()),
    };
    flags(&mut message)?;
    for entry in &common.set {
        let (path, text) = entry
            .split_once('=')
            .ok_or_else(|| Fail::error(format!("--set {entry}: write PATH=VALUE, such as length=\"400 mm\"")))?;
        enter(&mut message, path.trim(), text).map_err(|words| Fail::at(format!("--set {path}"), words))?;
    }
    Ok(message)
}
