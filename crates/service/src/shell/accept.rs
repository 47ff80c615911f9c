//! Accepts connections within a bound, drops those that do not come to the point, and ends all of them on shutdown.

use std::convert::Infallible;
use std::pin::pin;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use hyper::service::service_fn;
use hyper_util::rt::{TokioIo, TokioTimer};
use hyper_util::server::conn::auto;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};
use tokio::time::Instant;
use tokio_util::sync::CancellationToken;
use tokio_util::task::TaskTracker;

use super::Settings;
use super::answer::Shell;
use super::listener::{Accepted, Listener};

/// Unread input of one stream, and of one connection: four stalled streams do not stop the others beside them.
const STREAM_WINDOW_BYTES: u32 = 256 * 1024;
const CONNECTION_WINDOW_BYTES: u32 = 1024 * 1024;

/// Output of one stream that the peer has not taken. Small, because what waits here grows old.
const SEND_BUFFER_BYTES: usize = 64 * 1024;

/// Streams that a peer opened and reset before they were looked at, and those this side reset for the peer's errors,
/// before the connection is ended. The number for the first is that of h2.
const PENDING_RESETS: usize = 20;
const LOCAL_RESETS: usize = 256;

/// Header lines of an HTTP/1 request.
const HTTP1_HEADERS: usize = 64;

/// How long tasks may take to stop once they are told to stop at once. Only code that blocks takes longer.
const STOP: Duration = Duration::from_secs(1);

/// Runs the connections' tasks, so that all of them can be waited for and ended.
#[derive(Clone)]
struct Tasks {
    running: TaskTracker,
    stop: CancellationToken,
}

impl<F> hyper::rt::Executor<F> for Tasks
where
    F: Future + Send + 'static,
    F::Output: Send + 'static,
{
    fn execute(&self, task: F) {
        self.running.spawn(self.stop.clone().run_until_cancelled_owned(task));
    }
}

/// Serves the listener's connections until the token is cancelled or the listener ends, and returns when all of them
/// have ended.
pub(super) async fn until_shutdown(
    listener: Listener,
    shell: Arc<Shell>,
    settings: &Settings,
    shutdown: CancellationToken,
) {
    let tasks = Tasks {
        running: TaskTracker::new(),
        stop: CancellationToken::new(),
    };
    // Whoever gives up waiting for this future ends its connections too.
    let _stop = tasks.stop.clone().drop_guard();
    accept(listener, &shell, settings, &shutdown, &tasks).await;
    tasks.running.close();
    tokio::select! {
        () = tasks.running.wait() => return,
        () = shutdown.cancelled() => {}
    }
    if tokio::time::timeout(settings.drain, tasks.running.wait())
        .await
        .is_err()
    {
        tracing::warn!(
            open = tasks.running.len(),
            "connections did not end in time and are dropped"
        );
        tasks.stop.cancel();
        let stopped = tokio::time::timeout(STOP, tasks.running.wait()).await;
        if stopped.is_err() {
            tracing::error!(running = tasks.running.len(), "handlers block and cannot be stopped");
        }
    }
}

async fn accept(
    mut listener: Listener,
    shell: &Arc<Shell>,
    settings: &Settings,
    shutdown: &CancellationToken,
    tasks: &Tasks,
) {
    use hyper::rt::Executor as _;
    let connections = Arc::new(Semaphore::new(settings.connections));
    let http = protocol_limits(settings, tasks.clone());
    let next = async |listener: &mut Listener| {
        // The permit comes first: a connection without one is not accepted but left in the backlog.
        let permit = Arc::clone(&connections).acquire_owned().await.ok()?;
        Some((permit, listener.accept().await?))
    };
    while let Some(Some((permit, accepted))) = shutdown.run_until_cancelled(next(&mut listener)).await {
        let connection = Connection {
            shell: Arc::clone(shell),
            http: http.clone(),
            first_request: settings.first_request,
            shutdown: shutdown.clone(),
            _permit: permit,
        };
        match accepted {
            Accepted::Tcp(stream) => tasks.execute(connection.run(stream)),
            Accepted::Memory(stream) => tasks.execute(connection.run(stream)),
        }
    }
}

fn protocol_limits(settings: &Settings, tasks: Tasks) -> auto::Builder<Tasks> {
    let mut http = auto::Builder::new(tasks);
    http.http1()
        .timer(TokioTimer::new())
        .header_read_timeout(settings.http1_idle)
        .max_headers(HTTP1_HEADERS)
        .max_buf_size(usize::try_from(settings.header_bytes).unwrap_or(usize::MAX).max(8192));
    http.http2()
        .timer(TokioTimer::new())
        .keep_alive_interval(settings.keepalive_interval)
        .keep_alive_timeout(settings.keepalive_timeout)
        .max_concurrent_streams(settings.concurrent_streams)
        .max_header_list_size(settings.header_bytes)
        .max_pending_accept_reset_streams(PENDING_RESETS)
        .max_local_error_reset_streams(LOCAL_RESETS)
        .initial_stream_window_size(STREAM_WINDOW_BYTES)
        .initial_connection_window_size(CONNECTION_WINDOW_BYTES)
        .max_send_buf_size(SEND_BUFFER_BYTES);
    http
}

/// One accepted connection.
struct Connection {
    shell: Arc<Shell>,
    http: auto::Builder<Tasks>,
    first_request: Duration,
    shutdown: CancellationToken,
    _permit: OwnedSemaphorePermit,
}

impl Connection {
    /// Answers its requests until it ends.
    ///
    /// A peer that is connected and sends nothing, half a preface, half a head or half a frame looks the same from
    /// here: no request has come. At four fifths of the time it is asked to end, which lets an honest but idle client
    /// close without losing a call; then it is dropped.
    async fn run<I>(self, io: I)
    where
        I: AsyncRead + AsyncWrite + Unpin + Send + 'static,
    {
        let requested = Arc::new(AtomicBool::new(false));
        let service = service_fn({
            let (shell, requested) = (self.shell, Arc::clone(&requested));
            move |request| {
                requested.store(true, Ordering::Relaxed);
                let shell = Arc::clone(&shell);
                // Boxed: on its way to its task the answer's large state would be moved again and again.
                Box::pin(async move { Ok::<_, Infallible>(shell.answer(request).await) })
            }
        });
        let mut connection = pin!(self.http.serve_connection(TokioIo::new(io), service));
        let drop_at = Instant::now() + self.first_request;
        let mut patience = pin!(tokio::time::sleep_until(drop_at - self.first_request / 5));
        let (mut waiting, mut ending) = (true, false);
        loop {
            tokio::select! {
                ended = connection.as_mut() => {
                    if let Err(error) = ended {
                        tracing::debug!(error, "a connection ended");
                    }
                    return;
                }
                () = patience.as_mut(), if waiting => {
                    if requested.load(Ordering::Relaxed) {
                        waiting = false;
                    } else if Instant::now() >= drop_at {
                        tracing::debug!("a connection without a request is dropped");
                        return;
                    } else {
                        connection.as_mut().graceful_shutdown();
                        patience.as_mut().reset(drop_at);
                    }
                }
                () = self.shutdown.cancelled(), if !ending => {
                    ending = true;
                    connection.as_mut().graceful_shutdown();
                }
            }
        }
    }
}
