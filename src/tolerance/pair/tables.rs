//! The shipped tables for mounted pairs: ANSI Z80.1 and ISO 21987.

use super::super::{
    ANSI_Z80_1, ANSI_Z80_1_PROGRESSIVE, Confidence, ISO_21987, ISO_21987_PROGRESSIVE, POLARISER_AXIS, Source,
};
use super::class::{
    BlameRule, CurveLimit, GeometryLimits, ImbalanceLimit, ImbalanceRow, ImbalanceRule, LengthLimit, PairClass,
    PrismOrPosition, RowLens, TiltLimit,
};
use crate::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};

const GUIDES: Source = Source {
    text: "\"Quick Reference Guide - Ansi Z80.1-2015\", docslib.org; \"OptiCampus ANSI Z80.1-2010 Summary\", opticampus.opti.vision",
    confidence: Confidence::A,
};
const COPY_1999: Source =
    Source { text: "\"American National Standard Z80.1-1999\", hollywoodoptical.com", confidence: Confidence::B };
const CURVES: Source = Source {
    text: "\"Section 120. Lenses and frames standards\" (18VAC80-30-120), varules.elaws.us; study cards \"Ansi\", freezingblue.com",
    confidence: Confidence::A,
};
const PROGRESSIVE: Source = Source {
    text: "ANSI Z80.1-2010 and -2015, progressive lenses, from memory; 0.67 and 1.0 mm of each: 1999 and 2005 (hollywoodoptical.com, optiboard.com)",
    confidence: Confidence::C,
};
const ANSI_MEMORY: Source = Source { text: "ANSI Z80.1-2015, from memory, not seen", confidence: Confidence::C };

/// ANSI Z80.1-2015, a mounted pair.
///
/// In either direction a pair fails only where the imbalance and the position of the reference points are both exceeded. The
/// tables print that as rows, the prism for powers up to 2.75 D horizontally (3.375 D vertically) and the position beyond, where
/// either is the looser of the two.
///
/// # Source
/// As each row says. That both must be exceeded: "When verifying a prescription, horizontal / vertical prism is unacceptable if...",
/// opthalmicoptics.passetra.com; the method, which begins at the lens of strongest power in that direction: "Horizontal Prism Tolerance Question",
/// optiboard.com.
pub const ANSI_Z80_1_PAIR: PairClass = PairClass {
    name: "ansi-z80.1",
    title: "ANSI Z80.1-2015, mounted pair",
    single_vision: &ANSI_Z80_1,
    power_variation: &ANSI_Z80_1_PROGRESSIVE,
    imbalance: ImbalanceRule::PrismOrPosition {
        horizontal: or_position(0.67, 2.5, &GUIDES),
        vertical: or_position(0.33, 1.0, &GUIDES),
        each: false,
    },
    imbalance_power_variation: ImbalanceRule::PrismOrPosition {
        horizontal: or_position(0.67, 1.0, &PROGRESSIVE),
        vertical: or_position(0.33, 1.0, &PROGRESSIVE),
        each: true,
    },
    blame: BlameRule::OtherThanStronger,
    polariser: Some(POLARISER_AXIS),
    gradient: None,
    geometry: GeometryLimits {
        segment_height: length(1.0, &GUIDES),
        fitting_height: length(1.0, &COPY_1999),
        fitting_distance: length(1.0, &COPY_1999),
        segment_heights: length(1.0, &GUIDES),
        fitting_heights: length(1.0, &ANSI_MEMORY),
        near_centration: length(2.5, &GUIDES),
        segment_size: length(0.5, &COPY_1999),
        segment_difference: length(0.7, &COPY_1999),
        centre_thickness: length(0.3, &CURVES_AND_THICKNESS),
        segment_tilt: tilt(2.0, &GUIDES),
        marks_tilt: tilt(2.0, &ANSI_MEMORY),
        base_curve: curve(0.75, &CURVES),
        warpage: curve(1.00, &CURVES),
    },
};

const CURVES_AND_THICKNESS: Source = Source {
    text: "\"American National Standard Z80.1-1999\", hollywoodoptical.com; \"Ask the labs\", eyecarebusiness.com, March 2011",
    confidence: Confidence::A,
};

const ISO_IMBALANCE: Source = Source {
    text: "ISO 21987, prism imbalance, from memory through GB 13511.1-2011, Table 4, not seen",
    confidence: Confidence::C,
};
const ISO_THICKNESS: Source = Source {
    text: "\"ISO 8980-1:2004\", ulstandardspdf.com, clause 5: thickness at the distance reference point",
    confidence: Confidence::B,
};
const ISO_SEGMENT: Source = Source {
    text: "\"ABNT - NBR ISO 8980-1\" (ISO 8980-1:2017), pt.scribd.com: width and depth of a segment",
    confidence: Confidence::B,
};
const ISO_FITTING: Source =
    Source { text: "a German optician's page on DIN EN ISO 21987: the fitting point", confidence: Confidence::B };
const ISO_MEMORY: Source = Source { text: "ISO 21987, from memory, not seen", confidence: Confidence::C };

/// ISO 21987:2017, a mounted pair.
///
/// The imbalance is limited for single-vision lenses that are not specific to a position of wear, and for multifocal lenses. Of the others
/// each lens's own prism is judged. Which lens's power counts was not found: the weaker one's, which is the stricter reading. Whether the
/// row goes by one lens's prism or by the pair's was not found either: by the larger resultant of the two.
///
/// # Source
/// As each row says; from memory where the numbers are. The rule of signs: "CSN EN ISO 4007 ... prism imbalance", nlfnorm.cz, citing
/// ISO 21987:2017, 6.6.
pub const ISO_21987_PAIR: PairClass = PairClass {
    name: "iso21987",
    title: "ISO 21987:2017, mounted pair",
    single_vision: &ISO_21987,
    power_variation: &ISO_21987_PROGRESSIVE,
    imbalance: ImbalanceRule::Rows {
        rows: &[
            row(PrismDioptre::literal(2.0), [0.67, 0.0], [0.50, 0.0]),
            row(PrismDioptre::literal(10.0), [1.00, 0.33], [0.75, 0.25]),
            row(PrismDioptre::MAX, [1.25, 0.58], [1.00, 0.50]),
        ],
        power: RowLens::Weaker,
    },
    imbalance_power_variation: ImbalanceRule::EachLens,
    blame: BlameRule::FurtherOff,
    polariser: Some(POLARISER_AXIS),
    gradient: None,
    geometry: GeometryLimits {
        segment_height: length(1.0, &ISO_MEMORY),
        fitting_height: length(1.0, &ISO_FITTING),
        fitting_distance: length(1.0, &ISO_FITTING),
        segment_heights: length(1.0, &ISO_MEMORY),
        fitting_heights: length(1.0, &ISO_MEMORY),
        near_centration: length(2.0, &ISO_MEMORY),
        segment_size: length(0.5, &ISO_SEGMENT),
        segment_difference: length(0.7, &ISO_MEMORY),
        centre_thickness: length(0.3, &ISO_THICKNESS),
        segment_tilt: tilt(2.0, &ISO_MEMORY),
        marks_tilt: tilt(2.0, &ISO_MEMORY),
        base_curve: None,
        warpage: None,
    },
};

const fn or_position(prism: f64, position: f64, source: &'static Source) -> PrismOrPosition {
    PrismOrPosition { prism: PrismDioptre::literal(prism), position: Millimetre::literal(position), source }
}

/// Horizontal and vertical: the limit of weak lenses, and what strong ones have beside the effect of 2 mm and of 1 mm.
const fn row(up_to: PrismDioptre, horizontal: [f64; 2], vertical: [f64; 2]) -> ImbalanceRow {
    ImbalanceRow {
        up_to,
        horizontal: limit(3.25, horizontal, 2.0),
        vertical: limit(5.00, vertical, 1.0),
        source: &ISO_IMBALANCE,
    }
}

const fn limit(power_up_to: f64, [within, beyond]: [f64; 2], shift: f64) -> ImbalanceLimit {
    ImbalanceLimit {
        power_up_to: Dioptre::literal(power_up_to),
        within: PrismDioptre::literal(within),
        beyond: PrismDioptre::literal(beyond),
        shift: Millimetre::literal(shift),
    }
}

const fn length(limit: f64, source: &'static Source) -> Option<LengthLimit> {
    Some(LengthLimit { limit: Millimetre::literal(limit), source })
}

const fn tilt(limit: f64, source: &'static Source) -> Option<TiltLimit> {
    Some(TiltLimit { limit: Degree::literal(limit), source })
}

const fn curve(limit: f64, source: &'static Source) -> Option<CurveLimit> {
    Some(CurveLimit { limit: Dioptre::literal(limit), source })
}
