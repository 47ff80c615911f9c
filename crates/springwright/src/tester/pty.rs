//! The tester at the end of a serial line that has no wire: whoever opens the device is served as a connection is.

use std::io;
use std::sync::Arc;
use std::time::Duration;

use tokio::io::AsyncReadExt;
use tokio_util::sync::CancellationToken;

use super::door::{Ending, Manner, line};
use super::setup::{Pace, Setup};
use super::turns::Turns;
use crate::tty::Pty;

/// How often it is looked whether somebody opened the line: nobody tells.
const LOOK: Duration = Duration::from_millis(10);

/// Serves until told to end; with `once`, until a client had a whole test and left.
pub(crate) async fn serve(
    pty: &Pty,
    setup: Setup,
    pace: Pace,
    manner: Manner,
    shutdown: CancellationToken,
) -> io::Result<()> {
    let setup = Arc::new(setup);
    let turns = (manner == Manner::Waiting).then(|| Turns::new(&setup, pace));
    let serving = async {
        loop {
            while !pty.is_open()? {
                tokio::time::sleep(LOOK).await;
            }
            // Looks on for its end: one that opens it again at once would not be seen to have left.
            let mut end = pty.line()?;
            let (input, output) = tokio::io::split(pty.line()?);
            // A client that hangs up is its own affair.
            let ending = line(Box::new(input), Box::new(output), &setup, pace, turns.clone()).await;
            if ending.is_ok() {
                // What it has not read yet goes with the line: the end waits for it.
                while end.read(&mut [0; 64]).await.is_ok() {}
            }
            if !pty.is_open()? {
                pty.forget();
            }
            if manner == Manner::Once && matches!(ending, Ok(Ending::Whole)) {
                return Ok(());
            }
        }
    };
    tokio::select! {
        served = serving => served,
        () = shutdown.cancelled() => Ok(()),
    }
}
