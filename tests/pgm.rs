//! The examples' grey images: what is written is read again, and every broken file is named.

#[path = "../examples/render/pgm.rs"]
mod pgm;

mod common;

use pgm::{Fault, Image};
use proptest::prelude::{any, prop, prop_assert_eq, proptest};

#[test]
fn bytes_are_those_of_the_format() {
    let mut out = Vec::new();
    let image = Image { width: 3, full: 255, pixels: vec![0, 1, 2, 253, 254, 255] };
    pgm::write(&image, &mut out).expect("memory");
    assert_eq!(out, b"P5\n3 2\n255\n\x00\x01\x02\xfd\xfe\xff");
    assert_eq!(image.bits(), 8);

    let mut out = Vec::new();
    let image = Image { width: 2, full: 1023, pixels: vec![0, 1023] };
    pgm::write(&image, &mut out).expect("memory");
    assert_eq!(out, b"P5\n2 1\n1023\n\x00\x00\x03\xff");
    assert_eq!((image.bits(), image.height()), (10, 1));
}

#[test]
fn white_space_and_comments_are_as_the_format_allows() {
    let wanted = Image { width: 2, full: 15, pixels: vec![1, 2] };
    let headers = [
        "P5 2 1 15\n",
        "P5\t2\r\n1\x0b15\r",
        "P5#c 9\n2 1 15 ",
        "P5 # one\n#two\n 2 #3\n1 # 4\r15\n",
        "P5\n2\n1#\n15\t",
    ];
    for header in headers {
        let file = [header.as_bytes(), &[1, 2]].concat();
        assert_eq!(pgm::read(&file[..]).expect("an image"), wanted, "{header:?}");
    }
    // One byte of white space ends the header: the next is a pixel, whatever it is.
    let file = [b"P5 2 1 35\n".as_slice(), b"\n#"].concat();
    assert_eq!(pgm::read(&file[..]).expect("an image").pixels, [10, 35]);
}

#[test]
fn broken_files_are_named() {
    let fault = |file: &[u8]| pgm::read(file).expect_err("broken").to_string();
    let cases: &[(&[u8], &str)] = &[
        (b"", "not a PGM file: it does not begin with P5"),
        (b"P6 1 1 255\n\0\0\0", "not a PGM file: it does not begin with P5"),
        (b"\x89PNG\r\n", "not a PGM file: it does not begin with P5"),
        (b"P2 1 1 255\n0\n", "a PGM file of text (P2); the binary form (P5) is needed"),
        (b"P5", "the file ends before its width"),
        (b"P5 # only", "the file ends before its width"),
        (b"P5 3", "the file ends before its height"),
        (b"P5 3 2\n", "the file ends before its greatest level"),
        (b"P512 1 255\n", "byte 2: the width is not a decimal number"),
        (b"P5 -3 2 255\n", "byte 3: the width is not a decimal number"),
        (b"P5 3x2 255\n", "byte 4: the height is not a decimal number"),
        (b"P5 0 2 255\n", "the width is not in 1 to 16384"),
        (b"P5 3 99999999999999999999999 255\n", "the height is not in 1 to 16384"),
        (b"P5 3 2 0\n", "the greatest level is not in 1 to 65535"),
        (b"P5 3 2 65536\n", "the greatest level is not in 1 to 65535"),
        (b"P5 3 2 255", "0 bytes of pixels instead of 6"),
        (b"P5 3 2 255\n12345", "5 bytes of pixels instead of 6"),
        (b"P5 3 2 256\n12345678901", "11 bytes of pixels instead of 12"),
        (b"P5 3 2 255x123456", "byte 10: no white space after the greatest level"),
        (b"P5 3 2 255\n1234567", "bytes after the last pixel"),
        (b"P5 3 2 15\n\0\0\0\0\x10\0", "column 1, row 1: level 16 above the greatest, 15"),
        (b"P5 1 2 1023\n\0\0\x04\0", "column 0, row 1: level 1024 above the greatest, 1023"),
    ];
    for (file, message) in cases {
        assert_eq!(fault(file), *message, "{:?}", String::from_utf8_lossy(file));
    }
}

/// A source that fails after some bytes.
struct Failing(&'static [u8]);

impl std::io::Read for Failing {
    fn read(&mut self, buffer: &mut [u8]) -> std::io::Result<usize> {
        match std::io::Read::read(&mut self.0, buffer)? {
            0 => Err(std::io::Error::other("the disk is gone")),
            n => Ok(n),
        }
    }
}

#[test]
fn a_failing_source_says_so() {
    for start in [&b""[..], b"P5 1", b"P5 1 1 255\n", b"P5 1 1 255\n1"] {
        match pgm::read(Failing(start)) {
            Err(Fault::Io(error)) => assert_eq!(error.to_string(), "the disk is gone"),
            other => panic!("{other:?}"),
        }
    }
}

proptest! {
    #![proptest_config(common::cases(1000, "tests/data/regressions/pgm.txt"))]

    #[test]
    fn what_is_written_is_read(width in 1usize..20, full in 1u16.., levels in prop::collection::vec(any::<u16>(), 20..200)) {
        let pixels: Vec<u16> = levels.iter().take(levels.len() / width * width).map(|&level| level.min(full)).collect();
        let image = Image { width, full, pixels };
        let mut out = Vec::new();
        pgm::write(&image, &mut out).expect("memory");
        prop_assert_eq!(pgm::read(&out[..]).expect("an image"), image);
    }

    #[test]
    fn no_file_is_fatal(header in "P5[ 0-9#\n]{0,24}", rest in prop::collection::vec(any::<u8>(), 0..64)) {
        let _ = pgm::read(&[header.as_bytes(), &rest].concat()[..]);
    }
}
