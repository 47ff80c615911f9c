//! RunService: the unary calls; the streams are in [`crate::bench::recording`] and [`crate::bench::watching`].

use std::pin::Pin;
use std::sync::Arc;

use futures_util::{Stream, TryStreamExt as _};
use tonic::{Request, Response, Status, Streaming};
use wire::v1;
use wire::v1::run_service_server::RunService;

use super::Door;
use crate::bench::{Bench, reading, recording, watching};

type Replies<T> = Pin<Box<dyn Stream<Item = Result<T, Status>> + Send>>;

#[tonic::async_trait]
impl RunService for Door {
    type RecordRunStream = Replies<v1::RecordRunResponse>;
    type ReadRunSamplesStream = Replies<v1::ReadRunSamplesResponse>;
    type WatchBenchStream = Replies<v1::WatchBenchResponse>;

    async fn record_run(
        &self,
        request: Request<Streaming<v1::RecordRunRequest>>,
    ) -> Result<Response<Self::RecordRunStream>, Status> {
        let replies = recording::start(Arc::clone(self.bench()), request.into_inner())?;
        Ok(Response::new(Box::pin(replies)))
    }

    async fn get_run(&self, request: Request<v1::GetRunRequest>) -> Result<Response<v1::Run>, Status> {
        self.blocking(request, Bench::get_run).await
    }

    async fn list_runs(&self, request: Request<v1::ListRunsRequest>) -> Result<Response<v1::ListRunsResponse>, Status> {
        self.blocking(request, Bench::list_runs).await
    }

    async fn update_run(&self, request: Request<v1::UpdateRunRequest>) -> Result<Response<v1::Run>, Status> {
        self.blocking(request, Bench::update_run).await
    }

    async fn delete_run(&self, request: Request<v1::DeleteRunRequest>) -> Result<Response<v1::Run>, Status> {
        self.blocking(request, Bench::delete_run).await
    }

    async fn undelete_run(&self, request: Request<v1::UndeleteRunRequest>) -> Result<Response<v1::Run>, Status> {
        self.blocking(request, Bench::undelete_run).await
    }

    async fn finish_run(&self, request: Request<v1::FinishRunRequest>) -> Result<Response<v1::Run>, Status> {
        self.blocking(request, Bench::finish_run).await
    }

    async fn discard_run(&self, request: Request<v1::DiscardRunRequest>) -> Result<Response<v1::Run>, Status> {
        self.blocking(request, Bench::discard_run).await
    }

    async fn instruct_run(
        &self,
        request: Request<v1::InstructRunRequest>,
    ) -> Result<Response<v1::InstructRunResponse>, Status> {
        self.blocking(request, Bench::instruct_run).await
    }

    async fn read_run_samples(
        &self,
        request: Request<v1::ReadRunSamplesRequest>,
    ) -> Result<Response<Self::ReadRunSamplesStream>, Status> {
        let samples = reading::start(Arc::clone(self.bench()), request.into_inner())?;
        Ok(Response::new(Box::pin(samples)))
    }

    async fn watch_bench(
        &self,
        request: Request<v1::WatchBenchRequest>,
    ) -> Result<Response<Self::WatchBenchStream>, Status> {
        let pictures = watching::start(Arc::clone(self.bench()), request.into_inner())?;
        Ok(Response::new(Box::pin(pictures.map_err(Status::from))))
    }
}
