//! Where a call goes: to a server, or to the same service in this process.

use std::time::Duration;

use tonic::transport::{Channel, Endpoint};

use crate::fail::Fail;
use crate::hosting::{self, Hosted};

/// How long a server may take to accept the connection.
const CONNECT: Duration = Duration::from_secs(5);

/// Where a call goes.
#[derive(Debug, Clone)]
pub(crate) enum Door {
    /// To the server at this address.
    Server(String),
    /// To a service of this process on an empty store in memory, over a connection in memory.
    InProcess,
}

impl Door {
    /// By what was typed for `--server`.
    pub(crate) fn of(server: Option<String>) -> Self {
        server.map_or(Self::InProcess, Self::Server)
    }

    /// Opens the connection, and keeps the service that stands behind it, where it is one of this process.
    pub(crate) async fn connect(self) -> Result<(Channel, Option<Hosted>), Fail> {
        match self {
            Self::Server(address) => Ok((server(&address).await?, None)),
            Self::InProcess => hosting::in_memory()
                .await
                .map(|(channel, hosted)| (channel, Some(hosted))),
        }
    }
}

/// Connects to a server by address.
pub(crate) async fn server(address: &str) -> Result<Channel, Fail> {
    if address.starts_with("https://") {
        return Err(Fail::error(format!(
            "{address}: this program does not speak TLS yet; use host:port"
        )));
    }
    let bare = address.strip_prefix("http://").unwrap_or(address).trim_end_matches('/');
    let endpoint = Endpoint::from_shared(format!("http://{bare}")).map_err(|fault| {
        Fail::at(
            format!("--server {address}"),
            format!("{fault}; write host:port, such as 127.0.0.1:7411"),
        )
    })?;
    let endpoint = endpoint
        .connect_timeout(CONNECT)
        .tcp_nodelay(true)
        .http2_adaptive_window(true);
    endpoint.connect().await.map_err(|fault| {
        let cause = deepest(&fault);
        Fail::error(format!(
            "cannot reach {bare}: {cause}; is `springwright serve` running there?"
        ))
    })
}

/// The cause at the bottom of an error: the one that says something.
fn deepest(fault: &dyn std::error::Error) -> String {
    let mut fault = fault;
    while let Some(source) = fault.source() {
        fault = source;
    }
    fault.to_string()
}
