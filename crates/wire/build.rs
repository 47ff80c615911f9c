//! Compiles the API with a compiler written in Rust: no protoc is needed.

use std::path::PathBuf;

use prost::Message;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = "../../proto";
    println!("cargo:rerun-if-changed={root}/springwright/v1");
    let files = [
        "quantity",
        "records",
        "springs",
        "testers",
        "valving",
        "book",
        "drawer",
        "forecast",
        "job_sheet",
        "setup",
    ]
    .map(|name| format!("springwright/v1/{name}.proto"));
    let descriptors = protox::compile(files, [root])?;
    let out = PathBuf::from(std::env::var("OUT_DIR")?);
    std::fs::write(out.join("commented.binpb"), descriptors.encode_to_vec())?;
    // What is said beside the fields is the larger part, and a server would hold it for as long as it runs.
    let mut plain = descriptors.clone();
    for file in &mut plain.file {
        file.source_code_info = None;
    }
    std::fs::write(out.join("plain.binpb"), plain.encode_to_vec())?;
    tonic_prost_build::configure()
        .bytes(".")
        .boxed(".springwright.v1.RecordRunRequest.step.header")
        .build_client(true)
        .build_server(true)
        .compile_fds(descriptors)?;
    Ok(())
}
