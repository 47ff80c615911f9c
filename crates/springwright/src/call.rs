//! Any call of the API, by its description: every verb goes through here.

mod codec;
pub(crate) mod document;
mod door;
mod status;

use std::path::PathBuf;

use bytes::Bytes;
use futures_util::StreamExt as _;
use prost::Message as _;
use prost_reflect::{DynamicMessage, MethodDescriptor, ReflectMessage, Value};
use tokio::sync::mpsc;
use tokio_stream::wrappers::ReceiverStream;
use tonic::client::Grpc;
use tonic::codegen::http::uri::PathAndQuery;
use tonic::transport::Channel;

use crate::documents::Documents;
use crate::fail::{Answer, Ended, Fail};
use crate::out::{self, Out};
use crate::{api, print};

pub(crate) use door::{Door, server};
pub(crate) use status::fail as status_fail;

/// Largest reply that is taken. A page of samples is far below it.
const LARGEST_REPLY: usize = 64 << 20;
/// Requests read ahead of the connection.
const READ_AHEAD: usize = 16;

/// A call with everything it needs.
pub(crate) struct Call {
    /// What is called.
    pub(crate) method: MethodDescriptor,
    /// Where.
    pub(crate) door: Door,
    /// What is sent.
    pub(crate) requests: Requests,
    /// Whether replies are printed as proto JSON.
    pub(crate) json: bool,
    /// Whether a verdict that refuses the part is answered with exit code 1.
    pub(crate) verdict_counts: bool,
    /// Whether the reply's curve is drawn in letters below it.
    pub(crate) plot: bool,
    /// Where the document or picture of the reply goes; "-" is stdout.
    pub(crate) out: Option<PathBuf>,
}

/// What is sent.
pub(crate) enum Requests {
    /// One message.
    One(Box<DynamicMessage>),
    /// Documents, sent as they are read.
    Stream(Documents),
}

/// Makes the call and prints its replies.
pub(crate) async fn run(call: Call) -> Ended {
    let Call {
        method,
        door,
        requests,
        json,
        verdict_counts,
        plot,
        out,
    } = call;
    let in_process = matches!(door, Door::InProcess);
    if in_process {
        refuse_without_server(&method)?;
    }
    let (requests, reader) = match requests {
        Requests::One(mut message) => {
            prepare(&mut message, in_process)?;
            (
                futures_util::stream::iter([Bytes::from(message.encode_to_vec())]).left_stream(),
                None,
            )
        }
        Requests::Stream(documents) => {
            let (requests, reader) = read_ahead(documents, &method);
            (requests.right_stream(), Some(reader))
        }
    };
    let (channel, _hosted) = door.connect().await?;
    let answered = answer(channel, &method, requests, Printed { json, plot, out }).await;
    // A request that could not be read explains whatever the server says of the stream that ended early.
    if let Some(Ok(fault)) = reader.map(|mut reader| reader.try_recv()) {
        return Err(fault);
    }
    let refused = answered?;
    Ok(if refused && verdict_counts {
        Answer::No
    } else {
        Answer::Yes
    })
}

/// Makes a call of one request and one reply, and gives the reply back.
pub(crate) async fn reply(
    method: &MethodDescriptor,
    door: Door,
    mut message: DynamicMessage,
) -> Result<DynamicMessage, Fail> {
    prepare(&mut message, matches!(door, Door::InProcess))?;
    let (channel, _hosted) = door.connect().await?;
    let requests = futures_util::stream::iter([Bytes::from(message.encode_to_vec())]);
    let answered = async { start(channel, method, requests).await?.message().await }.await;
    let bytes = answered
        .map_err(|status| status_fail(&status))?
        .ok_or_else(|| Fail::error("the call ended without a reply"))?;
    DynamicMessage::decode(method.output(), bytes).map_err(|fault| Fail::at("the reply cannot be read", fault))
}

async fn start(
    channel: Channel,
    method: &MethodDescriptor,
    requests: impl futures_util::Stream<Item = Bytes> + Send + 'static,
) -> Result<tonic::Streaming<Bytes>, tonic::Status> {
    let path =
        PathAndQuery::try_from(api::wire_path(method)).map_err(|fault| tonic::Status::internal(fault.to_string()))?;
    let mut grpc = Grpc::new(channel).max_decoding_message_size(LARGEST_REPLY);
    grpc.ready()
        .await
        .map_err(|fault| tonic::Status::unavailable(fault.to_string()))?;
    let reply = grpc.streaming(tonic::Request::new(requests), path, codec::Raw).await?;
    Ok(reply.into_inner())
}

/// How replies are printed.
#[derive(Debug)]
struct Printed {
    json: bool,
    plot: bool,
    out: Option<PathBuf>,
}

/// Prints every reply; whether one of them refuses the part.
async fn answer(
    channel: Channel,
    method: &MethodDescriptor,
    requests: impl futures_util::Stream<Item = Bytes> + Send + 'static,
    printed: Printed,
) -> Result<bool, Fail> {
    let mut replies = start(channel, method, requests)
        .await
        .map_err(|status| status_fail(&status))?;
    let mut out = Out::stdout();
    let mut refused = false;
    let mut first = true;
    while let Some(bytes) = replies.message().await.map_err(|status| status_fail(&status))? {
        let mut reply = DynamicMessage::decode(method.output(), bytes)
            .map_err(|fault| Fail::at("the reply cannot be read", fault))?;
        refused |= print::refuses(&reply);
        if let Some(path) = &printed.out {
            let written = document::taken(&mut reply)?;
            if path.as_os_str() == "-" {
                document::to_stdout(&written)?;
                continue;
            }
            document::to_file(path, &written)?;
        }
        if printed.json {
            let text = serde_json::to_string(&reply)
                .map_err(|fault| Fail::at("the reply cannot be written as JSON", fault))?;
            out.line(text)?;
        } else {
            if !first {
                out.line("")?;
            }
            out.text(&print::reply(&reply))?;
            if let Some(drawn) = print::plotted(&reply).filter(|_| printed.plot) {
                out.text(&drawn)?;
            }
        }
        first = false;
        out.flush()?;
    }
    Ok(refused)
}

/// Reads documents in a thread of their own, because stdin cannot be waited for otherwise.
fn read_ahead(
    mut documents: Documents,
    method: &MethodDescriptor,
) -> (ReceiverStream<Bytes>, tokio::sync::oneshot::Receiver<Fail>) {
    let (requests, queue) = mpsc::channel(READ_AHEAD);
    let (faults, fault) = tokio::sync::oneshot::channel();
    let kind = method.input();
    std::thread::spawn(move || {
        loop {
            let message = documents.next(&kind).and_then(|message| match message {
                Some(mut message) => prepare(&mut message, false).map(|()| Some(message)),
                None => Ok(None),
            });
            match message {
                Ok(Some(message)) if requests.blocking_send(message.encode_to_vec().into()).is_ok() => {}
                Ok(_) => return,
                Err(words) => {
                    // The fault is there before the stream ends, so that whoever sees the end finds it.
                    let _ = faults.send(words);
                    return;
                }
            }
        }
    });
    (ReceiverStream::new(queue), fault)
}

fn refuse_without_server(method: &MethodDescriptor) -> Result<(), Fail> {
    if api::is_calculation(method) {
        return Ok(());
    }
    Err(Fail::error(format!(
        "{}/{} works on the shop's records: say where they are served with --server ADDRESS (such as 127.0.0.1:7411)",
        method.parent_service().name(),
        method.name()
    )))
}

/// Fills in what a person need not type, and refuses what cannot work.
fn prepare(message: &mut DynamicMessage, in_process: bool) -> Result<(), Fail> {
    fill_request_id(message);
    if in_process && let Some((path, name)) = record_name(message, "") {
        return Err(Fail::error(format!(
            "{path}: \"{name}\" is a record, and no server was named that has it: give --server ADDRESS, or values instead"
        )));
    }
    Ok(())
}

/// A mutation carries a request id; one that was left out is chosen here and said, so that a retry can repeat it.
fn fill_request_id(message: &mut DynamicMessage) {
    let kind = message.descriptor();
    if let Some(header) = kind
        .get_field_by_name("header")
        .filter(|header| message.has_field(header))
        && let Value::Message(header) = message.get_field_mut(&header)
    {
        fill_request_id(header);
    }
    let Some(field) = kind.get_field_by_name("request_id") else {
        return;
    };
    if message.get_field(&field).as_str().is_some_and(str::is_empty) {
        let id = uuid::Uuid::new_v4().to_string();
        out::say(format_args!(
            "request id {id} (chosen here; repeat it with --request-id to try the same change again)"
        ));
        message.set_field(&field, Value::String(id));
    }
}

/// The first field that names a record instead of giving values.
fn record_name(message: &DynamicMessage, path: &str) -> Option<(String, String)> {
    message.fields().find_map(|(field, value)| {
        let path = if path.is_empty() {
            field.name().to_owned()
        } else {
            format!("{path}.{}", field.name())
        };
        // A part of an assembly may be a spring of the rack, too.
        let is_source = field
            .containing_oneof()
            .is_some_and(|oneof| oneof.name() == "source" || (oneof.name() == "kind" && field.name() == "spring"));
        match value {
            Value::String(name) if is_source => Some((path, name.clone())),
            Value::Message(inner) => record_name(inner, &path),
            Value::List(items) => items
                .iter()
                .enumerate()
                .find_map(|(index, item)| record_name(item.as_message()?, &format!("{path}[{index}]"))),
            _ => None,
        }
    })
}
