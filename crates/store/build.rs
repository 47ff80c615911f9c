//! Compiles the messages that lie on disk, with a compiler written in Rust: no protoc is needed.

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let root = "../../proto";
    println!("cargo:rerun-if-changed={root}/springwright/store/v1");
    let files =
<<<<<<< HEAD
        ["quantity", "record", "run", "spring", "tester"].map(|name| format!("springwright/store/v1/{name}.proto"));
=======
        ["quantity", "record", "run", "spring", "book"].map(|name| format!("springwright/store/v1/{name}.proto"));
>>>>>>> part-book
    prost_build::Config::new().compile_fds(protox::compile(files, [root])?)?;
    Ok(())
}
