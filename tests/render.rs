//! The example `render` as a user meets it: arguments, files, messages, exit status.

#[path = "../examples/render/optics/mod.rs"]
mod optics;
#[path = "../examples/render/pgm.rs"]
mod pgm;
#[path = "common/program.rs"]
mod program;
#[path = "../examples/render/setup.rs"]
mod setup;

use program::program;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

/// An empty folder of that name.
fn folder(name: &str) -> PathBuf {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("render").join(name);
    let _ = fs::remove_dir_all(&folder);
    folder
}

fn render(out: &Path, arguments: &[impl AsRef<std::ffi::OsStr>]) -> Output {
    Command::new(program("render")).arg("--out").arg(out).args(arguments).output().expect("the example runs")
}

fn image(path: &Path) -> pgm::Image {
    let bytes = fs::read(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()));
    pgm::read(&bytes[..]).unwrap_or_else(|fault| panic!("{}: {fault}", path.display()))
}

fn number(table: &toml::Table, keys: &[&str]) -> f64 {
    let (last, tables) = keys.split_last().expect("a key");
    let table = tables.iter().fold(table, |table, key| table[*key].as_table().expect("a table"));
    table[*last].as_float().unwrap_or_else(|| panic!("{keys:?}"))
}

#[test]
fn a_lens_is_written_with_its_setup_and_its_truth() {
    let out = folder("lens");
    let output =
        render(&out, &["--lens", "-2.25 -1.50 x 035", "--prism", "1.50 @ 90", "--bits", "10", "--missing", "2"]);
    assert!(output.status.success() && output.stderr.is_empty() && output.stdout.is_empty(), "{output:?}");
    for name in ["lens.pgm", "empty.pgm"] {
        let image = image(&out.join(name));
        assert_eq!((image.width, image.height(), image.full), (640, 480, 1023), "{name}");
    }
    let text = fs::read_to_string(out.join("setup.toml")).expect("setup");
    let setup = setup::Setup::read(&text).expect("a setup");
    let mut usual = setup::Setup::default();
    usual.detector.bits = 10;
    assert_eq!(setup, usual);

    let truth: toml::Table = fs::read_to_string(out.join("truth.toml")).expect("truth").parse().expect("TOML");
    for (key, value) in [("sphere_d", -2.25), ("cylinder_d", -1.5), ("axis_deg", 35.0), ("prism_y_pd", 1.5)] {
        assert!((number(&truth, &["ordered", key]) - value).abs() < 1e-6, "{key}");
        assert!((number(&truth, &["at_axis", key]) - value).abs() < 0.02, "{key}");
    }
    let over = truth["over_plate"].as_array().expect("zones");
    assert_eq!((over.len(), over[0]["holes"].as_integer()), (1, Some(113)));

    let mut spots = csv::Reader::from_path(out.join("spots.csv")).expect("spots");
    let fates: Vec<_> = spots.records().map(|row| row.expect("a row")[10].to_owned()).collect();
    assert_eq!((fates.len(), fates.iter().filter(|fate| *fate == "missing").count()), (113, 2));
}

#[test]
fn a_setup_is_read_as_it_was_written() {
    let mut setup = setup::Setup::default();
    setup.plate.lattice = setup::Lattice::Hexagonal;
    setup.plate.marker_node = None;
    setup.detector.rows_run = setup::Direction::Up;
    let text = setup.write().expect("TOML");
    assert_eq!(setup::Setup::read(&text), Ok(setup));
    // The module's own example.
    let source =
        fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/examples/render/setup.rs")).expect("the source");
    let block = source.split("```toml").nth(1).and_then(|rest| rest.split("```").next()).expect("an example");
    let example: String = block.lines().map(|line| line.trim_start_matches("//!").to_owned() + "\n").collect();
    assert_eq!(setup::Setup::read(&example), Ok(setup::Setup::default()));
}

#[test]
fn a_wrong_setup_is_named() {
    let good = setup::Setup::default().write().expect("TOML");
    let cases = [
        ("gap_mm = 5.0", "gap_mm = 0.0", "gap_mm = 0: not above 0"),
        ("throw_mm = 20.0", "throw_mm = nan", "throw_mm = NaN: not above 0"),
        ("bits = 8", "bits = 7", "bits = 7: not 8 to 16"),
        ("rotation_deg = 0.0", "rotation_deg = inf", "rotation_deg = inf: no number"),
        ("rows_run = \"-y\"", "rows_run = \"+x\"", "columns_run and rows_run are not square to each other"),
        ("rows_run = \"-y\"", "rows_run = \"down\"", "unknown variant `down`"),
        ("gap_mm = 5.0", "gap_cm = 5.0", "unknown field `gap_cm`"),
        ("gap_mm = 5.0\n", "", "missing field `gap_mm`"),
    ];
    for (old, new, message) in cases {
        assert!(good.contains(old), "{good}");
        let fault = setup::Setup::read(&good.replace(old, new)).expect_err(new);
        assert!(fault.contains(message), "{new}: {fault}");
    }
}

#[test]
fn bad_arguments_are_named_and_nothing_is_written() {
    let cases: &[(&[&str], &str)] = &[
        (&["--lens", "-2.25 -1.50"], "--lens"),
        (&["--lens", "-2.25", "--prism", "1.50 base sideways"], "--prism"),
        (&["--lens", "-2.25", "--index", "1.0"], "--index 1: not between 1 and 3"),
        (&["--lens", "-2.25", "--bits", "20"], "bits = 20: not 8 to 16"),
        (&["--lens", "-2.25", "--size", "640"], "two numbers with 'x' between them are needed"),
        (&["--lens", "-2.25", "--pitch", "0"], "pitch_mm = 0: not above 0"),
        (&["--lens", "-2.25", "--width", "0"], "--width 0: not above 0"),
        (&["--lens", "-2.25", "--read-noise=-1"], "--read-noise -1: not 0 or above"),
        (&["--lens", "-2.25", "--black", "1"], "--black 1: not from 0 to below 1"),
        (&["--lens", "-2.25", "--columns-run", "+y"], "columns_run and rows_run are not square to each other"),
    ];
    let out = folder("bad");
    for (arguments, message) in cases {
        let output = render(&out, arguments);
        let said = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(2), "{arguments:?}");
        assert!(said.contains(message), "{arguments:?}: {said}");
        assert!(!out.exists(), "{arguments:?}");
    }
}

#[test]
fn the_demo_set_is_drawn() {
    let out = folder("demo");
    let output = render(&out, &[] as &[&str]);
    assert!(output.status.success(), "{output:?}");
    let folders: Vec<_> = fs::read_dir(&out).expect("folders").map(|entry| entry.expect("a folder").path()).collect();
    assert_eq!(folders.len(), 6);
    for folder in folders {
        let truth: toml::Table = fs::read_to_string(folder.join("truth.toml")).expect("truth").parse().expect("TOML");
        assert!(truth.contains_key("at_axis"), "{}", folder.display());
        assert_eq!(image(&folder.join("lens.pgm")).width, 640);
    }
    let zones = |name: &str| {
        let truth: toml::Table =
            fs::read_to_string(out.join(name).join("truth.toml")).expect("truth").parse().expect("TOML");
        truth["over_plate"].as_array().expect("zones").len()
    };
    assert_eq!([zones("single_vision"), zones("bifocal_edge")], [1, 2]);
}

/// Words of a line of shell; text between double quotes is one.
fn words(line: &str) -> Vec<String> {
    let parts = line.split('"').enumerate();
    parts
        .flat_map(|(i, part)| match i % 2 {
            0 => part.split_whitespace().map(str::to_owned).collect(),
            _ => vec![part.to_owned()],
        })
        .collect()
}

/// By the commands in `make_frames.sh`. Noise is drawn with the machine's own logarithms: a pixel in a thousand may differ by a count.
#[test]
fn the_committed_frames_are_what_their_commands_draw() {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/frames");
    let script = fs::read_to_string(data.join("make_frames.sh")).expect("the script");
    let common = script.lines().find_map(|line| line.trim().strip_prefix("cargo run")).expect("the command");
    let common = common.split(" -- ").nth(1).and_then(|rest| rest.split(" --out").next()).expect("its arguments");
    let mut count = 0;
    for line in script.lines().filter_map(|line| line.strip_prefix("render ")) {
        let line = words(line);
        let (name, arguments) = line.split_first().expect("a name");
        let out = folder(name);
        let output = render(&out, &[words(common), arguments.to_vec()].concat());
        assert!(output.status.success(), "{output:?}");
        let (drawn, committed) = (image(&out.join("lens.pgm")), image(&data.join(format!("{name}.pgm"))));
        assert_eq!(
            (drawn.width, drawn.full, drawn.pixels.len()),
            (committed.width, committed.full, committed.pixels.len())
        );
        let pairs = || drawn.pixels.iter().zip(&committed.pixels);
        assert!(pairs().all(|(a, b)| a.abs_diff(*b) <= 1), "{name}");
        assert!(pairs().filter(|(a, b)| a != b).count() <= 12, "{name}");
        count += 1;
    }
    assert_eq!(
        count,
        fs::read_dir(&data)
            .expect("frames")
            .filter(|e| {
                e.as_ref().is_ok_and(|entry| entry.path().extension().is_some_and(|extension| extension == "pgm"))
            })
            .count()
    );
}
