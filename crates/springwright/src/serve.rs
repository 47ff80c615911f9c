//! `serve`.
use crate::args::ServeArgs;
use crate::fail::{Ended, Fail};

pub(crate) async fn serve(args: ServeArgs) -> Ended {
    Err(Fail::error(format!("{args:?}")))
}
