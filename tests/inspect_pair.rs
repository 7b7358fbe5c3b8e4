//! The example `inspect` on a pair: an order file, a file of what was measured, and the spots that it names.

#[path = "common/program.rs"]
mod program;

use program::{file, run};
use serde_json::Value;
use std::process::Output;

const ORDER: &str = "examples/inspect/demo/order.toml";
const MEASURED: &str = "examples/inspect/demo/measured.toml";

fn inspect(order: &str, measured: &str, more: &[&str]) -> Output {
    let files = ["--order", order, "--measured", measured];
    run("inspect", files.iter().chain(more))
}

fn json(order: &str, measured: &str, more: &[&str]) -> (Value, i32) {
    let more: Vec<_> = more.iter().copied().chain(["--json"]).collect();
    let output = inspect(order, measured, &more);
    assert_eq!(String::from_utf8_lossy(&output.stderr), "");
    (serde_json::from_slice(&output.stdout).expect("JSON"), output.status.code().expect("an exit status"))
}

fn finding<'a>(object: &'a Value, parameter: &str) -> &'a Value {
    let findings = object["findings"].as_array().expect("a list");
    findings
        .iter()
        .find(|finding| finding["parameter"] == parameter)
        .unwrap_or_else(|| panic!("{parameter} in {object}"))
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("{value} is no number"))
}

/// Beside the demo's spots, so that an order alone makes a case.
fn measured(name: &str, more: &str) -> String {
    let spots = |eye: &str| format!("{}/examples/inspect/demo/{eye}.csv", env!("CARGO_MANIFEST_DIR"));
    let text = format!(
        "gap_mm = 5\nthrow_mm = 20\nright.spots = {:?}\nleft.spots = {:?}\n{more}",
        spots("right"),
        spots("left")
    );
    file(name, text)
}

#[test]
fn the_demo_pair_prints_what_is_committed() {
    let output = inspect(ORDER, MEASURED, &["--class", "ansi-z80.1", "--uncertainty", "fit"]);
    let committed = std::fs::read_to_string("tests/data/inspect/pair.txt").expect("the committed output");
    let printed = String::from_utf8_lossy(&output.stdout);
    assert_eq!(
        printed, committed,
        "cargo run --release --example inspect -- --order {ORDER} --measured {MEASURED} --class ansi-z80.1 --uncertainty fit \
         > tests/data/inspect/pair.txt"
    );
    assert_eq!(output.status.code(), Some(1), "the left lens is meant to fail");
}

/// The right lens has 0.08 too much base in and 0.04 too much base down, the left one 0.07 too little and 0.06 base up.
#[test]
fn the_imbalance_is_the_difference_of_both_lenses_surplus() {
    let (found, _) = json(ORDER, MEASURED, &[]);
    let pair = &found["pair"];
    assert!((number(&finding(pair, "horizontal_imbalance")["deviation"]) - 0.01).abs() < 5e-4);
    assert!((number(&finding(pair, "vertical_imbalance")["deviation"]) + 0.10).abs() < 5e-4);
    assert_eq!(found["lenses"].as_array().expect("a list").len(), 2);
    assert_eq!(found["lenses"][0]["eye"], "right");
}

/// Ordered without prism, both lenses have 1 base in too much: 2.01 in all. Shifted by 2.01 - 0.67 over the power, it conforms.
#[test]
fn a_pair_that_fails_says_which_lens_and_how_far() {
    let order = file("imbalance.toml", "right.power = \"-2.25 -0.75 x 170\"\nleft.power = \"-1.75 -1.25 x 15\"\n");
    let (found, status) = json(&order, &measured("plain.toml", ""), &[]);
    let pair = &found["pair"];
    assert_eq!((status, &finding(pair, "horizontal_imbalance")["decision"]), (1, &Value::from("fails")));
    assert_eq!(pair["blamed_horizontally"], "right", "1.08 is further off than 0.93");
    let shift = number(&pair["shift_right"][0]);
    // The power along the horizontal is -2.31 D: towards the nose, as base in comes from a centre too far out.
    assert!((5.7..5.9).contains(&shift), "{shift}");
    let text = inspect(&order, &measured("plain.toml", ""), &[]);
    let text = String::from_utf8_lossy(&text.stdout);
    assert!(text.contains("horizontally, the right lens is to give way"), "{text}");
    assert!(text.contains("the imbalance would conform with the right lens moved 5.80 mm nasal, 0.28 mm up"), "{text}");
}

#[test]
fn what_was_read_besides_is_judged() {
    let order = file(
        "bifocal.toml",
        "right.power = \"-2.25 -0.75 x 170\"\nright.prism = \"1.00 base in\"\nright.kind = \"multifocal\"\n\
         right.height_mm = 18\nright.polariser_deg = 180\nright.segment_width_mm = 28\nright.segment_depth_mm = 19\n",
    );
    let read = "right.height_mm = 19.2\nright.tilt_deg = -2.5\nright.polariser_deg = 176\n\
                right.segment_width_mm = 28.4\nright.segment_depth_mm = 19.6\n";
    let (found, status) = json(&order, &measured("bifocal-read.toml", read), &[]);
    let lens = &found["lenses"][0];
    let decision = |parameter: &str| finding(lens, parameter)["decision"].as_str().expect("text").to_owned();
    assert_eq!(status, 1);
    for (parameter, expected) in [
        ("height", "fails"),
        ("segment_tilt", "fails"),
        ("polariser_axis", "fails"),
        ("segment_width", "conforms"),
        ("segment_depth", "fails"),
        ("vertical_prism", "conforms"),
    ] {
        assert_eq!(decision(parameter), expected, "{parameter}");
    }
    assert!(found["pair"]["findings"].as_array().expect("a list").is_empty(), "one lens was ordered");
}

/// -6.00 D wrapped by 15 degrees at 1.586 is ordered as -5.48 -0.39 x 180 (handed down as a worked example; `lens::Tilt` holds it).
#[test]
fn an_order_as_worn_is_judged_by_what_the_bench_must_find() {
    let order = file("worn.toml", "right.power = \"-6.00\"\nright.face_form_deg = 15\nright.index = 1.586\n");
    let output = inspect(&order, &measured("plain-worn.toml", ""), &["--class", "iso21987"]);
    let text = String::from_utf8_lossy(&output.stdout);
    assert!(text.contains("Prescription -6.00 DS: judged by the power for its position of wear."), "{text}");
    assert!(text.contains("RIGHT LENS   ordered -5.48 -0.39 x 180"), "{text}");
    let maker = file(
        "maker.toml",
        "right.power = \"-6.00\"\nright.verification_power = \"-2.29 -0.73 x 171\"\nright.verification_prism = \"1.08 base in\"\n",
    );
    let (found, status) = json(&maker, &measured("plain-maker.toml", ""), &[]);
    assert_eq!(status, 0, "{found}");
}

/// What nothing limits is said, not passed over; a lens is judged, and said to be judged, by the class for its kind.
#[test]
fn what_is_not_judged_is_said() {
    let lens = "right.power = \"-2.25 -0.75 x 170\"\nright.prism = \"1.00 base in\"\nright.base_curve = 4\nright.gradient_deg = 270\n";
    let order = file("unjudged.toml", format!("{lens}right.kind = \"power-variation\"\n"));
    let measured = measured("unjudged-read.toml", "");
    let (found, status) = json(&order, &measured, &["--class", "iso21987"]);
    let expected = ["right gradient direction", "right base curve", "left lens"];
    assert_eq!(found["pair"]["not_judged"], serde_json::json!(expected));
    assert_eq!((status, &found["lenses"][0]["class"]), (0, &Value::from("iso21987-progressive")));
    let text = inspect(&order, &measured, &[]);
    let text = String::from_utf8_lossy(&text.stdout);
    assert!(text.contains("right lens, ordered but not judged: gradient direction, base curve\n"), "{text}");
    assert!(text.contains("left lens, measured but not ordered: not judged\n"), "{text}");
    assert!(text.contains("by ISO 21987:2017, mounted power-variation lenses"), "{text}");
    // ANSI Z80.1 limits the base curve.
    let (found, _) = json(&order, &measured, &["--class", "ansi-z80.1"]);
    assert_eq!(found["pair"]["not_judged"][0], "right gradient direction");
    assert_eq!(finding(&found["lenses"][0], "base_curve")["decision"], "undetermined");
}

/// A reference point that was read with a rule has the rule's uncertainty; one that the fit gave has the fit's.
#[test]
fn a_read_position_has_the_uncertainty_of_its_reading() {
    let more = "u_length_mm = 0.3\nright.offset_x_mm = 0.1\nright.offset_y_mm = 0.1\nleft.offset_x_mm = 0\nleft.offset_y_mm = 0\n";
    let class = ["--class", "ansi-z80.1", "--uncertainty", "fit"];
    let uncertainty = |measured: &str| {
        let (found, _) = json(ORDER, measured, &class);
        number(&finding(&found["pair"], "centration_distance")["uncertainty"])
    };
    assert!((uncertainty(&measured("read-offset.toml", more)) - 0.3 * 2f64.sqrt()).abs() < 1e-4);
    assert!(uncertainty(&measured("fitted-offset.toml", "u_length_mm = 0.3\n")) < 0.01);
}

/// Clap folds at 100: a line that is longer breaks in its middle and leaves a word or two alone.
#[test]
fn the_files_are_described_in_lines_that_fit() {
    let help = run("inspect", ["--help"]);
    let help = String::from_utf8_lossy(&help.stdout);
    let (_, described) = help.split_once("\nORDER FILE").expect("the order file");
    let lines: Vec<_> = described.lines().collect();
    for (line, next) in lines.iter().zip(lines.iter().skip(1)) {
        let words = next.split_whitespace().count();
        assert!(line.len() < 85 || !(1..=2).contains(&words), "{next:?} was broken off {line:?}");
    }
    for key in ["centration_mm", "segment_depth_mm", "verification_power", "u_length_mm", "not_judged"] {
        assert!(described.contains(key), "{key}");
    }
}

/// Exit status 2, nothing on standard output, file, line and reason on standard error.
#[test]
fn what_is_wrong_is_named_with_its_line() {
    let power = "right.power = \"-2.00\"\n";
    let cases: &[(&str, String, &[&str])] = &[
        (
            "negative",
            format!("{power}right.height_mm = -3\n"),
            &["line 2: right.height_mm = -3", "a length is not below 0"],
        ),
        ("unknown", format!("{power}right.hight_mm = 3\n"), &["line 2", "unknown field `hight_mm`"]),
        ("twice", format!("{power}{power}"), &["line 2", "duplicate key"]),
        ("text", format!("{power}right.height_mm = \"3\"\n"), &["line 2", "invalid type"]),
        (
            "axis",
            "left.power = \"-2.00 -1.00 x 190\"\n".into(),
            &["line 1", "an axis lies from 0 to 180 degrees, at character 15"],
        ),
        ("base", format!("{power}right.prism = \"1.0 base sideways\"\n"), &["line 2", "at character"]),
        ("turn", format!("{power}right.polariser_deg = 181\n"), &["line 2", "0 to 180 degrees"]),
        ("tilt", format!("{power}right.index = 1.5\nright.face_form_deg = 31\n"), &["within 30 degrees"]),
        ("index", format!("{power}right.face_form_deg = 10\n"), &["index is missing"]),
        (
            "vertex",
            format!("{power}right.index = 1.5\nright.fitted_at_mm = 12\n"),
            &["refracted_at_mm and fitted_at_mm is missing"],
        ),
        ("maker", format!("{power}right.verification_addition = 2\n"), &["verification_power is missing"]),
        ("power", "right.prism = \"1.0 base in\"\n".into(), &["missing field `power`"]),
        ("empty", "# nothing\n".into(), &["no lens"]),
        ("huge", format!("{power}right.thickness_mm = 1e9\n"), &["line 2"]),
        ("nan", format!("{power}right.thickness_mm = nan\n"), &["line 2: right.thickness_mm = nan"]),
        ("kind", format!("{power}right.kind = \"bifocal\"\n"), &["line 2", "unknown variant `bifocal`"]),
        (
            "half",
            format!("{power}right.segment_width_mm = 28\n"),
            &["line 2: right.segment_width_mm = 28", "half of a pair"],
        ),
    ];
    for (name, order, parts) in cases {
        let order = file(&format!("bad-{name}.toml"), order);
        refused(&inspect(&order, MEASURED, &[]), name, parts);
    }
    let cases: &[(&str, &str, &[&str])] = &[
        ("spots", "gap_mm = 5\nthrow_mm = 20\nright.height_mm = 3\n", &["spots, or frame and reference, is missing"]),
        ("gap", "right.spots = \"right.csv\"\n", &["gap_mm is missing"]),
        ("other", "gap_mm = 5\nthrow_mm = 20\n", &["the right lens is ordered and not in it"]),
        ("throw", "gap_mm = 5\nthrow_mm = 1\nright.spots = \"right.csv\"\n", &["line 2: throw_mm = 1", "out of range"]),
        (
            "offset",
            "gap_mm = 5\nthrow_mm = 20\nright.spots = \"right.csv\"\nright.offset_y_mm = 1\n",
            &["line 4", "half of a pair"],
        ),
        ("uncertainty", "u_curve = -0.1\n", &["line 1: u_curve = -0.1", "an uncertainty is not below 0"]),
        ("file", "gap_mm = 5\nthrow_mm = 20\nright.spots = \"nowhere.csv\"\n", &["nowhere.csv"]),
        ("frame", "right.frame = \"a.pgm\"\nright.reference = \"b.pgm\"\n", &["setup is missing"]),
    ];
    for (name, read, parts) in cases {
        let read = file(&format!("bad-read-{name}.toml"), read);
        refused(&inspect(ORDER, &read, &[]), name, parts);
    }
    refused(&inspect(ORDER, MEASURED, &["--class", "iso8980-1"]), "class", &["no limits for a pair", "iso21987"]);
    refused(&inspect("nowhere.toml", MEASURED, &[]), "no file", &["nowhere.toml"]);
    refused(&run("inspect", ["--order", ORDER]), "alone", &["--measured"]);
    refused(&inspect(ORDER, MEASURED, &["--eye", "right", "--rx", "-1.00"]), "both", &["cannot be used with"]);
}

fn refused(output: &Output, name: &str, parts: &[&str]) {
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(output.status.code(), Some(2), "{name}: {said}");
    assert!(output.stdout.is_empty(), "{name}");
    for part in parts {
        assert!(said.contains(part), "{name}: no {part:?} in {said}");
    }
    assert!(!said.contains("panicked"), "{said}");
}
