//! The spool between the one that reads the source and the one that sends: kept blocks, how far, and whether more come.

use std::collections::VecDeque;
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use std::time::Duration;

use tokio::sync::{mpsc, watch};
use wire::v1;

use super::intake::{Draft, Missing};
use super::spool::{Mark, Offered, Spool, SpoolError};

/// Drafts kept with one sync, at most.
const BATCH_MAX: usize = 64;
/// How often a full spool is tried again without a sign from the server.
const LOOK_AGAIN: Duration = Duration::from_millis(500);

/// What there is to send.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Supply {
    /// The last block that survives the feed's own death, and so may be sent.
    pub(crate) kept_through: i64,
    /// What follows.
    pub(crate) state: SupplyState,
}

/// Whether more blocks come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum SupplyState {
    /// They may.
    Open,
    /// None; the run is to be sealed.
    Complete,
    /// None for now; the run is to be left resumable.
    Broken,
}

/// Shared by reader and sender; cheap to clone.
#[derive(Debug, Clone)]
pub(crate) struct Outbox {
    inner: Arc<Inner>,
}

#[derive(Debug)]
struct Inner {
    spool: Mutex<Spool>,
    supply: watch::Sender<Supply>,
    durable: AtomicI64,
    acknowledged: watch::Sender<i64>,
}

impl Outbox {
    /// Around a spool, new or reopened.
    pub(crate) fn new(spool: Spool) -> Self {
        let supply = Supply {
            kept_through: spool.last().number,
            state: if spool.ended() {
                SupplyState::Complete
            } else {
                SupplyState::Open
            },
        };
        Self {
            inner: Arc::new(Inner {
                spool: Mutex::new(spool),
                supply: watch::Sender::new(supply),
                durable: AtomicI64::new(0),
                acknowledged: watch::Sender::new(0),
            }),
        }
    }

    /// Follows what there is to send.
    pub(crate) fn supply(&self) -> watch::Receiver<Supply> {
        self.inner.supply.subscribe()
    }

    /// Where everything stands after the last block.
    pub(crate) async fn last(&self) -> Result<Mark, SpoolError> {
        self.on_disk(|spool| Ok(spool.last())).await
    }

    /// Where everything stood after a block.
    pub(crate) async fn mark(&self, number: i64) -> Result<Option<Mark>, SpoolError> {
        self.on_disk(move |spool| Ok(spool.mark(number))).await
    }

    /// A kept block.
    ///
    /// # Errors
    /// [`SpoolError`].
    pub(crate) async fn read(&self, number: i64) -> Result<v1::Block, SpoolError> {
        self.on_disk(move |spool| spool.read(number)).await
    }

    /// Makes drafts blocks and keeps them, all with one sync. Gives back those for which there was no room, in order.
    ///
    /// # Errors
    /// [`SpoolError`]; none of the drafts counts as kept then.
    pub(crate) async fn keep(&self, drafts: VecDeque<Draft>) -> Result<VecDeque<Draft>, SpoolError> {
        let durable = self.inner.durable.load(Ordering::Relaxed);
        let (rest, through) = self
            .on_disk(move |spool| {
                spool.leave_behind(durable, false)?;
                let rest = offer(spool, drafts, durable)?;
                spool.sync()?;
                Ok((rest, spool.last().number))
            })
            .await?;
        self.inner.supply.send_modify(|supply| supply.kept_through = through);
        Ok(rest)
    }

    /// No more blocks come: the source was read to its end.
    ///
    /// # Errors
    /// [`SpoolError`].
    pub(crate) async fn complete(&self) -> Result<(), SpoolError> {
        self.on_disk(|spool| {
            spool.end()?;
            spool.sync()
        })
        .await?;
        self.inner
            .supply
            .send_modify(|supply| supply.state = SupplyState::Complete);
        Ok(())
    }

    /// No more blocks come for now; the run stays open.
    pub(crate) fn broken(&self) {
        self.inner
            .supply
            .send_modify(|supply| supply.state = SupplyState::Broken);
    }

    /// The server holds everything up to a block.
    pub(crate) fn acknowledge(&self, durable_through: i64) {
        self.inner.durable.fetch_max(durable_through, Ordering::Relaxed);
        self.inner.acknowledged.send_replace(durable_through);
    }

    /// The run is finished: the spool goes.
    ///
    /// # Errors
    /// [`SpoolError`].
    pub(crate) async fn remove(&self) -> Result<(), SpoolError> {
        self.on_disk(Spool::remove).await
    }

    /// Disks block; the lock is held no longer than one such call.
    async fn on_disk<T, F>(&self, work: F) -> Result<T, SpoolError>
    where
        T: Send + 'static,
        F: FnOnce(&mut Spool) -> Result<T, SpoolError> + Send + 'static,
    {
        let inner = Arc::clone(&self.inner);
        let work = tokio::task::spawn_blocking(move || work(&mut spool(&inner)));
        work.await.unwrap_or_else(|error| {
            Err(SpoolError::Io {
                path: "(disk work)".into(),
                error: std::io::Error::other(error),
            })
        })
    }
}

fn spool(inner: &Inner) -> MutexGuard<'_, Spool> {
    // The spool's own state is right between its calls, whatever happened to a holder of the lock.
    inner.spool.lock().unwrap_or_else(PoisonError::into_inner)
}

fn offer(spool: &mut Spool, mut drafts: VecDeque<Draft>, durable: i64) -> Result<VecDeque<Draft>, SpoolError> {
    while let Some(draft) = drafts.pop_front() {
        let offered = match spool.offer(draft)? {
            Offered::Full(draft) => {
                spool.leave_behind(durable, true)?;
                spool.offer(*draft)?
            }
            Offered::Taken => Offered::Taken,
        };
        if let Offered::Full(draft) = offered {
            drafts.push_front(*draft);
            break;
        }
    }
    Ok(drafts)
}

/// What to do while the spool is full.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum WhenFull {
    /// Nothing is lost by reading a file later.
    Wait,
    /// An instrument does not wait: what it says meanwhile is a gap.
    LoseAndTell,
}

/// Takes drafts until their sender is gone, and keeps them. Gives the number of samples that were lost.
///
/// # Errors
/// [`SpoolError`].
pub(crate) async fn keep_all(
    mut drafts: mpsc::Receiver<Draft>,
    outbox: Outbox,
    when_full: WhenFull,
) -> Result<u64, SpoolError> {
    let mut acknowledged = outbox.inner.acknowledged.subscribe();
    let (mut missing, mut tare) = (Missing::default(), None);
    let mut lost = 0;
    let mut batch = Vec::new();
    while drafts.recv_many(&mut batch, BATCH_MAX).await > 0 {
        let mut queue: VecDeque<Draft> = batch.drain(..).collect();
        while let Some(first) = queue.front_mut() {
            first.missing.prepend(std::mem::take(&mut missing));
            first.tare = first.tare.or(tare.take());
            queue = outbox.keep(queue).await?;
            match when_full {
                WhenFull::Wait if !queue.is_empty() => {
                    // A spool kept full by others' files would never be acknowledged into room: look again anyway.
                    let _ = tokio::time::timeout(LOOK_AGAIN, acknowledged.changed()).await;
                }
                WhenFull::Wait => {}
                WhenFull::LoseAndTell => {
                    for draft in queue.drain(..) {
                        let samples = draft.len() as u64;
                        if lost == 0 {
                            tracing::error!("the spool is full: samples are being lost until the server is back");
                        }
                        lost += samples;
                        missing.prepend(draft.missing);
                        // Samples are lost, a zero is not: it holds for those that come.
                        tare = draft.tare.or(tare);
                        missing.add(Some(samples), "the feed's spool was full");
                    }
                }
            }
        }
    }
    Ok(lost)
}
