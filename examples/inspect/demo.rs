//! The demo pair: see `demo/README.md`.

use crate::args::{Order, Side, distances};
use crate::lens::Lens;
use std::fmt;

pub struct DemoLens {
    pub side: Side,
    pub rx: &'static str,
    pub prism: &'static str,
    pub file: &'static str,
    pub spots: &'static str,
}

pub const GAP: &str = "5";
pub const THROW: &str = "20";

pub const PAIR: [DemoLens; 2] = [
    DemoLens {
        side: Side::Right,
        rx: "-2.25 -0.75 x 170",
        prism: "1.00 base in",
        file: "examples/inspect/demo/right.csv",
        spots: include_str!("demo/right.csv"),
    },
    DemoLens {
        side: Side::Left,
        rx: "-1.75 -1.25 x 15",
        prism: "1.00 base in",
        file: "examples/inspect/demo/left.csv",
        spots: include_str!("demo/left.csv"),
    },
];

pub const PREFACE: &str = "\
Demo: an invented pair on an invented sensor; the left lens is meant to fail. --help tells how to
inspect a real one.
";

/// What a pair comes to, and how to run one of its lenses alone.
pub struct Closing<'a>(pub &'a [Lens]);

impl fmt::Display for Closing<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let conform = self.0.iter().filter(|lens| lens.conforms()).count();
        let status = u8::from(conform < self.0.len());
        writeln!(f, "{conform} of {} lenses conform: exit status {status}.", self.0.len())?;
        let [lens, _] = &PAIR;
        writeln!(f, "The first alone:")?;
        writeln!(f, "  inspect --eye right --rx \"{}\" --prism \"{}\" \\", lens.rx, lens.prism)?;
        writeln!(f, "    --gap {GAP} --throw {THROW} --spots {}", lens.file)?;
        writeln!(f, "Both together, by an order file:")?;
        writeln!(f, "  inspect --order examples/inspect/demo/order.toml --measured examples/inspect/demo/measured.toml")
    }
}

impl DemoLens {
    pub fn order(&self) -> Result<Order, String> {
        Order::read(self.side.into(), self.rx, Some(self.prism), distances(GAP, THROW)?)
    }
}
