use core::hint::black_box;

use dioptric::{
    quantity::Axis,
    text::{ParseError, ParseErrorKind},
};

use crate::{keep, show};

pub fn probe() {
    if let Err(error) = black_box("x").parse::<Axis>() {
        keep::<ParseErrorKind>(ParseError::kind(error));
        keep(ParseError::position(error));
        keep(ParseError::is_range(error));
        keep(ParseError::is_syntax(error));
        show(&error);
    }
}
