//! The same bits on every machine: checksums of long streams of results, compared with a committed file.
//!
//! `tests/embedded/run digest` compares the same streams on Cortex-M0, M3, M4F and M33 with the same file. When results
//! change on purpose, `tests/embedded/run digest --bless` rewrites it, and the CHANGELOG says what changed and why.

#[path = "embedded/src/streams/mod.rs"]
mod streams;

use std::{fmt::Write, fs, path::Path};

use streams::Digest;

fn committed_file() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/embedded/digests.txt")
}

fn results() -> String {
    streams::all().fold(String::new(), |mut text, stream| {
        writeln!(text, "{} {:08x}", stream.name, stream.digest().crc()).expect("a String takes everything");
        text
    })
}

/// The check value of CRC-32/ISO-HDLC in the CRC RevEng catalogue (https://reveng.sourceforge.io/crc-catalogue).
#[test]
fn the_checksum_is_the_published_one() {
    let mut digest = Digest::new();
    digest.bytes(b"123456789");
    assert_eq!(digest.crc(), 0xCBF4_3926);
}

#[test]
fn every_stream_is_long() {
    for stream in streams::all() {
        let results = stream.digest().results();
        assert!(results >= 10_000, "{} has {results} results", stream.name);
    }
}

#[test]
fn results_are_the_committed_ones() {
    let file = committed_file();
    if std::env::var_os("DIOPTRIC_BLESS").is_some() {
        fs::write(&file, results()).expect("the file is writable");
    }
    let committed = fs::read_to_string(&file).expect("digests.txt is committed");
    for (committed, result) in committed.lines().zip(results().lines()) {
        assert_eq!(committed, result, "the results changed; if on purpose: tests/embedded/run digest --bless");
    }
    assert_eq!(committed.lines().count(), streams::all().count());
}
