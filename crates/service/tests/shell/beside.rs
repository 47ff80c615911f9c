//! What stands beside the API.

use prost::Message as _;
use prost_types::FileDescriptorProto;
use service::shell::Settings;
use tonic_reflection::pb::{v1, v1alpha};

use crate::server::{Server, start};

const WANTED: [&str; 2] = ["springwright.v1.RunService", "grpc.health.v1.Health"];

fn assert_described(files: &[Vec<u8>], message: &str) {
    let described = files.iter().any(|bytes| {
        let file = FileDescriptorProto::decode(&bytes[..]).unwrap();
        file.message_type.iter().any(|one| one.name() == message)
    });
    assert!(described, "{message} is not described");
}

macro_rules! asks_reflection {
    ($name:ident, $version:ident) => {
        async fn $name(
            server: &Server,
            question: $version::server_reflection_request::MessageRequest,
        ) -> $version::server_reflection_response::MessageResponse {
            let mut client = $version::server_reflection_client::ServerReflectionClient::new(server.channel().await);
            let request = $version::ServerReflectionRequest {
                host: String::new(),
                message_request: Some(question),
            };
            let stream = client
                .server_reflection_info(futures_util::stream::iter([request]))
                .await;
            stream
                .unwrap()
                .into_inner()
                .message()
                .await
                .unwrap()
                .unwrap()
                .message_response
                .unwrap()
        }
    };
}

asks_reflection!(ask_v1, v1);
asks_reflection!(ask_v1alpha, v1alpha);

#[tokio::test]
async fn reflection_describes_services_and_error_details() {
    use v1::server_reflection_request::MessageRequest as Q;
    use v1::server_reflection_response::MessageResponse as A;
    let server = start(Settings::default()).await;
    let A::ListServicesResponse(list) = ask_v1(&server, Q::ListServices(String::new())).await else {
        panic!("no list");
    };
    let names: Vec<_> = list.service.iter().map(|one| one.name.as_str()).collect();
    assert!(WANTED.iter().all(|wanted| names.contains(wanted)), "{names:?}");
    let symbol = Q::FileContainingSymbol("google.rpc.BadRequest".to_owned());
    let A::FileDescriptorResponse(files) = ask_v1(&server, symbol).await else {
        panic!("google.rpc is not described");
    };
    assert_described(&files.file_descriptor_proto, "BadRequest");
}

#[tokio::test]
async fn older_clients_get_the_same_reflection() {
    use v1alpha::server_reflection_request::MessageRequest as Q;
    use v1alpha::server_reflection_response::MessageResponse as A;
    let server = start(Settings::default()).await;
    let A::ListServicesResponse(list) = ask_v1alpha(&server, Q::ListServices(String::new())).await else {
        panic!("no list");
    };
    let names: Vec<_> = list.service.iter().map(|one| one.name.as_str()).collect();
    assert!(WANTED.iter().all(|wanted| names.contains(wanted)), "{names:?}");
}
