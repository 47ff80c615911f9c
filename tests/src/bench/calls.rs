//! Calls through every layer against a bare service that takes and gives messages of the same sizes.

use std::net::SocketAddr;
use std::path::Path;
use std::time::{Duration, Instant};

use acceptance::Server;
use bytes::Bytes;
use prost::Message;
use tonic::codegen::http::uri::PathAndQuery;
use wire::v1;

use crate::process::{EchoServer, cpu_time};
use crate::raw::{Call, Client};
use crate::samples;
use crate::table::{Line, note, percent};

/// Rounds of each side, taken in turn so that what else the machine does falls on both.
const ROUNDS: usize = 3;
const WARM_UP: Duration = Duration::from_millis(500);
const ROUND: Duration = Duration::from_secs(2);
/// Connections the calls in flight are spread over.
const CONNECTIONS: usize = 4;
/// Readings of the test that is sent to be reduced.
const REDUCED: usize = 2_000;

/// Whom the calls go to.
#[derive(Clone, Copy)]
struct Side {
    address: SocketAddr,
    process: u32,
}

/// What a side did.
#[derive(Default)]
struct Seen {
    rates: Vec<f64>,
    nanos: Vec<u64>,
    cpu: Duration,
}

impl Seen {
    fn rate(&mut self) -> f64 {
        self.rates.sort_unstable_by(f64::total_cmp);
        self.rates.get(self.rates.len() / 2).copied().unwrap_or(f64::NAN)
    }

    fn micros(&self, share: f64) -> f64 {
        let at = (share * self.nanos.len().saturating_sub(1) as f64) as usize;
        self.nanos.get(at).map_or(f64::NAN, |nanos| *nanos as f64 / 1e3)
    }

    fn cpu_micros(&self) -> f64 {
        self.cpu.as_secs_f64() * 1e6 / self.nanos.len().max(1) as f64
    }

    fn words(&mut self) -> String {
        format!(
            "{:.0}/s, p50 {:.0} us, p99 {:.0} us, CPU {:.1} us",
            self.rate(),
            self.micros(0.5),
            self.micros(0.99),
            self.cpu_micros()
        )
    }
}

/// The rows of calls.
pub(crate) async fn rows(dir: &Path) -> Result<Vec<Line>, String> {
    let server = Server::create(&dir.join("calls"))?;
    let side = Side {
        address: server.address(),
        process: server.id(),
    };
    let mut lines = Vec::new();
    let load_at_length = Call::new("/springwright.v1.SpringService/LoadAtLength", &load_request());
    let get_spring = on_rack(side.address).await?;
    for (name, call) in [("LoadAtLength", load_at_length), ("GetSpring", get_spring)] {
        for in_flight in [1, 64] {
            let (mut ours, mut echo, sizes) = compare(side, &call, in_flight).await?;
            let ratio = percent(ours.rate(), echo.rate());
            lines.push(
                Line::new("calls", format!("{name}, {in_flight} in flight, {sizes}"))
                    .measured(ours.words())
                    .against(format!("echo {}", echo.words()))
                    .ratio(ratio, ">= 80 %"),
            );
        }
    }
    let reduce = Call::new("/springwright.v1.SpringService/ReduceRun", &reduce_request()?);
    let (mut ours, mut echo, sizes) = compare(side, &reduce, 1).await?;
    lines.push(
        Line::new("calls", format!("ReduceRun of {REDUCED} samples, {sizes}"))
            .measured(ours.words())
            .against(format!("echo {}", echo.words()))
            .ratio(format!("{:.0} us CPU more", ours.cpu_micros() - echo.cpu_micros()), ""),
    );
    Ok(lines)
}

async fn compare(ours: Side, call: &Call, in_flight: usize) -> Result<(Seen, Seen, String), String> {
    let reply = Client::connect(ours.address).await?.call(call).await?.len();
    let server = EchoServer::start(reply)?;
    let bare = Side {
        address: server.address,
        process: server.id(),
    };
    let bare_call = Call {
        path: PathAndQuery::from_static("/bench.Echo/Answer"),
        request: Bytes::from(vec![b'x'; call.request.len()]),
    };
    let sizes = format!("{} and {reply} bytes", call.request.len());
    note(&format!("calls: {}, {in_flight} in flight", call.path));
    let (mut left, mut right) = (Seen::default(), Seen::default());
    for _ in 0..ROUNDS {
        round(bare, &bare_call, in_flight, &mut right).await?;
        round(ours, call, in_flight, &mut left).await?;
    }
    left.nanos.sort_unstable();
    right.nanos.sort_unstable();
    Ok((left, right, sizes))
}

async fn round(side: Side, call: &Call, in_flight: usize, seen: &mut Seen) -> Result<(), String> {
    let mut clients = Vec::new();
    for _ in 0..CONNECTIONS.min(in_flight) {
        clients.push(Client::connect(side.address).await?);
    }
    let begin = Instant::now() + WARM_UP;
    let end = begin + ROUND;
    let callers: Vec<_> = clients
        .iter()
        .cycle()
        .take(in_flight)
        .map(|client| tokio::spawn(keep_calling(client.clone(), call.clone(), begin, end)))
        .collect();
    tokio::time::sleep_until(begin.into()).await;
    let before = cpu_time(side.process)?;
    tokio::time::sleep_until(end.into()).await;
    let used = cpu_time(side.process)?.saturating_sub(before);
    let mut count = 0;
    for caller in callers {
        let nanos = caller.await.map_err(|error| error.to_string())??;
        count += nanos.len();
        seen.nanos.extend(nanos);
    }
    seen.rates.push(count as f64 / ROUND.as_secs_f64());
    seen.cpu += used;
    Ok(())
}

/// Calls one after the other; how long each took that ended within the time.
async fn keep_calling(mut client: Client, call: Call, begin: Instant, end: Instant) -> Result<Vec<u64>, String> {
    let mut nanos = Vec::new();
    loop {
        let started = Instant::now();
        client.call(&call).await?;
        let ended = Instant::now();
        if ended >= end {
            return Ok(nanos);
        }
        if ended >= begin {
            nanos.push(u64::try_from((ended - started).as_nanos()).unwrap_or(u64::MAX));
        }
    }
}

pub(crate) fn load_request() -> v1::LoadAtLengthRequest {
    let values = v1::SpringValues {
        rate: Some(stiffness(9.5)),
        rate_standard_uncertainty: Some(stiffness(0.02)),
        free_length: Some(millimetres(230.0)),
        free_length_standard_uncertainty: Some(millimetres(0.2)),
        solid_length: Some(millimetres(120.0)),
    };
    v1::LoadAtLengthRequest {
        source: Some(v1::load_at_length_request::Source::Values(values)),
        length: Some(millimetres(180.0)),
        ..Default::default()
    }
}

fn millimetres(value: f64) -> v1::Length {
    v1::Length {
        value: Some(value),
        unit: v1::length::Unit::Millimeter.into(),
    }
}

fn stiffness(value: f64) -> v1::Stiffness {
    v1::Stiffness {
        value: Some(value),
        unit: v1::stiffness::Unit::NewtonPerMillimeter.into(),
    }
}

/// Puts a spring on the rack, and the call that gets it.
async fn on_rack(address: SocketAddr) -> Result<Call, String> {
    let spring = v1::Spring {
        label: "fork spring 9.5, left".to_owned(),
        marked_rate: Some(stiffness(9.5)),
        marking_text: "9.5 N/mm".to_owned(),
        free_length: Some(millimetres(230.0)),
        solid_length: Some(millimetres(120.0)),
        wire_diameter: Some(millimetres(5.2)),
        rack_place: "shelf 3, box 12".to_owned(),
        ..Default::default()
    };
    let create = v1::CreateSpringRequest {
        spring: Some(spring),
        spring_id: "bench-spring".to_owned(),
        request_id: "9a1f0d3e-52cb-4c1c-8f6e-0d8e9a3c7b11".to_owned(),
    };
    let create = Call::new("/springwright.v1.RackService/CreateSpring", &create);
    Client::connect(address).await?.call(&create).await?;
    let get = v1::GetSpringRequest {
        name: "springs/bench-spring".to_owned(),
    };
    Ok(Call::new("/springwright.v1.RackService/GetSpring", &get))
}

fn reduce_request() -> Result<v1::ReduceRunRequest, String> {
    let test = samples::test(REDUCED, 1)?;
    let request = v1::ReduceRunRequest {
        source: Some(v1::reduce_run_request::Source::Samples(v1::Samples {
            deflection_unit: v1::length::Unit::Millimeter.into(),
            deflections: test.deflections,
            load_unit: v1::force::Unit::Newton.into(),
            loads: test.loads,
            ..Default::default()
        })),
        ..Default::default()
    };
    note(&format!("calls: a test of {} bytes to reduce", request.encoded_len()));
    Ok(request)
}
