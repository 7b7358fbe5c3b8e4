//! What the documents promise exists: paths, commands, the Rust version, and the parts of each public function's page.

use std::fs;
use std::path::{Path, PathBuf};

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: impl AsRef<Path>) -> String {
    let path = root().join(path);
    fs::read_to_string(&path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

const DOCUMENTS: [&str; 3] = ["README.md", "DEVELOPERS.md", "CHANGELOG.md"];

/// Words between backticks.
fn quoted(text: &str) -> impl Iterator<Item = &str> {
    text.split('`').skip(1).step_by(2)
}

#[test]
fn every_path_in_the_documents_exists() {
    let mut found = 0;
    for document in DOCUMENTS {
        for word in quoted(&read(document)).flat_map(str::split_whitespace) {
            let is_path = word.contains('/') || word.ends_with(".md") || word.ends_with(".rs");
            let is_pattern = word.contains(['<', '(', '[', '{', '=', ':']) || word.contains("cos");
            if is_path && !is_pattern {
                assert!(root().join(word).exists(), "{document} names {word}");
                found += 1;
            }
        }
    }
    assert!(found > 20, "{found} paths found");
}

#[test]
fn every_script_is_executable_and_every_subcommand_is_there() {
    let developers = read("DEVELOPERS.md");
    let script = read("tests/embedded/run");
    for word in quoted(&developers) {
        if let Some(command) = word.strip_prefix("tests/embedded/run ") {
            let command = command.split(' ').next().expect("a word");
            assert!(script.contains(&format!("{command})")) || script.contains(&format!("{command}()")), "{command}");
        }
    }
    let benches = read("Cargo.toml");
    assert!(benches.contains("name = \"side_by_side\""));
}

#[test]
fn the_rust_version_stands_in_one_place() {
    let manifest = read("Cargo.toml");
    let version = manifest
        .lines()
        .find_map(|line| line.strip_prefix("rust-version = \""))
        .and_then(|rest| rest.strip_suffix('"'))
        .expect("rust-version");
    assert!(read("README.md").contains(&format!("Rust {version} or later")), "{version}");
}

#[test]
fn every_feature_is_in_the_table() {
    let manifest = read("Cargo.toml");
    let features = manifest.split("[features]").nth(1).and_then(|rest| rest.split("\n[").next()).expect("features");
    let readme = read("README.md");
    let mut count = 0;
    for line in features.lines().filter(|line| line.contains(" = ") && !line.starts_with("default")) {
        let name = line.split(' ').next().expect("a name");
        assert!(readme.contains(&format!("| `{name}` |")), "{name}");
        count += 1;
    }
    assert!(count >= 3);
}

#[test]
fn every_shipped_class_is_in_the_table() {
    let readme = read("README.md");
    for class in dioptric::tolerance::Class::ALL {
        let row = format!("| `{}` | ", class.name);
        let line = readme.lines().find(|line| line.starts_with(&row)).unwrap_or_else(|| panic!("no row {row}"));
        assert!(line.ends_with(&format!("| {:?} |", class.provenance())), "{line}");
    }
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("readable") {
        let path = entry.expect("readable").path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

/// Quantities that are computed, not passed through: their functions must say how accurate they are.
const MEASURES: [&str; 14] = [
    "Dioptre",
    "PrismDioptre",
    "Millimetre",
    "Micrometre",
    "Degree",
    "CubicMillimetre",
    "Milligram",
    "Prism",
    "Point",
    "PowerVector",
    "PowerMatrix",
    "FocalMatrix",
    "Polar",
    "SpheroCylinder",
];

/// A public function that takes numbers and returns another: exact, or with its accuracy.
#[test]
fn every_computation_states_its_accuracy() {
    let mut files = Vec::new();
    sources(&root().join("src"), &mut files);
    let (mut checked, mut silent) = (0, Vec::new());
    for file in files {
        let text = fs::read_to_string(&file).expect("readable");
        let mut page = String::new();
        for line in text.lines().map(str::trim) {
            if let Some(doc) = line.strip_prefix("///").or_else(|| line.strip_prefix("#[doc")) {
                page.push_str(doc);
                page.push('\n');
            } else if line.starts_with("#[") || line.starts_with(')') {
            } else {
                let is_computation = line.starts_with("pub fn")
                    && line.split("->").nth(1).is_some_and(|result| {
                        MEASURES
                            .iter()
                            .any(|measure| result.split(|c: char| !c.is_alphanumeric()).any(|w| w == *measure))
                    });
                if is_computation && !file.ends_with("oracle.rs") {
                    checked += 1;
                    let says = ["Accuracy", "xact", "saturat", "as ordered"].iter().any(|word| page.contains(word));
                    // A value handed out as it is stored needs none.
                    let is_getter = line.contains("(&self)") || line.contains("(self)");
                    if !says && !is_getter {
                        silent.push(format!("{}: {line}", file.display()));
                    }
                }
                page.clear();
            }
        }
    }
    assert!(checked > 25, "{checked} computations found");
    assert!(silent.is_empty(), "no word on accuracy:\n{}", silent.join("\n"));
}
