use dioptric::{
    quantity::Dioptre,
    rx::{SpheroCylinder, Step},
};

use super::{
    Digest, Stream,
    digest::Words,
    inputs::{edges, random},
};

pub const STREAMS: &[Stream] = &[
    Stream { name: "text.prescriptions", run: prescription_text },
    Stream { name: "rx.forms", run: forms },
    Stream { name: "rx.rounded", run: rounded },
];

fn forms(digest: &mut Digest) {
    random(|generator| {
        let rx = generator.prescription();
        digest.take(rx.transposed().words());
        digest.take(rx.minus_form().words());
        digest.take(rx.plus_form().words());
        digest.take(rx.mirrored().words());
        digest.take(rx.spherical_equivalent().words());
        digest.take_or(rx.crossed().sphero_cylinder().ok());
    });
}

fn rounded(digest: &mut Digest) {
    for step in [Step::Quarter, Step::Eighth, Step::Hundredth] {
        edges().for_each(|edge| digest.take(step.round(Dioptre::from_bits(edge)).words()));
        random(|generator| digest.take_or(generator.prescription().rounded(step).ok()));
    }
}

/// Text out, and the same text in.
fn prescription_text(digest: &mut Digest) {
    use core::fmt::Write;
    random(|generator| {
        let mut line = Line { bytes: [0; 64], used: 0 };
        let prescription = generator.prescription();
        let written = write!(line, "{prescription} {prescription:.6}").is_ok();
        digest.take([u32::from(written)]);
        digest.bytes(line.bytes.get(..line.used).unwrap_or_default());
        line.used = 0;
        let read: Option<SpheroCylinder> =
            write!(line, "{prescription:.6}").ok().and_then(|()| line.text().parse().ok());
        digest.take_or::<3>(read);
    });
}

struct Line {
    bytes: [u8; 64],
    used: usize,
}

impl Line {
    fn text(&self) -> &str {
        self.bytes.get(..self.used).and_then(|bytes| core::str::from_utf8(bytes).ok()).unwrap_or_default()
    }
}

impl core::fmt::Write for Line {
    fn write_str(&mut self, text: &str) -> core::fmt::Result {
        let end = self.used + text.len();
        self.bytes.get_mut(self.used..end).ok_or(core::fmt::Error)?.copy_from_slice(text.as_bytes());
        self.used = end;
        Ok(())
    }
}
