//! Somebody who puts springs on the rack, changes them and takes them off, and remembers what they were told of each.

use std::sync::{Arc, Mutex};
use std::time::Duration;

use tonic::transport::Channel;
use tonic::{Code, Status};
use wire::v1;
use wire::v1::rack_service_client::RackServiceClient;

use crate::chance::{Chance, mix};
use crate::line::Line;
use crate::shop::Size;

/// Springs of one person.
const SPRINGS: usize = 6;

#[derive(Clone)]
pub(crate) struct Rack {
    number: u64,
    size: Size,
    chance: Chance,
    springs: Vec<Spring>,
    /// The change that was asked for and not acknowledged yet, and the spring it is for.
    asked: Option<(usize, Change)>,
}

/// The revisions of a spring, as the server told them.
#[derive(Clone, Default)]
struct Spring {
    told: Vec<v1::Spring>,
}

#[derive(Clone)]
enum Change {
    Create(v1::CreateSpringRequest),
    Update(v1::UpdateSpringRequest),
    Delete(v1::DeleteSpringRequest),
    Undelete(v1::UndeleteSpringRequest),
}

impl Rack {
    pub(crate) fn new(number: u64, size: Size) -> Self {
        Self {
            number,
            size,
            chance: Chance::of(mix(!number)),
            springs: Vec::new(),
            asked: None,
        }
    }

    pub(crate) fn revisions(&self) -> usize {
        self.springs.iter().map(|spring| spring.told.len()).sum()
    }

    /// The change that is still to be acknowledged; a new one where there is none.
    fn change(&mut self) -> Change {
        if self.asked.is_none() {
            self.asked = Some(self.invent());
        }
        self.asked.clone().unwrap().1
    }

    fn invent(&mut self) -> (usize, Change) {
        let request_id = uuid::Uuid::new_v4().to_string();
        let at = self.chance.below(SPRINGS).min(self.springs.len());
        let Some(before) = self.springs.get(at).map(|spring| spring.told.last().unwrap().clone()) else {
            let create = v1::CreateSpringRequest {
                spring: Some(self.content(String::new())),
                spring_id: format!("s{}-{at}", self.number),
                request_id,
            };
            return (at, Change::Create(create));
        };
        let (name, etag) = (before.name.clone(), before.etag.clone());
        let change = if before.delete_time.is_some() {
            Change::Undelete(v1::UndeleteSpringRequest { name, etag, request_id })
        } else if self.chance.below(8) == 0 {
            Change::Delete(v1::DeleteSpringRequest { name, etag, request_id })
        } else {
            let spring = v1::Spring {
                etag,
                ..self.content(name)
            };
            let update_mask = prost_types::FieldMask {
                paths: vec!["*".to_owned()],
            };
            Change::Update(v1::UpdateSpringRequest {
                spring: Some(spring),
                update_mask: Some(update_mask),
                request_id,
            })
        };
        (at, change)
    }

    /// A spring like no other: with a few words, or with as many as there may be.
    fn content(&mut self, name: String) -> v1::Spring {
        let length = match self.size {
            Size::Small => 20,
            Size::Large => 4_000,
        };
        let mut letter = || char::from_u32('a' as u32 + self.chance.below(400) as u32).unwrap();
        let notes = (0..length).map(|_| letter()).collect();
        v1::Spring {
            name,
            label: (0..12).map(|_| letter()).collect(),
            notes,
            marked_rate: Some(v1::Stiffness {
                value: Some(1.0 + self.chance.below(1 << 40) as f64 * 1e-10),
                unit: v1::stiffness::Unit::NewtonPerMillimeter as i32,
            }),
            ..Default::default()
        }
    }

    fn told(&mut self, told: v1::Spring) {
        let (at, change) = self.asked.take().unwrap();
        if at == self.springs.len() {
            self.springs.push(Spring::default());
        }
        let spring = &mut self.springs[at];
        spring.check_next(&change, &told);
        spring.told.push(told);
    }

    /// Looks for every revision that was acknowledged.
    pub(crate) async fn check(&self, channel: &Channel) {
        let mut rack = RackServiceClient::new(channel.clone());
        for (at, spring) in self.springs.iter().enumerate() {
            let name = self.name(at);
            let found = revisions(&mut rack, &name).await.unwrap();
            let (known, beyond) = found.split_at(spring.told.len().min(found.len()));
            assert!(
                known == spring.told,
                "{name}: {} revisions, {} told",
                found.len(),
                spring.told.len()
            );
            self.check_beyond(at, beyond);
            let newest = rack
                .get_spring(v1::GetSpringRequest { name })
                .await
                .unwrap()
                .into_inner();
            assert_eq!(Some(&newest), found.last());
        }
        match revisions(&mut rack, &self.name(self.springs.len())).await {
            Ok(beyond) => self.check_beyond(self.springs.len(), &beyond),
            Err(status) => assert_eq!(status.code(), Code::NotFound, "{status:?}"),
        }
    }

    /// At most the change that was asked for has happened without an answer, and then all of it.
    fn check_beyond(&self, at: usize, beyond: &[v1::Spring]) {
        assert!(
            beyond.len() <= 1,
            "{}: {} revisions that nobody asked for",
            self.name(at),
            beyond.len()
        );
        for found in beyond {
            let (asked, change) = self.asked.as_ref().expect("a change that nobody asked for");
            assert_eq!(*asked, at, "a change that nobody asked for: {found:?}");
            self.springs
                .get(at)
                .cloned()
                .unwrap_or_default()
                .check_next(change, found);
        }
    }

    fn name(&self, at: usize) -> String {
        format!("springs/s{}-{at}", self.number)
    }
}

impl Spring {
    /// What the change makes of it: one revision more, with the content asked for.
    fn check_next(&self, change: &Change, told: &v1::Spring) {
        let before = self.told.last();
        assert_eq!(told.revision, self.told.len() as i64 + 1, "{}", told.name);
        let wanted = match change {
            Change::Create(create) => create.spring.clone(),
            Change::Update(update) => update.spring.clone(),
            Change::Delete(_) | Change::Undelete(_) => before.cloned(),
        };
        assert_eq!(content(told), content(&wanted.unwrap()));
        assert_eq!(
            told.delete_time.is_some(),
            matches!(change, Change::Delete(_)),
            "{}",
            told.name
        );
        assert!(before.is_none_or(|before| before.uid == told.uid && before.etag != told.etag));
    }
}

/// What people write on it, without what the server adds.
fn content(spring: &v1::Spring) -> v1::Spring {
    v1::Spring {
        name: String::new(),
        uid: String::new(),
        etag: String::new(),
        revision: 0,
        create_time: None,
        update_time: None,
        delete_time: None,
        purge_time: None,
        ..spring.clone()
    }
}

/// Changes springs until the line is cut; with `last`, until the change asked for is acknowledged.
pub(crate) async fn work(rack: Arc<Mutex<Rack>>, line: Line, last: bool) {
    let mut client = RackServiceClient::new(line.channel.clone());
    let done = || last && rack.lock().unwrap().asked.is_none();
    while !line.is_ending() && !done() {
        if line.is_resting() {
            tokio::time::sleep(Duration::from_millis(10)).await;
            continue;
        }
        let change = rack.lock().unwrap().change();
        match ask(&mut client, change).await {
            Ok(told) => {
                rack.lock().unwrap().told(told);
                line.heard();
            }
            Err(status) if line.is_cut(&status).await => return,
            Err(_) => {}
        }
    }
}

async fn ask(rack: &mut RackServiceClient<Channel>, change: Change) -> Result<v1::Spring, Status> {
    let told = match change {
        Change::Create(request) => rack.create_spring(request).await,
        Change::Update(request) => rack.update_spring(request).await,
        Change::Delete(request) => rack.delete_spring(request).await,
        Change::Undelete(request) => rack.undelete_spring(request).await,
    };
    told.map(tonic::Response::into_inner)
}

/// Every revision of a spring, oldest first.
async fn revisions(rack: &mut RackServiceClient<Channel>, name: &str) -> Result<Vec<v1::Spring>, Status> {
    let mut found = Vec::new();
    let mut page_token = String::new();
    loop {
        let request = v1::ListSpringRevisionsRequest {
            name: name.to_owned(),
            page_size: 200,
            page_token,
        };
        let page = rack.list_spring_revisions(request).await?.into_inner();
        found.extend(page.revisions);
        page_token = page.next_page_token;
        if page_token.is_empty() {
            found.reverse();
            return Ok(found);
        }
    }
}
