//! What the descriptors say about the methods that are served.

use std::collections::HashSet;
use std::io;

use prost::Message as _;
use prost_types::FileDescriptorSet;

/// Where the health service's methods are.
pub(super) const HEALTH: &str = "/grpc.health.v1.Health/";

/// Streams of the services that stand beside the API's own.
const FOREIGN_STREAMS: [&str; 3] = [
    "/grpc.health.v1.Health/Watch",
    "/grpc.reflection.v1.ServerReflection/ServerReflectionInfo",
    "/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo",
];

/// The services and the methods that stream.
pub(super) struct Catalogue {
    /// Full names of the API's services.
    pub(super) services: Vec<String>,
    streams: HashSet<String>,
}

impl Catalogue {
    /// From the API's descriptors.
    pub(super) fn read() -> io::Result<Self> {
        let files = FileDescriptorSet::decode(wire::DESCRIPTORS)?;
        let mut services = Vec::new();
        let mut streams = HashSet::new();
        for file in &files.file {
            for service in &file.service {
                let name = format!("{}.{}", file.package(), service.name());
                let streaming = service
                    .method
                    .iter()
                    .filter(|one| one.client_streaming() || one.server_streaming());
                streams.extend(streaming.map(|method| format!("/{name}/{}", method.name())));
                services.push(name);
            }
        }
        Ok(Self { services, streams })
    }

    /// Whether the method at this path streams in or out.
    pub(super) fn streams(&self, path: &str) -> bool {
        self.streams.contains(path) || self.is_foreign(path)
    }

    /// Whether the stream at this path belongs to a service that knows nothing of the shutdown.
    pub(super) fn is_foreign(&self, path: &str) -> bool {
        FOREIGN_STREAMS.contains(&path)
    }
}
