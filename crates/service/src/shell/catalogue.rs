//! What the descriptors say about the methods that are served.

use std::collections::HashSet;
use std::io;

use prost::Message as _;
use prost_types::FileDescriptorSet;

/// Where the health service's methods are.
pub(super) const HEALTH: &str = "/grpc.health.v1.Health/";

/// Streams of the services that stand beside the API's own. Those of reflection stream in, too.
const HEALTH_WATCH: &str = "/grpc.health.v1.Health/Watch";
const REFLECTIONS: [&str; 2] = [
    "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo",
    "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo",
];

/// The services and the methods that stream.
pub(super) struct Catalogue {
    /// Full names of the API's services.
    pub(super) services: Vec<String>,
    streams: HashSet<String>,
    /// Those of them that stream in.
    taking: HashSet<String>,
}

impl Catalogue {
    /// From the API's descriptors.
    pub(super) fn read() -> io::Result<Self> {
        let files = FileDescriptorSet::decode(wire::DESCRIPTORS)?;
        let mut services = Vec::new();
        let (mut streams, mut taking) = (HashSet::new(), HashSet::new());
        for file in &files.file {
            for service in &file.service {
                let name = format!("{}.{}", file.package(), service.name());
                for method in &service.method {
                    let path = format!("/{name}/{}", method.name());
                    if method.client_streaming() {
                        taking.insert(path.clone());
                    }
                    if method.client_streaming() || method.server_streaming() {
                        streams.insert(path);
                    }
                }
                services.push(name);
            }
        }
        Ok(Self {
            services,
            streams,
            taking,
        })
    }

    /// Whether the method at this path streams in or out.
    pub(super) fn streams(&self, path: &str) -> bool {
        self.streams.contains(path) || self.is_foreign(path)
    }

    /// Whether the stream at this path belongs to a service that knows nothing of the shutdown.
    pub(super) fn is_foreign(&self, path: &str) -> bool {
        path == HEALTH_WATCH || REFLECTIONS.contains(&path)
    }

    /// Whether the method at this path takes a stream: its requests may go on coming for as long as it lives.
    pub(super) fn takes_stream(&self, path: &str) -> bool {
        self.taking.contains(path) || REFLECTIONS.contains(&path)
    }
}
