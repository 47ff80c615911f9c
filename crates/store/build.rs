//! Compiles the messages that lie on disk, with a compiler written in Rust: no protoc is needed.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = "../../proto";
    println!("cargo:rerun-if-changed={root}/springwright/store/v1");
    let files = ["quantity", "record", "run", "spring", "tester", "book", "drawer"]
        .map(|name| format!("springwright/store/v1/{name}.proto"));
    prost_build::Config::new().compile_fds(protox::compile(files, [root])?)?;
    Ok(())
}
