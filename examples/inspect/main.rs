//! Is this lens the one that was ordered? The main job, on a desk: order and spots in, verdict out.
//!
//! ```text
//! cargo run --release --example inspect
//! cargo run --release --example inspect -- --help
//! ```

mod args;
mod demo;
mod findings;
mod json;
mod lens;
mod numbers;
mod picture;
mod report;
mod spots;

use args::{Args, LensArgs, Order};
use clap::Parser;
use dioptric::tolerance::Confidence;
use lens::Lens;
use report::Report;
use spots::Fault;
use std::fs::File;
use std::io::{self, BufReader, Write as _};
use std::process::ExitCode;

const DOES_NOT_CONFORM: u8 = 1;
const BAD_INPUT: u8 = 2;

fn main() -> ExitCode {
    let args = Args::parse();
    match run(&args) {
        Ok(code) => code,
        Err(message) => {
            // With nowhere to say it, the exit status must do.
            let _ = writeln!(io::stderr(), "error: {message}");
            ExitCode::from(BAD_INPUT)
        }
    }
}

/// Inspects, and prints only when everything is known.
fn run(args: &Args) -> Result<ExitCode, String> {
    let lenses = match &args.lens {
        Some(lens) => vec![inspect(lens, args)?],
        None => inspect_demo(args)?,
    };
    if let Some(path) = &args.picture {
        picture::write_all(path, &lenses)?;
    }
    let is_demo = args.lens.is_none();
    let text = if args.json { json_text(&lenses, is_demo)? } else { report_text(&lenses, is_demo) };
    print(&text)?;
    let all_conform = lenses.iter().all(Lens::conforms);
    Ok(if all_conform { ExitCode::SUCCESS } else { ExitCode::from(DOES_NOT_CONFORM) })
}

fn inspect(lens: &LensArgs, args: &Args) -> Result<Lens, String> {
    let order = Order::read(lens.eye.into(), &lens.rx, lens.prism.as_deref(), &lens.gap, &lens.throw)?;
    let file = lens.spots.display().to_string();
    let source = File::open(&lens.spots).map_err(|error| Fault::of_file(&file, error.to_string()).to_string())?;
    Lens::inspect(order, file, BufReader::new(source), args.class, args.uncertainty).map_err(|fault| fault.to_string())
}

fn inspect_demo(args: &Args) -> Result<Vec<Lens>, String> {
    let inspect = |lens: &demo::DemoLens| {
        let (file, source) = (lens.file.to_string(), lens.spots.as_bytes());
        Lens::inspect(lens.order()?, file, source, args.class, args.uncertainty).map_err(|fault| fault.to_string())
    };
    demo::PAIR.iter().map(inspect).collect()
}

fn json_text(lenses: &[Lens], is_demo: bool) -> Result<String, String> {
    let objects: Vec<_> = lenses.iter().map(json::Object::from).collect();
    let text = match &objects[..] {
        [only] if !is_demo => serde_json::to_string_pretty(only),
        all => serde_json::to_string_pretty(all),
    };
    text.map(|text| text + "\n").map_err(|error| error.to_string())
}

fn report_text(lenses: &[Lens], is_demo: bool) -> String {
    let mut parts: Vec<String> = lenses.iter().map(|lens| Report(lens).to_string()).collect();
    if is_demo {
        parts.insert(0, demo::PREFACE.into());
        parts.push(demo::Closing(lenses).to_string());
    }
    if let Some(lens) = lenses.first().filter(|lens| lens.class.provenance() >= Confidence::C) {
        parts.push(format!("Class {}\n  {}.\n", lens.class.name, lens.class.provenance()));
    }
    parts.join("\n")
}

/// A reader that has seen enough and closed the pipe is no fault.
fn print(text: &str) -> Result<(), String> {
    let mut out = io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != io::ErrorKind::BrokenPipe => Err(format!("standard output: {error}")),
        _ => Ok(()),
    }
}
