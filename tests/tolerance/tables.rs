//! The shipped tables are the published ones, and a bad table is found.

use super::published::{Allowed, Row, rows, table};
use super::{d, pd};
use dioptric::quantity::{Degree, Dioptre, Millimetre, PrismDioptre};
use dioptric::tolerance::*;
use dioptric::{degrees, dioptres, millimetres, prism_dioptres};

fn names() -> Vec<&'static str> {
    Class::ALL.iter().map(|class| class.name).collect()
}

/// Those for lenses and that for the instrument.
fn shipped() -> impl Iterator<Item = &'static Class> {
    Class::ALL.into_iter().chain(Class::INSTRUMENTS)
}

#[test]
fn names_are_the_promised_ones_and_all_are_found() {
    let promised =
        ["ansi-z80.1", "ansi-z80.1-progressive", "iso21987", "iso21987-progressive", "iso8980-1", "iso8980-2"];
    assert_eq!(names(), promised);
    for class in Class::ALL {
        assert_eq!(Class::find(class.name), Some(class));
        // "iso8980-1" is in "ISO 8980-1:2004, ...".
        let (standard, _) = class.title.split_once([':', ',']).unwrap();
        let standard = standard.to_lowercase().replace([' ', '-'], "").replace("z80.12015", "z80.1");
        assert!(class.name.replace('-', "").starts_with(&standard), "{} {standard}", class.name);
        assert_eq!(class.to_string(), class.title);
    }
    assert_eq!(Class::find("iso21988"), None);
    // That of the instrument is no class for a lens.
    assert_eq!(Class::INSTRUMENTS.map(|class| (class.name, Class::find(class.name))), [("iso8598-1", None)]);
}

/// "<" as the library writes it: the row ends where the next value counts as the bound.
fn end(row: &Row) -> Dioptre {
    match row.end() {
        None => Dioptre::MAX,
        Some((bound, true)) => d(bound),
        Some((bound, false)) => below(d(bound)),
    }
}

fn limit(row: &Row) -> Limit {
    match row.allowed() {
        Allowed::Absolute(limit) => Limit::Absolute(d(limit)),
        Allowed::Percent(percent) => Limit::Percent(percent as u8),
        Allowed::NoLimit => panic!("{row:?}"),
    }
}

fn assert_source(row: &Row, source: &Source) {
    assert_eq!(row.source, source.text, "{row:?}");
    assert_eq!(row.confidence, format!("{:?}", source.confidence), "{row:?}");
}

/// Each published row begins where the one before it ends.
fn assert_gapless(table: &[Row]) {
    let mut before: Option<&Row> = None;
    for row in table {
        let same_block = before.filter(|before| before.power_up_to == row.power_up_to);
        assert_eq!(row.over, same_block.and_then(|before| Some(before.end()?.0)), "{row:?}");
        if same_block.is_none() {
            assert_eq!(row.power_over, before.and_then(|before| before.power_up_to), "{row:?}");
        }
        before = Some(row);
    }
}

/// Compares table with table; returns how many rows were compared.
fn compare<R>(class: &Class, parameter: &str, shipped: &[R], compare_row: impl Fn(&Row, &R)) -> usize {
    let published = table(class.name, parameter);
    assert_eq!(published.len(), shipped.len(), "{} {parameter}", class.name);
    if parameter != "meridian" {
        assert_gapless(&published);
    }
    published.iter().zip(shipped).for_each(|(row, shipped)| compare_row(row, shipped));
    published.len()
}

#[test]
fn every_shipped_row_is_the_published_one() {
    let mut compared = 0;
    for class in shipped() {
        compared += compare(class, "meridian", class.meridian, |row, shipped| {
            assert_eq!(shipped.up_to, row.power_up_to.map_or(Dioptre::MAX, d), "{row:?}");
            assert_eq!(shipped.limit, limit(row), "{row:?}");
            assert_source(row, shipped.source);
        });
        compared += compare(class, "cylinder", class.cylinder, |row, shipped| {
            assert_eq!(shipped.power_up_to, row.power_up_to.map_or(Dioptre::MAX, d), "{row:?}");
            assert_eq!(shipped.cylinder_up_to, end(row), "{row:?}");
            assert_eq!(shipped.limit, limit(row), "{row:?}");
            assert_source(row, shipped.source);
        });
        compared += compare(class, "axis", class.axis, |row, shipped| {
            let allowed = match row.allowed() {
                Allowed::Absolute(degrees) => Some(Degree::try_from_f64(degrees).unwrap()),
                _ => None,
            };
            assert_eq!((shipped.cylinder_up_to, shipped.limit), (end(row), allowed), "{row:?}");
            assert_source(row, shipped.source);
        });
        compared += compare(class, "addition", class.addition, |row, shipped| {
            assert_eq!((shipped.up_to, shipped.limit), (end(row), limit(row)), "{row:?}");
            assert_source(row, shipped.source);
        });
        compared += compare_prism(class);
    }
    assert_eq!(compared, rows().len(), "rows that no table was compared with");
}

fn compare_prism(class: &Class) -> usize {
    let single = |parameter: &str| {
        let [row] = table(class.name, parameter).try_into().unwrap_or_else(|rows| panic!("{rows:?}"));
        let Allowed::Absolute(value) = row.allowed() else { panic!("{row:?}") };
        (value, row)
    };
    let length = |value| Millimetre::try_from_f64(value).unwrap();
    match class.prism {
        PrismRule::PrismOrPosition { prism, position, source } => {
            let ((amount, row), (distance, _)) = (single("prism"), single("position"));
            assert_eq!((prism, position), (pd(amount), length(distance)));
            assert_source(&row, source);
            2
        }
        PrismRule::Components { rows, horizontal_shift, vertical_shift } => {
            let ((horizontal, _), (vertical, _)) = (single("horizontal shift"), single("vertical shift"));
            assert_eq!((horizontal_shift, vertical_shift), (length(horizontal), length(vertical)));
            2 + compare(class, "prism", rows, |row, shipped| {
                let Allowed::Absolute(limit) = row.allowed() else { panic!("{row:?}") };
                assert_eq!(shipped.limit, pd(limit), "{row:?}");
                assert_eq!(shipped.up_to, row.end().map_or(PrismDioptre::MAX, |(bound, _)| pd(bound)), "{row:?}");
                assert_source(row, shipped.source);
            })
        }
        PrismRule::NoRequirement => panic!("every shipped class asks for something"),
    }
}

/// Row and judged meridians: "Quick Reference Guide - Ansi Z80.1-2015" (sphere meridian, minus-cylinder form); poster
/// and sentences of ISO 8980-1:2004 (meridian of highest absolute power, each principal meridian).
#[test]
fn the_picking_power_is_the_standards() {
    for class in shipped() {
        let expected = if class.name.starts_with("ansi") {
            (RowPower::SphereMeridian, Meridians::Sphere)
        } else {
            (RowPower::StrongestMeridian, Meridians::Both)
        };
        assert_eq!((class.row_power, class.meridians), expected, "{}", class.name);
    }
}

#[test]
fn provenance_is_that_of_the_worst_row() {
    for class in shipped() {
        let worst = rows().into_iter().filter(|row| row.class == class.name).map(|row| row.confidence).max();
        assert_eq!(Some(format!("{:?}", class.provenance())), worst, "{}", class.name);
    }
    for (confidence, from_memory) in
        [(Confidence::A, false), (Confidence::B, false), (Confidence::C, true), (Confidence::D, true)]
    {
        assert_eq!(confidence.text().contains("from memory"), from_memory);
        assert_eq!(confidence.text().contains("check against the licensed standard"), from_memory);
    }
}

const SOURCE: &Source = &Source { text: "invented for a test", confidence: Confidence::A };

fn meridian(up_to: Dioptre, limit: Limit) -> MeridianRow {
    MeridianRow { up_to, limit, source: SOURCE }
}

fn cylinder(power_up_to: Dioptre, cylinder_up_to: Dioptre, limit: f64) -> CylinderRow {
    CylinderRow { power_up_to, cylinder_up_to, limit: Limit::Absolute(d(limit)), source: SOURCE }
}

/// Makes rows live as long as a class wants.
fn rows_of<R, const N: usize>(rows: [R; N]) -> &'static [R] {
    Box::leak(Box::new(rows))
}

fn problem(class: Class) -> Option<(Table, usize, ErrorKind)> {
    let error = class.check().err()?;
    assert!(size_of_val(&error) <= 8);
    assert_eq!(error.is_range(), matches!(error.kind(), ErrorKind::NegativeLimit | ErrorKind::LimitRange));
    Some((error.table(), error.row(), error.kind()))
}

const GOOD: Class = ISO_21987;
const ABSOLUTE: Limit = Limit::Absolute(dioptres!(0.1));

#[test]
fn good_tables_pass() {
    for class in shipped() {
        assert_eq!(class.check(), Ok(()), "{}", class.name);
    }
    let edges = [meridian(Dioptre::ZERO, Limit::Percent(0)), meridian(Dioptre::MAX, Limit::Percent(100))];
    assert_eq!(
        problem(Class { meridian: rows_of(edges), addition: &[], prism: PrismRule::NoRequirement, ..GOOD }),
        None
    );
}

#[test]
fn bad_meridian_rows_are_named() {
    let with = |rows: &'static [MeridianRow]| problem(Class { meridian: rows, ..GOOD });
    let open = meridian(Dioptre::MAX, ABSOLUTE);
    assert_eq!(with(&[]), Some((Table::Meridian, 0, ErrorKind::Empty)));
    let twice = rows_of([meridian(d(6.0), ABSOLUTE), meridian(d(6.0), ABSOLUTE), open]);
    assert_eq!(with(twice), Some((Table::Meridian, 1, ErrorKind::NotAscending)));
    assert_eq!(with(rows_of([meridian(d(-1.0), ABSOLUTE), open])), Some((Table::Meridian, 0, ErrorKind::NotAscending)));
    assert_eq!(with(rows_of([open, open])), Some((Table::Meridian, 1, ErrorKind::NotAscending)));
    let closed = rows_of([meridian(d(6.0), ABSOLUTE), meridian(d(12.0), ABSOLUTE)]);
    assert_eq!(with(closed), Some((Table::Meridian, 1, ErrorKind::NotOpen)));
    for (limit, kind) in [
        (Limit::Absolute(Dioptre::from_bits(-1)), ErrorKind::NegativeLimit),
        (Limit::Absolute(Dioptre::MAX), ErrorKind::LimitRange),
        (Limit::Percent(101), ErrorKind::LimitRange),
    ] {
        let rows = rows_of([meridian(d(6.0), ABSOLUTE), meridian(Dioptre::MAX, limit)]);
        assert_eq!(with(rows), Some((Table::Meridian, 1, kind)));
    }
}

#[test]
fn bad_cylinder_rows_are_named() {
    const OPEN: Dioptre = Dioptre::MAX;
    let with = |rows: &'static [CylinderRow]| problem(Class { cylinder: rows, ..GOOD });
    assert_eq!(with(&[]), Some((Table::Cylinder, 0, ErrorKind::Empty)));
    let last = cylinder(OPEN, OPEN, 0.1);
    assert_eq!(with(rows_of([last])), None);
    // A block may end at twice its power: no lens has more cylinder.
    assert_eq!(with(rows_of([cylinder(d(3.0), d(6.0), 0.1), last])), None);
    let short = rows_of([cylinder(d(3.0), d(4.0), 0.1), cylinder(d(3.0), d(5.99), 0.1), last]);
    assert_eq!(with(short), Some((Table::Cylinder, 1, ErrorKind::NotOpen)));
    // Where the sphere meridian picks the row, it may have any.
    let sphere = Class { row_power: RowPower::SphereMeridian, ..GOOD };
    let rows = rows_of([cylinder(d(3.0), d(6.0), 0.1), last]);
    assert_eq!(problem(Class { cylinder: rows, ..sphere }), Some((Table::Cylinder, 0, ErrorKind::NotOpen)));
    let unordered = rows_of([cylinder(d(3.0), d(4.0), 0.1), cylinder(d(3.0), d(4.0), 0.1), last]);
    assert_eq!(with(unordered), Some((Table::Cylinder, 1, ErrorKind::NotAscending)));
    let power_falls = rows_of([cylinder(d(6.0), OPEN, 0.1), cylinder(d(3.0), OPEN, 0.1), last]);
    assert_eq!(with(power_falls), Some((Table::Cylinder, 1, ErrorKind::NotAscending)));
    assert_eq!(with(rows_of([cylinder(d(6.0), OPEN, 0.1)])), Some((Table::Cylinder, 0, ErrorKind::NotOpen)));
    assert_eq!(with(rows_of([cylinder(OPEN, d(6.0), 0.1)])), Some((Table::Cylinder, 0, ErrorKind::NotOpen)));
    let negative = rows_of([cylinder(d(3.0), OPEN, 0.1), cylinder(OPEN, OPEN, -0.1)]);
    assert_eq!(with(negative), Some((Table::Cylinder, 1, ErrorKind::NegativeLimit)));
}

#[test]
fn bad_axis_addition_and_prism_rows_are_named() {
    let axis = |up_to, limit| AxisRow { cylinder_up_to: up_to, limit, source: SOURCE };
    let with_axis = |rows: &'static [AxisRow]| problem(Class { axis: rows, ..GOOD });
    assert_eq!(with_axis(&[]), Some((Table::Axis, 0, ErrorKind::Empty)));
    assert_eq!(with_axis(rows_of([axis(Dioptre::MAX, None)])), None);
    let negative = rows_of([axis(d(1.0), None), axis(Dioptre::MAX, Some(degrees!(-1.0)))]);
    assert_eq!(with_axis(negative), Some((Table::Axis, 1, ErrorKind::NegativeLimit)));
    assert_eq!(with_axis(rows_of([axis(d(1.0), None)])), Some((Table::Axis, 0, ErrorKind::NotOpen)));

    let addition = rows_of([AdditionRow { up_to: d(4.0), limit: ABSOLUTE, source: SOURCE }]);
    assert_eq!(problem(Class { addition, ..GOOD }), Some((Table::Addition, 0, ErrorKind::NotOpen)));

    let with_prism = |prism| problem(Class { prism, ..GOOD });
    let (some, less) = (millimetres!(1.0), millimetres!(-1.0));
    let components = |rows, vertical_shift| PrismRule::Components { rows, horizontal_shift: some, vertical_shift };
    let row = PrismRow { up_to: PrismDioptre::MAX, limit: prism_dioptres!(0.25), source: SOURCE };
    assert_eq!(with_prism(components(rows_of([row]), some)), None);
    assert_eq!(with_prism(components(&[], some)), Some((Table::Prism, 0, ErrorKind::Empty)));
    assert_eq!(with_prism(components(rows_of([row]), less)), Some((Table::Prism, 0, ErrorKind::NegativeLimit)));
    let unlimited = rows_of([PrismRow { limit: PrismDioptre::MAX, ..row }]);
    assert_eq!(with_prism(components(unlimited, some)), Some((Table::Prism, 0, ErrorKind::LimitRange)));
    let either = |prism, position| PrismRule::PrismOrPosition { prism, position, source: SOURCE };
    assert_eq!(with_prism(either(prism_dioptres!(0.33), some)), None);
    assert_eq!(with_prism(either(prism_dioptres!(0.33), less)), Some((Table::Prism, 0, ErrorKind::NegativeLimit)));
    let unbounded = either(PrismDioptre::MAX, some);
    assert_eq!(with_prism(unbounded), Some((Table::Prism, 0, ErrorKind::LimitRange)));
}

#[test]
fn a_row_is_named_in_a_long_table_too() {
    let long: Vec<_> = (0..400).map(|at| meridian(Dioptre::from_bits(at), ABSOLUTE)).collect();
    let class = Class { meridian: long.leak(), ..GOOD };
    assert_eq!(problem(class), Some((Table::Meridian, 399, ErrorKind::NotOpen)));
    assert_eq!(class.check().unwrap_err().to_string(), "meridian table, row 400: the last row must be open: MAX");
}
