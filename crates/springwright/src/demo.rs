//! `demo`.
use crate::args::DemoArgs;
use crate::fail::{Ended, Fail};

pub(crate) async fn demo(args: DemoArgs) -> Ended {
    Err(Fail::error(format!("{args:?}")))
}
