//! Replays the fuzzers' corpora and every crash they ever found, on stable.

#[path = "../fuzz/laws.rs"]
mod laws;

use std::fs;
use std::path::Path;

fn replay(target: &str, law: fn(&[u8])) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz/corpus").join(target);
    let mut files = 0;
    for entry in fs::read_dir(&folder).expect("the corpus is committed") {
        let path = entry.expect("readable").path();
        println!("{}", path.display());
        law(&fs::read(&path).expect("readable"));
        files += 1;
    }
    assert!(files >= 5, "{target}: {files} files");
}

#[test]
fn prescriptions() {
    replay("prescription", laws::prescription);
}

#[test]
fn prisms() {
    replay("prism", laws::prism);
}

#[test]
fn fits() {
    replay("fit", laws::fit);
}

#[test]
fn differential() {
    replay("differential", laws::differential);
}

#[test]
fn assignments() {
    replay("assign", laws::assign);
}

#[test]
fn rows() {
    replay("rows", laws::rows);
}

#[test]
fn contours() {
    replay("contour", laws::contour);
}
