//! `serve`: a store's folder over gRPC and the bench page, until told to end.

use std::io::IsTerminal as _;
use std::net::SocketAddr;

use tokio::net::{TcpListener, lookup_host};
use tokio::signal::unix::{SignalKind, signal};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::EnvFilter;

use crate::args::ServeArgs;
use crate::fail::{Answer, Ended, Fail};
use crate::hosting::{self, Store};
use crate::out::{Out, say};

/// Serves until SIGINT or SIGTERM.
pub(crate) async fn serve(args: ServeArgs) -> Ended {
    log("info");
    let shutdown = until_interrupted()?;
    let listener = listen(&args.listen, args.allow_network).await?;
    let store = if args.create {
        Store::Create(args.store)
    } else {
        Store::Existing(args.store)
    };
    let address = listener.local_addr()?;
    let create = args.create;
    let hosted = hosting::on_port(store, args.host, listener, shutdown)
        .await
        .map_err(|fault| match fault {
            Fail::Error(words) if !create => {
                Fail::Error(format!("{words} (--create makes one, in an absent or empty folder)"))
            }
            other => other,
        })?;
    announce(address)?;
    hosted.ended().await.map(|()| Answer::Yes)
}

/// Binds an address, refusing one that other machines can reach unless that was asked for.
pub(crate) async fn listen(address: &str, allow_network: bool) -> Result<TcpListener, Fail> {
    let found = lookup_host(address).await.map_err(|fault| {
        Fail::at(
            format!("--listen {address}"),
            format!("{fault}; write host:port, such as 127.0.0.1:7411"),
        )
    })?;
    let addresses: Vec<SocketAddr> = found.collect();
    let open = addresses.iter().find(|address| !address.ip().is_loopback());
    if let Some(open) = open {
        if !allow_network {
            return Err(Fail::error(format!(
                "--listen {open}: other machines can reach that address, and this server has neither encryption nor \
                 roles yet; add --allow-network if everybody on that network may read and change everything"
            )));
        }
        say(format_args!(
            "WARNING: serving on {open} WITHOUT ENCRYPTION AND WITHOUT ROLES: everybody who can reach this address can \
             read, change and delete everything in the store."
        ));
    }
    TcpListener::bind(addresses.as_slice())
        .await
        .map_err(|fault| Fail::at(format!("--listen {address}"), fault))
}

/// Says where the server is: on stdout for a script that chose port 0, on stderr for a person.
fn announce(address: SocketAddr) -> Result<(), Fail> {
    let mut out = Out::stdout();
    out.line(format_args!("listening {address}"))?;
    out.flush()?;
    say(format_args!("serving on http://{address}; Ctrl-C ends it"));
    Ok(())
}

/// A token that SIGINT or SIGTERM cancels. A second signal ends the process at once.
pub(crate) fn until_interrupted() -> Result<CancellationToken, Fail> {
    let shutdown = CancellationToken::new();
    let told = shutdown.clone();
    let (mut interrupt, mut terminate) = (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?);
    tokio::spawn(async move {
        loop {
            tokio::select! {
                _ = interrupt.recv() => {}
                _ = terminate.recv() => {}
            }
            if told.is_cancelled() {
                std::process::exit(130);
            }
            say(format_args!("ending; once more to end at once"));
            told.cancel();
        }
    });
    Ok(shutdown)
}

/// Sends the log to stderr; RUST_LOG says otherwise.
pub(crate) fn log(level: &str) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(level));
    // A log that is already running stays.
    let _ = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal())
        .try_init();
}
