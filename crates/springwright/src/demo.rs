//! `demo`: the whole bench at work on invented springs, over real sockets and the real store.

mod book;
mod drawer;
mod scenario;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use tokio_util::sync::CancellationToken;
use tonic::transport::Channel;
use wire::v1;
use wire::v1::rack_service_client::RackServiceClient;
use wire::v1::spring_service_client::SpringServiceClient;

use crate::args::{DemoArgs, LISTEN};
use crate::call::{self, status_fail};
use crate::fail::{Answer, Ended, Fail};
use crate::hosting::{self, Store};
use crate::out::{Out, say};
use crate::{feed, print, serve, tester};

use scenario::{Subject, subjects};

/// Runs the demo.
pub(crate) async fn demo(args: DemoArgs) -> Ended {
    serve::log("warn");
    let shutdown = serve::until_interrupted()?;
    let address = args
        .listen
        .as_deref()
        .unwrap_or(if args.once { "127.0.0.1:0" } else { LISTEN });
    let listener = serve::listen(address, false).await?;
    let address = listener.local_addr()?;
    let (folder, spools) = (Folder::of(args.store), Folder::of(None));
    // Not the interrupt's own token: the feed that waits at the bench takes its leave first.
    let serving = CancellationToken::new();
    let hosted = hosting::on_port(Store::Create(folder.path.clone()), Vec::new(), listener, serving).await?;
    say(format_args!(
        "Everything that follows is invented: eight springs that do not exist, pressed on simulated testers with fixed \
         seeds, and three machines that do not exist either, their readings computed.\nThe way is real: store in {}, gRPC on http://{address}, one feed and one tester on TCP for each spring.",
        folder.path.display()
    ));
    let shown = tokio::select! {
        shown = show(address, &spools.path) => shown,
        () = shutdown.cancelled() => Ok(()),
    };
    if shown.is_ok() && !args.once && !shutdown.is_cancelled() {
        let waiting = AtTheBench::begin(address, &spools.path).await?;
        say(format_args!(
            "\nThe bench goes on serving on http://{address}; Ctrl-C ends it. A further spring, which nobody has named yet, is \
             on a tester that waits to be started: open http://{address}/ in a browser, or tell it\n  \
             springwright run instruct-run --server {address} --action start --name runs/NAME\n  \
             with the name that this says: springwright run list-runs --server {address} --state recording\n\
             It goes on to the next test by itself. Try also, in another terminal:\n  \
             springwright rack list-springs --server {address}\n  \
             springwright run list-runs --server {address}\n  \
             springwright drawer list-shim-lots --server {address}\n  \
             springwright book follow-machine --server {address} --machine machines/demo-fast\n  \
             springwright setup judge-setup --server {address} --setup setups/demo-allround-6 --moment as-found\n  \
             springwright setup render-job-sheet --server {address} --job-sheet jobSheets/demo-allround --out sheet.pdf\n  \
             springwright spring reduce-run --server {address} --run runs/demo-true --window 20..80%"
        ));
        shutdown.cancelled().await;
        waiting.end().await;
    }
    let ended = hosted.end().await;
    drop((folder, spools));
    shown.and(ended).map(|()| Answer::Yes)
}

/// Puts the springs on the rack, presses them all at once, and prints what is found.
async fn show(server: SocketAddr, spools: &Path) -> Result<(), Fail> {
    let channel = call::server(&server.to_string()).await?;
    let mut rack = RackServiceClient::new(channel.clone());
    for subject in subjects() {
        rack.create_spring(subject.create()?)
            .await
            .map_err(|status| status_fail(&status))?;
    }
    let presses = subjects().into_iter().map(|subject| press(server, subject, spools));
    futures_util::future::try_join_all(presses).await?;
    for subject in subjects() {
        report(channel.clone(), &subject).await?;
        rack.update_spring(subject.tested())
            .await
            .map_err(|status| status_fail(&status))?;
    }
    pair(channel.clone()).await?;
    drawer::show(channel.clone()).await?;
    book::show(channel).await
}

/// Presses one spring: a tester on a port of its own, and a feed from there to the server.
async fn press(server: SocketAddr, subject: Subject, spools: &Path) -> Result<(), Fail> {
    let fault = |fault: &dyn std::fmt::Display| Fail::at(format!("tester of {}", subject.id), fault);
    let options = subject.tester()?;
    let setup = tester::Setup::try_from(&options).map_err(|error| fault(&error))?;
    let tester = tester::Tester::bind(options.listen, setup, options.pace(), tester::Manner::Once)
        .await
        .map_err(|error| fault(&error))?;
    let line = tester.address();
    let end = CancellationToken::new();
    let pressing = tokio::spawn(tester.serve(end.clone()));
    let options = subject.feed(server, line, spools)?;
    let fed = feed::run_with(options, feed::Controls::default()).await;
    end.cancel();
    pressing.await.map_err(|error| fault(&error))?;
    let fed = fed.map_err(|error| Fail::at(format!("feed of {}", subject.id), error))?;
    say(format_args!("{}", fed.to_string().replace('\n', "; ")));
    Ok(())
}

/// A tester that waits, and the feed that stays there with it.
struct AtTheBench {
    controls: feed::Controls,
    tester: CancellationToken,
    feeding: tokio::task::JoinHandle<Result<(), feed::FeedError>>,
}

impl AtTheBench {
    async fn begin(server: SocketAddr, spools: &Path) -> Result<Self, Fail> {
        let fault = |fault: &dyn std::fmt::Display| Fail::at("the tester that waits", fault);
        let options = scenario::waiting_tester()?;
        let setup = tester::Setup::try_from(&options).map_err(|error| fault(&error))?;
        let bound = tester::Tester::bind(options.listen, setup, options.pace(), options.manner())
            .await
            .map_err(|error| fault(&error))?;
        let options = scenario::staying_feed(server, bound.address(), spools)?;
        let (controls, tester) = (feed::Controls::default(), CancellationToken::new());
        tokio::spawn(bound.serve(tester.clone()));
        let told = |report: &feed::FeedReport| say(format_args!("{}", report.to_string().replace('\n', "; ")));
        let feeding = tokio::spawn(feed::stay(options, controls.clone(), told));
        Ok(Self {
            controls,
            tester,
            feeding,
        })
    }

    /// Ends the test at hand, if there is one.
    async fn end(self) {
        self.controls.finish.cancel();
        if let Ok(Err(error)) = self.feeding.await {
            say(format_args!("the feed at the bench: {error}"));
        }
        self.tester.cancel();
    }
}

async fn report(channel: Channel, subject: &Subject) -> Result<(), Fail> {
    let request = v1::ReduceRunRequest {
        source: Some(v1::reduce_run_request::Source::Run(subject.run())),
        ..v1::ReduceRunRequest::default()
    };
    let reply = SpringServiceClient::new(channel)
        .reduce_run(request)
        .await
        .map_err(|status| status_fail(&status))?;
    let mut out = Out::stdout();
    out.line(format_args!(
        "\n== {} ({}): {}; invented, simulated ==",
        subject.spring(),
        subject.run(),
        subject.story
    ))?;
    out.text(&print::reduced(reply.get_ref()))?;
    Ok(out.flush()?)
}

/// Whether the legs of the fork match.
async fn pair(channel: Channel) -> Result<(), Fail> {
    let reply = SpringServiceClient::new(channel)
        .judge_pair(scenario::judge_pair())
        .await
        .map_err(|status| status_fail(&status))?;
    let [left, right] = scenario::PAIR;
    let mut out = Out::stdout();
    out.line(format_args!(
        "\n== do springs/{left} and springs/{right} match? invented, simulated =="
    ))?;
    out.text(&print::pair(reply.get_ref()))?;
    Ok(out.flush()?)
}

/// The store's folder: a temporary one goes with the demo.
struct Folder {
    path: PathBuf,
    temporary: bool,
}

impl Folder {
    fn of(given: Option<PathBuf>) -> Self {
        let temporary = given.is_none();
        let path =
            given.unwrap_or_else(|| std::env::temp_dir().join(format!("springwright-demo-{}", uuid::Uuid::new_v4())));
        Self { path, temporary }
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        if self.temporary {
            // What cannot be removed is left to the system's own cleaning.
            let _ = std::fs::remove_dir_all(&self.path);
        }
    }
}
