//! Somebody who builds stacks of the drawer's shims and takes them apart, and counts what is there.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use tonic::transport::Channel;
use tonic::{Code, Status};
use wire::v1;
use wire::v1::drawer_service_client::DrawerServiceClient;

use crate::chance::{Chance, mix};
use crate::line::Line;

/// Lots that everybody takes from, with their shims.
const LOTS: usize = 2;
const SHIMS: i32 = 8;
/// Stacks of one person, of three shims each: not all of everybody's can be built at once.
const STACKS: usize = 3;

#[derive(Clone)]
pub(crate) struct Drawer {
    number: u64,
    chance: Chance,
    /// Revision of each stack, as it was told last, and whether it is built.
    stacks: Vec<(i64, bool)>,
    /// The change that was asked for and not acknowledged yet.
    asked: Option<(usize, Change)>,
}

#[derive(Clone)]
#[allow(clippy::large_enum_variant, reason = "a handful of them in a test")]
enum Change {
    Create(v1::CreateStackRequest),
    Build(v1::BuildStackRequest),
    Unbuild(v1::UnbuildStackRequest),
}

fn length(value: f64) -> Option<v1::Length> {
    Some(v1::Length {
        value: Some(value),
        unit: v1::length::Unit::Millimeter as i32,
    })
}

fn stack() -> v1::Stack {
    let layer = v1::ShimLayer {
        outer_diameter: length(30.0),
        thickness: length(0.15),
        count: 3,
        ..Default::default()
    };
    v1::Stack {
        layers: vec![layer],
        faces: vec![v1::PortFace {
            port_inner_diameter: length(18.0),
            port_outer_diameter: length(26.0),
            ..Default::default()
        }],
        clamp: Some(v1::Clamp {
            diameter: length(14.0),
            ..Default::default()
        }),
        ..Default::default()
    }
}

/// Puts the lots into the drawer, if nobody has.
async fn stock(client: &mut DrawerServiceClient<Channel>) -> Result<(), Status> {
    for lot in 0..LOTS {
        let content = v1::ShimLot {
            outer_diameter: length(30.0),
            thickness: length(0.15),
            count: Some(SHIMS),
            ..Default::default()
        };
        let request = v1::CreateShimLotRequest {
            shim_lot: Some(content),
            shim_lot_id: format!("lot-{lot}"),
            request_id: uuid::Uuid::new_v4().to_string(),
        };
        match client.create_shim_lot(request).await {
            Err(status) if status.code() != Code::AlreadyExists => return Err(status),
            _ => {}
        }
    }
    Ok(())
}

impl Drawer {
    pub(crate) fn new(number: u64) -> Self {
        Self {
            number,
            chance: Chance::of(mix(number ^ 0x5a5a)),
            stacks: Vec::new(),
            asked: None,
        }
    }

    pub(crate) fn changes(&self) -> i64 {
        self.stacks.iter().map(|(revision, _)| revision).sum()
    }

    fn name(&self, at: usize) -> String {
        format!("stacks/k{}-{at}", self.number)
    }

    fn change(&mut self) -> Change {
        if self.asked.is_none() {
            let at = self.chance.below(STACKS).min(self.stacks.len());
            let (name, request_id) = (self.name(at), uuid::Uuid::new_v4().to_string());
            let change = match self.stacks.get(at) {
                None => Change::Create(v1::CreateStackRequest {
                    stack: Some(stack()),
                    stack_id: format!("k{}-{at}", self.number),
                    request_id,
                }),
                Some((_, false)) => Change::Build(v1::BuildStackRequest {
                    name,
                    request_id,
                    ..Default::default()
                }),
                Some((_, true)) => Change::Unbuild(v1::UnbuildStackRequest {
                    name,
                    request_id,
                    ..Default::default()
                }),
            };
            self.asked = Some((at, change));
        }
        self.asked.clone().unwrap().1
    }

    fn told(&mut self, told: &v1::Stack) {
        let (at, change) = self.asked.take().unwrap();
        let before = self.stacks.get(at).map_or(0, |(revision, _)| *revision);
        assert_eq!(told.revision, before + 1, "{}", told.name);
        assert_eq!(told.built, matches!(change, Change::Build(_)), "{}", told.name);
        match self.stacks.get_mut(at) {
            Some(known) => *known = (told.revision, told.built),
            None => self.stacks.push((told.revision, told.built)),
        }
    }

    /// Looks for every stack as it was acknowledged, or one change further.
    pub(crate) async fn check(&self, channel: &Channel) {
        let mut client = DrawerServiceClient::new(channel.clone());
        for (at, (revision, built)) in self.stacks.iter().enumerate() {
            let name = self.name(at);
            let found = client
                .get_stack(v1::GetStackRequest { name })
                .await
                .unwrap()
                .into_inner();
            let asked = self.asked.as_ref().is_some_and(|(asked, _)| *asked == at);
            let further = found.revision == revision + 1 && found.built != *built && asked;
            let same = (found.revision, found.built) == (*revision, *built);
            assert!(same || further, "{found:?}, not {revision} built {built}");
        }
    }
}

/// Counts every shim: none is lost, none is in two places.
pub(crate) async fn count(channel: &Channel) {
    let mut client = DrawerServiceClient::new(channel.clone());
    let stacks = client
        .list_stacks(v1::ListStacksRequest {
            page_size: 500,
            ..Default::default()
        })
        .await
        .unwrap()
        .into_inner();
    assert!(stacks.next_page_token.is_empty());
    let mut taken = BTreeMap::<String, i32>::new();
    for stack in &stacks.stacks {
        let shims: i32 = stack.taken.iter().map(|part| part.count).sum();
        assert_eq!(shims, if stack.built { 3 } else { 0 }, "{stack:?}");
        for part in &stack.taken {
            *taken.entry(part.lot.clone()).or_default() += part.count;
        }
    }
    let lots = client
        .list_shim_lots(v1::ListShimLotsRequest::default())
        .await
        .unwrap()
        .into_inner();
    for lot in lots.shim_lots {
        let built = taken.remove(&lot.name).unwrap_or(0);
        assert_eq!(
            (lot.count() + lot.built_count, lot.built_count),
            (SHIMS, built),
            "{lot:?}"
        );
    }
    assert!(taken.is_empty(), "{taken:?}");
}

/// Builds and takes apart until the line is cut; with `last`, until the change asked for is acknowledged.
pub(crate) async fn work(drawer: Arc<Mutex<Drawer>>, line: Line, last: bool) {
    let mut client = DrawerServiceClient::new(line.channel.clone());
    let done = || last && drawer.lock().unwrap().asked.is_none();
    let mut stocked = false;
    while !line.is_ending() && !done() {
        if line.is_resting() {
            tokio::time::sleep(Duration::from_millis(10)).await;
            continue;
        }
        if !stocked {
            stocked = stock(&mut client).await.is_ok();
        }
        let change = drawer.lock().unwrap().change();
        match ask(&mut client, change).await {
            Ok(told) => {
                drawer.lock().unwrap().told(&told);
                line.heard();
            }
            // Others have the shims: something else is tried next.
            Err(status) if status.code() == Code::FailedPrecondition => drawer.lock().unwrap().asked = None,
            Err(status) if line.is_cut(&status).await => return,
            Err(_) => {}
        }
    }
}

async fn ask(client: &mut DrawerServiceClient<Channel>, change: Change) -> Result<v1::Stack, Status> {
    let told = match change {
        Change::Create(request) => client.create_stack(request).await,
        Change::Build(request) => client.build_stack(request).await,
        Change::Unbuild(request) => client.unbuild_stack(request).await,
    };
    told.map(tonic::Response::into_inner)
}
