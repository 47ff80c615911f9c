//! What stands beside the API: health, reflection, and the answer where nothing is served.

use std::io;

use axum::body::Body;
use http::{Request, Response};
use tonic::service::Routes;
use tonic_health::ServingStatus;
use tonic_health::pb::health_server::HealthServer;
use tonic_health::server::HealthReporter;
use tonic_reflection::server::{Builder, Error as ReflectionError};

use super::catalogue::Catalogue;
use super::dialect::Dialect;

/// Says whether the server as a whole (the empty name) and each service of the API are serving.
#[derive(Clone)]
pub struct Health {
    reporter: HealthReporter,
    services: Vec<String>,
}

/// The health service, reporting SERVING, and what changes its reports.
///
/// # Errors
/// The descriptors cannot be read; they are part of the program.
pub async fn health() -> io::Result<(Health, HealthServer<impl tonic_health::pb::health_server::Health>)> {
    let (reporter, service) = tonic_health::server::health_reporter();
    let mut services = Catalogue::read()?.services;
    services.push(String::new());
    let health = Health { reporter, services };
    health.set(true).await;
    Ok((health, service))
}

impl Health {
    /// All of it serves or does not. Say that it does not before cancelling the shutdown token: watchers see it, and
    /// then their streams end.
    pub async fn set(&self, serving: bool) {
        for service in &self.services {
            self.set_service(service, serving).await;
        }
    }

    /// One service, by its full name, serves or does not; the empty name stands for the server as a whole.
    pub async fn set_service(&self, service: &str, serving: bool) {
        let status = if serving {
            ServingStatus::Serving
        } else {
            ServingStatus::NotServing
        };
        self.reporter.set_service_status(service, status).await;
    }
}

/// Adds reflection, in the version of today and in the one that older command-line clients speak. Health and the
/// types of error details are described too, or clients print them as bytes.
///
/// # Errors
/// The descriptors cannot be read; they are part of the program.
pub fn with_reflection(routes: Routes) -> Result<Routes, ReflectionError> {
    let described = || {
        Builder::configure()
            .register_encoded_file_descriptor_set(wire::DESCRIPTORS)
            .register_encoded_file_descriptor_set(tonic_health::pb::FILE_DESCRIPTOR_SET)
            .register_encoded_file_descriptor_set(tonic_types::pb::FILE_DESCRIPTOR_SET)
    };
    Ok(routes
        .add_service(described().build_v1()?)
        .add_service(described().build_v1alpha()?))
}

/// gRPC and the page as one router. Where neither serves, gRPC clients get UNIMPLEMENTED and others 404.
pub fn assemble(grpc: Routes, page: axum::Router) -> axum::Router {
    grpc.into_axum_router()
        .reset_fallback()
        .merge(page.reset_fallback())
        .fallback(unknown)
}

async fn unknown(request: Request<Body>) -> Response<Body> {
    Dialect::of(&request).unknown(request.uri().path())
}
