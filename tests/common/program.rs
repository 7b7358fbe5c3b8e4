//! The examples as a user meets them: processes with arguments, files, output and an exit status.
#![allow(dead_code, reason = "each test that includes this module uses its part")]

use std::collections::HashMap;
use std::ffi::OsStr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::{Mutex, OnceLock};

/// The program of an example, built with the profile of this test: `cargo test --test name` alone does not build it.
pub fn program(name: &'static str) -> PathBuf {
    static PROGRAMS: OnceLock<Mutex<HashMap<&str, PathBuf>>> = OnceLock::new();
    let mut programs = PROGRAMS.get_or_init(Mutex::default).lock().expect("no build has panicked");
    programs.entry(name).or_insert_with(|| build(name)).clone()
}

fn build(name: &str) -> PathBuf {
    let test = std::env::current_exe().expect("this test has a path");
    // <target directory>[/<triple>]/<profile>/deps/<test>-<hash>
    let directory = test.parent().and_then(Path::parent).expect("deps lies in the profile's directory");
    let program = directory.join("examples").join(format!("{name}{}", std::env::consts::EXE_SUFFIX));
    let profile = match directory.file_name().and_then(OsStr::to_str) {
        Some("debug") | None => "test",
        Some(name) => name,
    };
    let target = Path::new(env!("CARGO_TARGET_TMPDIR")).parent().expect("tmp lies in the target directory");
    let cargo = std::env::var_os("CARGO").unwrap_or_else(|| "cargo".into());
    let mut build = Command::new(cargo);
    build.args(["build", "--quiet", "--example", name, "--profile", profile, "--target-dir"]).arg(target);
    if target != directory.parent().expect("the profile lies in the target directory") {
        let triple = directory.parent().and_then(Path::file_name).expect("the triple lies between");
        build.arg("--target").arg(triple);
    }
    match build.current_dir(env!("CARGO_MANIFEST_DIR")).status() {
        Ok(status) => assert!(status.success(), "the example does not build"),
        // Run by hand, where there is no cargo: what was built last.
        Err(_) => assert!(program.exists(), "the example is not built: cargo build --example {name}"),
    }
    program
}

/// Runs an example from the package's directory.
pub fn run<A: AsRef<OsStr>>(name: &'static str, arguments: impl IntoIterator<Item = A>) -> Output {
    let mut command = Command::new(program(name));
    command.args(arguments).current_dir(env!("CARGO_MANIFEST_DIR")).output().expect("the example runs")
}

/// Writes a file of its own for a test.
pub fn file(name: &str, content: impl AsRef<[u8]>) -> String {
    let directory = Path::new(env!("CARGO_TARGET_TMPDIR")).join("inspect");
    std::fs::create_dir_all(&directory).expect("the directory for temporary files");
    let path = directory.join(name);
    std::fs::write(&path, content).expect("a temporary file");
    path.to_str().expect("a path in UTF-8").into()
}
