//! Everybody who works with the server at once.

use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Duration;

use acceptance::Server;
use tokio::runtime::Runtime;
use tokio::task::JoinHandle;
use tonic::transport::{Channel, Endpoint};

use crate::drawer::{self, Drawer};
use crate::line::Line;
use crate::rack::{self, Rack};
use crate::recorder::{self, Recorder};

/// What is written: blocks of a few samples and springs with a few words, or as much as one value holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Size {
    Small,
    Large,
}

/// How far back is looked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Depth {
    /// Everything that was ever acknowledged.
    Everything,
    /// Every spring, the runs that were open and the last that were finished.
    Latest,
}

pub(crate) struct Shop {
    runtime: Arc<Runtime>,
    recorders: Vec<Arc<Mutex<Recorder>>>,
    racks: Vec<Arc<Mutex<Rack>>>,
    drawers: Vec<Arc<Mutex<Drawer>>>,
    acknowledged: Arc<AtomicUsize>,
}

impl Shop {
    pub(crate) fn new() -> Self {
        let sizes = [Size::Small, Size::Large, Size::Small, Size::Large];
        let recorders = (0..).zip(sizes).map(|(number, size)| Recorder::new(number, size));
        let racks = (0..).zip(sizes).map(|(number, size)| Rack::new(number, size));
        Self {
            runtime: Arc::new(Runtime::new().unwrap()),
            recorders: recorders.map(|one| Arc::new(Mutex::new(one))).collect(),
            racks: racks.map(|one| Arc::new(Mutex::new(one))).collect(),
            drawers: (0..2).map(|number| Arc::new(Mutex::new(Drawer::new(number)))).collect(),
            acknowledged: Arc::default(),
        }
    }

    /// Begins to work, each where they stopped before.
    pub(crate) fn open(&self, server: &Server) -> Work<'_> {
        let line = self.line(server);
        let tasks = self.start(&line, false);
        Work {
            shop: self,
            line,
            tasks,
        }
    }

    /// Finishes every open run and repeats what was not acknowledged.
    pub(crate) fn finish(&self, server: &Server) {
        let tasks = self.start(&self.line(server), true);
        self.join(tasks);
    }

    fn start(&self, line: &Line, last: bool) -> Vec<JoinHandle<()>> {
        let recorders = self.recorders.iter().map(|recorder| {
            let task = recorder::record(Arc::clone(recorder), line.clone(), last);
            self.runtime.spawn(task)
        });
        let racks = self.racks.iter().map(|rack| {
            let task = rack::work(Arc::clone(rack), line.clone(), last);
            self.runtime.spawn(task)
        });
        let drawers = self.drawers.iter().map(|drawer| {
            let task = drawer::work(Arc::clone(drawer), line.clone(), last);
            self.runtime.spawn(task)
        });
        recorders.chain(racks).chain(drawers).collect()
    }

    fn join(&self, tasks: Vec<JoinHandle<()>>) {
        for task in tasks {
            self.runtime.block_on(task).unwrap();
        }
    }

    fn line(&self, server: &Server) -> Line {
        Line {
            channel: self.channel(server),
            ending: Arc::new(AtomicBool::new(false)),
            resting: Arc::new(AtomicBool::new(false)),
            acknowledged: Arc::clone(&self.acknowledged),
        }
    }

    fn channel(&self, server: &Server) -> Channel {
        let endpoint = Endpoint::from_shared(format!("http://{}", server.address())).unwrap();
        self.runtime.block_on(endpoint.connect()).unwrap()
    }

    /// Looks for what was acknowledged while nobody works.
    pub(crate) fn check(&self, server: &Server, depth: Depth) {
        let channel = self.channel(server);
        self.runtime.block_on(async {
            for recorder in &self.recorders {
                let recorder = recorder.lock().unwrap().clone();
                recorder.check(&channel, depth).await;
            }
            for rack in &self.racks {
                let rack = rack.lock().unwrap().clone();
                rack.check(&channel).await;
            }
            for drawer in &self.drawers {
                let drawer = drawer.lock().unwrap().clone();
                drawer.check(&channel).await;
            }
            drawer::count(&channel).await;
        });
    }

    pub(crate) fn acknowledged(&self) -> usize {
        self.acknowledged.load(Ordering::SeqCst)
    }

    pub(crate) fn tally(&self) -> String {
        let runs: usize = self
            .recorders
            .iter()
            .map(|one| one.lock().unwrap().finished.len())
            .sum();
        let revisions: usize = self.racks.iter().map(|one| one.lock().unwrap().revisions()).sum();
        let builds: i64 = self.drawers.iter().map(|one| one.lock().unwrap().changes()).sum();
        let acknowledged = self.acknowledged();
        format!(
            "{acknowledged} answers, {runs} finished runs, {revisions} revisions of springs, {builds} of stacks, nothing lost"
        )
    }

    /// A copy that knows what this one knows now.
    fn copy(&self) -> Self {
        let copied = |recorder: &Arc<Mutex<Recorder>>| Arc::new(Mutex::new(recorder.lock().unwrap().clone()));
        Self {
            runtime: Arc::clone(&self.runtime),
            recorders: self.recorders.iter().map(copied).collect(),
            racks: self
                .racks
                .iter()
                .map(|rack| Arc::new(Mutex::new(rack.lock().unwrap().clone())))
                .collect(),
            drawers: self
                .drawers
                .iter()
                .map(|drawer| Arc::new(Mutex::new(drawer.lock().unwrap().clone())))
                .collect(),
            acknowledged: Arc::default(),
        }
    }
}

/// Everybody at work, until the server ends.
pub(crate) struct Work<'a> {
    shop: &'a Shop,
    line: Line,
    tasks: Vec<JoinHandle<()>>,
}

impl Work<'_> {
    /// Lets them work.
    pub(crate) fn go_on(&self, time: Duration) {
        std::thread::sleep(time);
    }

    /// Lets them begin nothing new meanwhile.
    pub(crate) fn rest(&self, meanwhile: impl FnOnce()) {
        self.line.resting.store(true, Ordering::SeqCst);
        meanwhile();
        self.line.resting.store(false, Ordering::SeqCst);
    }

    /// What they know once nothing more comes from a server that stands still.
    pub(crate) fn settled(&self) -> Shop {
        let mut before = self.shop.acknowledged();
        loop {
            std::thread::sleep(Duration::from_millis(30));
            let now = self.shop.acknowledged();
            if now == before {
                return self.shop.copy();
            }
            before = now;
        }
    }

    /// Ends the server and waits until everybody has noticed.
    pub(crate) fn end(self, server: impl FnOnce()) {
        self.line.ending.store(true, Ordering::SeqCst);
        server();
        self.shop.join(self.tasks);
    }
}
