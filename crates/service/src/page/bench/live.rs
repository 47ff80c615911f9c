//! What changes on the bench, as server-sent events (HTML living standard, 9.2): pieces the page puts in their places.
//!
//! They are made from the same pictures that WatchBench sends, when the one before has gone: a reader who is slow sees
//! fewer, and one who reads nothing is dropped.

use std::convert::Infallible;
use std::pin::Pin;
use std::sync::Arc;

use axum::body::Body;
use axum::extract::State;
use bytes::Bytes;
use futures_util::{Stream, StreamExt as _, stream};
use http::header::CONTENT_TYPE;
use http::{HeaderValue, Response, Uri};
use serde_json::{Map, Value, json};
use wire::v1;

use super::super::Page;
use super::super::refusal::Refusal;
use super::super::visitor::Visitor;
use super::curve::Drawn;
use super::scene::{Change, Scene};
use super::{tester_of, view};
use crate::bench::watching;
use crate::error::ServiceError;

/// How long a browser waits before it comes again, ms.
const RETRY: u32 = 2_000;

/// The events of a tester, or of whichever is at work.
pub(in super::super) async fn live(
    State(page): State<Page>,
    visitor: Visitor,
    uri: Uri,
) -> Result<Response<Body>, Refusal> {
    let request = v1::WatchBenchRequest {
        tester: tester_of(&uri),
        ..Default::default()
    };
    let pictures = watching::start(Arc::clone(page.places.bench()), request)?;
    let live = Live {
        pictures: Box::pin(pictures),
        scene: Scene::new(&visitor),
        page,
        first: true,
        said: Map::new(),
    };
    let events = stream::unfold(live, |mut live| async {
        let event = live.next().await?;
        Some((Ok::<_, Infallible>(Bytes::from(event)), live))
    });
    let mut response = Response::new(Body::from_stream(events));
    let kind = HeaderValue::from_static("text/event-stream; charset=utf-8");
    response.headers_mut().insert(CONTENT_TYPE, kind);
    Ok(response)
}

struct Live {
    pictures: Pin<Box<dyn Stream<Item = Result<v1::WatchBenchResponse, ServiceError>> + Send>>,
    scene: Scene,
    page: Page,
    first: bool,
    /// Texts as they were said last.
    said: Map<String, Value>,
}

impl Live {
    /// The next event; none: the stream ends, and the browser comes again by itself.
    async fn next(&mut self) -> Option<String> {
        let picture = match self.pictures.next().await? {
            Ok(picture) => picture,
            Err(error) => {
                tracing::debug!(%error, "a watcher of the page is dropped");
                return None;
            }
        };
        // A comment: a sign of life that the script does not see.
        if picture.heartbeat {
            return Some(":\n\n".to_owned());
        }
        let first = std::mem::take(&mut self.first);
        match self.scene.take(&self.page, picture).await {
            Ok(change) => Some(self.event(&change, first)),
            Err(error) => {
                tracing::warn!(%error, "the bench page could not look up what it shows");
                None
            }
        }
    }

    fn event(&mut self, change: &Change, first: bool) -> String {
        let mut html = Map::new();
        if change.words {
            html.insert("do".to_owned(), view::actions(&self.scene).into_string().into());
            html.insert("last".to_owned(), view::last(&self.scene).into_string().into());
            html.insert("spring".to_owned(), view::spring(&self.scene).into_string().into());
        }
        let mut append = Map::new();
        match &change.drawn {
            Drawn::Nothing => {}
            Drawn::Whole => {
                let curve = &self.scene.curve;
                let plot = curve.plot().growing(curve.reach());
                html.insert("plot".to_owned(), plot.into_string().into());
            }
            Drawn::More(more) => {
                append.insert(
                    more.line.clone(),
                    json!({ "points": more.places, "values": more.values }),
                );
            }
        }
        let text = self.news();
        let change = json!({ "text": text, "html": html, "append": append });
        // JSON has no bare line ends, so that one line is the whole of it.
        let retry = if first {
            format!("retry: {RETRY}\n")
        } else {
            String::new()
        };
        format!("{retry}event: change\ndata: {change}\n\n")
    }

    /// The texts that differ from those said last.
    fn news(&mut self) -> Map<String, Value> {
        let mut news = Map::new();
        for (id, text) in view::texts(&self.scene) {
            let text = Value::from(text);
            if self.said.get(id) != Some(&text) {
                self.said.insert(id.to_owned(), text.clone());
                news.insert(id.to_owned(), text);
            }
        }
        news
    }
}
