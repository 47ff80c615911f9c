//! The verbs against a server of the test's own, which answers what a real one answers rarely: every kind of stream,
//! every detail of a refusal.

#![allow(
    clippy::unwrap_used,
    clippy::panic,
    reason = "a test that cannot go on fails where it stands"
)]

use std::collections::HashMap;
use std::net::SocketAddr;
use std::pin::Pin;
use std::process::{Command, Output, Stdio};
use std::time::Duration;

use tokio_stream::{Stream, StreamExt as _};
use tonic::{Code, Request, Response, Status, Streaming};
use tonic_types::{ErrorDetails, StatusExt as _};
use wire::v1::drawer_service_server::{DrawerService, DrawerServiceServer};
use wire::v1::rack_service_server::{RackService, RackServiceServer};
use wire::v1::run_service_server::{RunService, RunServiceServer};
use wire::v1::spring_service_server::{SpringService, SpringServiceServer};
use wire::v1::*;

/// Answers.
struct Fake;

type Reply<T> = Result<Response<T>, Status>;
type ReplyStream<T> = Pin<Box<dyn Stream<Item = Result<T, Status>> + Send>>;

fn unused<T>() -> Reply<T> {
    Err(Status::unimplemented("not part of these tests"))
}

#[tonic::async_trait]
impl DrawerService for Fake {
    async fn create_shim_lot(&self, _: Request<CreateShimLotRequest>) -> Reply<ShimLot> {
        unused()
    }

    async fn get_shim_lot(&self, _: Request<GetShimLotRequest>) -> Reply<ShimLot> {
        unused()
    }

    async fn list_shim_lots(&self, _: Request<ListShimLotsRequest>) -> Reply<ListShimLotsResponse> {
        unused()
    }

    async fn update_shim_lot(&self, _: Request<UpdateShimLotRequest>) -> Reply<ShimLot> {
        unused()
    }

    async fn delete_shim_lot(&self, _: Request<DeleteShimLotRequest>) -> Reply<ShimLot> {
        unused()
    }

    async fn undelete_shim_lot(&self, _: Request<UndeleteShimLotRequest>) -> Reply<ShimLot> {
        unused()
    }

    async fn list_shim_lot_revisions(
        &self,
        _: Request<ListShimLotRevisionsRequest>,
    ) -> Reply<ListShimLotRevisionsResponse> {
        unused()
    }

    async fn adjust_shim_count(&self, _: Request<AdjustShimCountRequest>) -> Reply<ShimLot> {
        unused()
    }

    async fn create_stack(&self, _: Request<CreateStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn get_stack(&self, _: Request<GetStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn list_stacks(&self, _: Request<ListStacksRequest>) -> Reply<ListStacksResponse> {
        unused()
    }

    async fn update_stack(&self, _: Request<UpdateStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn delete_stack(&self, _: Request<DeleteStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn undelete_stack(&self, _: Request<UndeleteStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn list_stack_revisions(&self, _: Request<ListStackRevisionsRequest>) -> Reply<ListStackRevisionsResponse> {
        unused()
    }

    async fn build_stack(&self, _: Request<BuildStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn unbuild_stack(&self, _: Request<UnbuildStackRequest>) -> Reply<Stack> {
        unused()
    }

    async fn create_damper(&self, _: Request<CreateDamperRequest>) -> Reply<Damper> {
        unused()
    }

    async fn get_damper(&self, _: Request<GetDamperRequest>) -> Reply<Damper> {
        unused()
    }

    async fn list_dampers(&self, _: Request<ListDampersRequest>) -> Reply<ListDampersResponse> {
        unused()
    }

    async fn update_damper(&self, _: Request<UpdateDamperRequest>) -> Reply<Damper> {
        unused()
    }

    async fn delete_damper(&self, _: Request<DeleteDamperRequest>) -> Reply<Damper> {
        unused()
    }

    async fn undelete_damper(&self, _: Request<UndeleteDamperRequest>) -> Reply<Damper> {
        unused()
    }

    async fn list_damper_revisions(
        &self,
        _: Request<ListDamperRevisionsRequest>,
    ) -> Reply<ListDamperRevisionsResponse> {
        unused()
    }
}

#[tonic::async_trait]
impl RackService for Fake {
    async fn create_spring(&self, request: Request<CreateSpringRequest>) -> Reply<Spring> {
        let request = request.into_inner();
        let spring = request.spring.unwrap_or_default();
        Ok(Response::new(Spring {
            notes: request.request_id,
            name: format!("springs/{}", request.spring_id),
            ..spring
        }))
    }

    async fn get_spring(&self, request: Request<GetSpringRequest>) -> Reply<Spring> {
        let name = request.into_inner().name;
        let mut details = ErrorDetails::new();
        details.set_error_info(
            "NOT_FOUND",
            "springwright",
            HashMap::from([("name".to_owned(), name.clone())]),
        );
        Err(Status::with_error_details(
            Code::NotFound,
            format!("no {name}"),
            details,
        ))
    }

    async fn list_springs(&self, _: Request<ListSpringsRequest>) -> Reply<ListSpringsResponse> {
        let mut details = ErrorDetails::new();
        details.set_error_info("OVERLOADED", "springwright", HashMap::new());
        details.set_retry_info(Some(Duration::from_secs(2)));
        Err(Status::with_error_details(
            Code::ResourceExhausted,
            "too much at once",
            details,
        ))
    }

    async fn update_spring(&self, _: Request<UpdateSpringRequest>) -> Reply<Spring> {
        unused()
    }

    async fn delete_spring(&self, _: Request<DeleteSpringRequest>) -> Reply<Spring> {
        unused()
    }

    async fn undelete_spring(&self, _: Request<UndeleteSpringRequest>) -> Reply<Spring> {
        unused()
    }

    async fn list_spring_revisions(
        &self,
        _: Request<ListSpringRevisionsRequest>,
    ) -> Reply<ListSpringRevisionsResponse> {
        unused()
    }
}

#[tonic::async_trait]
impl SpringService for Fake {
    async fn reduce_run(&self, request: Request<ReduceRunRequest>) -> Reply<ReduceRunResponse> {
        // What was asked comes back as the mark: nothing of the physics is tried here.
        let marking = request.into_inner().marking.unwrap_or_default();
        let verdict = MarkingVerdict {
            decision: marking_verdict::Decision::Refused.into(),
            marked_rate: marking.rate,
            ..MarkingVerdict::default()
        };
        Ok(Response::new(ReduceRunResponse {
            marking_verdict: Some(verdict),
            ..ReduceRunResponse::default()
        }))
    }

    async fn load_at_length(&self, _: Request<LoadAtLengthRequest>) -> Reply<LoadAtLengthResponse> {
        let mut details = ErrorDetails::new();
        details.set_error_info("INVALID_FIELDS", "springwright", HashMap::new());
        details.add_bad_request_violation("length", "length is left out");
        details.add_bad_request_violation("values.rate.unit", "unit is left out");
        Err(Status::with_error_details(
            Code::InvalidArgument,
            "2 fields are at fault",
            details,
        ))
    }

    async fn judge_pair(&self, _: Request<JudgePairRequest>) -> Reply<JudgePairResponse> {
        unused()
    }

    async fn fit_calibration(&self, _: Request<FitCalibrationRequest>) -> Reply<FitCalibrationResponse> {
        unused()
    }

    async fn evaluate_helical(&self, _: Request<EvaluateHelicalRequest>) -> Reply<EvaluateHelicalResponse> {
        unused()
    }

    async fn evaluate_assembly(&self, _: Request<EvaluateAssemblyRequest>) -> Reply<EvaluateAssemblyResponse> {
        unused()
    }

    async fn evaluate_gas_spring(&self, _: Request<EvaluateGasSpringRequest>) -> Reply<EvaluateGasSpringResponse> {
        unused()
    }

    async fn compute_wheel_rate(&self, _: Request<ComputeWheelRateRequest>) -> Reply<ComputeWheelRateResponse> {
        unused()
    }
}

#[tonic::async_trait]
impl RunService for Fake {
    type RecordRunStream = ReplyStream<RecordRunResponse>;
    type ReadRunSamplesStream = ReplyStream<ReadRunSamplesResponse>;
    type WatchBenchStream = ReplyStream<WatchBenchResponse>;

    async fn record_run(&self, request: Request<Streaming<RecordRunRequest>>) -> Reply<Self::RecordRunStream> {
        let replies = request.into_inner().map(|step| {
            let step = match step?.step {
                Some(record_run_request::Step::Header(header)) => record_run_response::Step::Accepted(Accepted {
                    run: header.request_id,
                    ..Accepted::default()
                }),
                Some(record_run_request::Step::Block(block)) => record_run_response::Step::Progress(Progress {
                    durable_through: block.number,
                    reading: None,
                }),
                _ => record_run_response::Step::Finished(Run {
                    name: "runs/r".to_owned(),
                    ..Run::default()
                }),
            };
            Ok(RecordRunResponse { step: Some(step) })
        });
        Ok(Response::new(Box::pin(replies)))
    }

    async fn read_run_samples(&self, request: Request<ReadRunSamplesRequest>) -> Reply<Self::ReadRunSamplesStream> {
        let from = request.into_inner().from_block;
        let block = |number| Block {
            number,
            columns: vec![ValueColumn { values: vec![0.1, 0.2] }],
            ..Block::default()
        };
        let blocks = (from..from + 3).map(move |number| {
            Ok(ReadRunSamplesResponse {
                block: Some(block(number)),
                ..ReadRunSamplesResponse::default()
            })
        });
        Ok(Response::new(Box::pin(tokio_stream::iter(blocks))))
    }

    async fn watch_bench(&self, _: Request<WatchBenchRequest>) -> Reply<Self::WatchBenchStream> {
        let endless = std::iter::repeat_with(|| {
            Ok(WatchBenchResponse {
                heartbeat: true,
                ..WatchBenchResponse::default()
            })
        });
        Ok(Response::new(Box::pin(tokio_stream::iter(endless))))
    }

    async fn get_run(&self, _: Request<GetRunRequest>) -> Reply<Run> {
        unused()
    }

    async fn list_runs(&self, _: Request<ListRunsRequest>) -> Reply<ListRunsResponse> {
        unused()
    }

    async fn update_run(&self, _: Request<UpdateRunRequest>) -> Reply<Run> {
        unused()
    }

    async fn delete_run(&self, _: Request<DeleteRunRequest>) -> Reply<Run> {
        unused()
    }

    async fn undelete_run(&self, _: Request<UndeleteRunRequest>) -> Reply<Run> {
        unused()
    }

    async fn finish_run(&self, _: Request<FinishRunRequest>) -> Reply<Run> {
        unused()
    }

    async fn instruct_run(&self, _: Request<InstructRunRequest>) -> Reply<InstructRunResponse> {
        unused()
    }

    async fn discard_run(&self, _: Request<DiscardRunRequest>) -> Reply<Run> {
        unused()
    }
}

/// Serves until the test ends.
async fn serve() -> SocketAddr {
    let listener = tokio::net::TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap();
    let incoming = tokio_stream::wrappers::TcpListenerStream::new(listener);
    let server = tonic::transport::Server::builder()
        .add_service(DrawerServiceServer::new(Fake))
        .add_service(RackServiceServer::new(Fake))
        .add_service(SpringServiceServer::new(Fake))
        .add_service(RunServiceServer::new(Fake))
        .serve_with_incoming(incoming);
    tokio::spawn(server);
    address
}

async fn run(server: SocketAddr, arguments: &[&str], input: &'static str) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_springwright"));
    command.args(arguments).args(["--server", &server.to_string()]);
    command
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped());
    let child = move || {
        let mut child = command.spawn().unwrap();
        std::io::Write::write_all(&mut child.stdin.take().unwrap(), input.as_bytes()).unwrap();
        child.wait_with_output().unwrap()
    };
    tokio::task::spawn_blocking(child).await.unwrap()
}

fn told(output: &Output) -> (Option<i32>, String, String) {
    let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
    (output.status.code(), text(&output.stdout), text(&output.stderr))
}

#[tokio::test(flavor = "multi_thread")]
async fn a_mutation_gets_a_request_id_that_is_said_and_one_that_was_given_is_kept() {
    let server = serve().await;
    let arguments = [
        "rack",
        "create-spring",
        "--spring-id",
        "a7",
        "--marked-rate",
        "9.5 N/mm",
        "--json",
    ];
    let (code, out, err) = told(&run(server, &arguments, "").await);
    let reply: serde_json::Value = serde_json::from_str(&out).unwrap();
    let id = reply["notes"].as_str().unwrap();
    assert!(uuid::Uuid::parse_str(id).is_ok() && err.contains(id), "{out}{err}");
    assert_eq!((code, reply["markedRate"]["value"].as_f64()), (Some(0), Some(9.5)));

    let given = r#"{"springId": "b", "requestId": "r-1", "spring": {"label": "from JSON", "rackPlace": "top"}}"#;
    let arguments = [
        "rack",
        "create-spring",
        "--request",
        "-",
        "--label",
        "from flag",
        "--json",
    ];
    let (_, out, err) = told(&run(server, &arguments, given).await);
    assert_eq!(
        out,
        "{\"name\":\"springs/b\",\"label\":\"from flag\",\"rackPlace\":\"top\",\"notes\":\"r-1\"}\n"
    );
    assert_eq!(err, "");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_record_that_is_not_there_is_a_no_and_a_refusal_an_error_with_its_details() {
    let server = serve().await;
    let (code, out, err) = told(&run(server, &["rack", "get-spring", "--name", "springs/a7"], "").await);
    assert_eq!((code, out.as_str()), (Some(1), ""));
    assert_eq!(err, "NOT_FOUND: no springs/a7\n  name = springs/a7\n");

    let (code, _, err) = told(&run(server, &["call", "RackService/ListSprings"], "").await);
    assert_eq!(code, Some(2));
    assert_eq!(
        err,
        "error: RESOURCE_EXHAUSTED OVERLOADED: too much at once\n  come back in 2 s\n"
    );

    let (code, _, err) = told(&run(server, &["spring", "load-at-length", "--rate", "1 N/mm"], "").await);
    assert_eq!(code, Some(2));
    assert!(
        err.ends_with("\n  length: length is left out\n  values.rate.unit: unit is left out\n"),
        "{err}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_refused_part_is_a_no_with_its_reply_on_stdout() {
    let server = serve().await;
    let arguments = [
        "spring",
        "reduce-run",
        "--measured-rate",
        "9.1 N/mm",
        "--marking",
        "9.5 N/mm",
    ];
    let (code, out, _) = told(&run(server, &arguments, "").await);
    assert_eq!(code, Some(1));
    assert!(out.contains("marked 9.50 N/mm") && out.contains("REFUSED"), "{out}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stream_of_replies_is_one_document_a_line() {
    let server = serve().await;
    let arguments = [
        "run",
        "read-run-samples",
        "--name",
        "runs/r",
        "--from-block",
        "7",
        "--json",
    ];
    let (code, out, _) = told(&run(server, &arguments, "").await);
    let numbers: Vec<_> = out
        .lines()
        .map(|line| {
            serde_json::from_str::<serde_json::Value>(line).unwrap()["block"]["number"]
                .as_str()
                .unwrap()
                .to_owned()
        })
        .collect();
    assert_eq!(
        (code, numbers),
        (Some(0), vec!["7".to_owned(), "8".to_owned(), "9".to_owned()])
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stream_of_requests_is_a_row_of_documents() {
    let server = serve().await;
    let steps = r#"{"header": {"requestId": "r-1"}} {"block": {"number": "1"}}
        {"finish": {}}"#;
    let (code, out, err) = told(
        &run(
            server,
            &["call", "RunService/RecordRun", "--request", "-", "--json"],
            steps,
        )
        .await,
    );
    assert_eq!(
        (code, out.as_str()),
        (
            Some(0),
            "{\"accepted\":{\"run\":\"r-1\"}}\n{\"progress\":{\"durableThrough\":\"1\"}}\n{\"finished\":{\"name\":\"runs/r\"}}\n"
        ),
        "{err}"
    );
    let broken = r#"{"header": {"requestId": "r-1"}}
        {"block": {"number": "one"}}"#;
    let (code, _, err) = told(
        &run(
            server,
            &["call", "RunService/RecordRun", "--request", "-", "--json"],
            broken,
        )
        .await,
    );
    assert!(
        code == Some(2) && err.contains("line 2") && err.contains("block.number"),
        "{err}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn an_endless_stream_ends_quietly_with_its_reader() {
    let server = serve().await;
    let mut command = Command::new(env!("CARGO_BIN_EXE_springwright"));
    command.args(["run", "watch-bench", "--json", "--server", &server.to_string()]);
    let mut child = command.stdout(Stdio::piped()).stderr(Stdio::piped()).spawn().unwrap();
    let ended = tokio::task::spawn_blocking(move || {
        let mut first = [0; 20];
        std::io::Read::read_exact(&mut child.stdout.take().unwrap(), &mut first).unwrap();
        assert_eq!(&first, b"{\"heartbeat\":true}\n{");
        child.wait_with_output().unwrap()
    });
    assert_eq!(told(&ended.await.unwrap()), (Some(0), String::new(), String::new()));
}
