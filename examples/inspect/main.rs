//! Is this lens the one that was ordered? The main job, on a desk: order and spots in, verdict out.
//!
//! ```text
//! cargo run --release --example inspect
//! cargo run --release --example inspect -- --help
//! ```

mod args;
mod capture;
mod demo;
mod findings;
mod json;
mod lens;
mod numbers;
mod pair;
#[path = "../render/pgm.rs"]
mod pgm;
mod picture;
mod report;
mod sensor;
#[path = "../render/setup.rs"]
mod setup;
mod spots;

use args::{Args, LensArgs, Order, PairArgs, Source, Uncertainty, distances};
use capture::Capture;
use clap::Parser;
use dioptric::tolerance::Confidence;
use lens::Lens;
use pair::{Pair, PairReport};
use report::Report;
use sensor::Sensor;
use spots::Fault;
use std::fs::{self, File};
use std::io::{self, BufReader, Write as _};
use std::path::Path;
use std::process::ExitCode;

const DOES_NOT_CONFORM: u8 = 1;
const BAD_INPUT: u8 = 2;

const NO_DISTANCES: &str = "--uncertainty budget: needs a setup with [uncertainty] gap_mm, throw_mm";

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
    if let Some((order, measured)) = args.pair.as_ref().and_then(PairArgs::files) {
        return run_pair(&Pair::read(order, measured, &args.judging())?, args);
    }
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

fn run_pair(pair: &Pair, args: &Args) -> Result<ExitCode, String> {
    if let Some(path) = &args.picture {
        picture::write_all(path, &pair.lenses)?;
    }
    let text = if args.json {
        serde_json::to_string_pretty(&json::PairObject::from(pair)).map_err(|error| error.to_string())? + "\n"
    } else {
        let provenance = pair.class.provenance();
        let caution = if provenance >= Confidence::C {
            format!("\nClass {}\n  {provenance}.\n", pair.class.name)
        } else {
            String::new()
        };
        format!("{}{caution}", PairReport(pair))
    };
    print(&text)?;
    Ok(if pair.conforms() { ExitCode::SUCCESS } else { ExitCode::from(DOES_NOT_CONFORM) })
}

fn inspect(lens: &LensArgs, args: &Args) -> Result<Lens, String> {
    let order = |geometry| Order::read(lens.eye.into(), &lens.rx, lens.prism.as_deref(), geometry);
    let judging = args.judging();
    if judging.uncertainty == Uncertainty::Budget && lens.frame.is_none() {
        return Err(NO_DISTANCES.into());
    }
    let inspected = match lens.source()? {
        Source::Spots { file, gap, throw } => {
            let order = order(distances(gap, throw)?)?;
            let name = file.display().to_string();
            let source = File::open(file).map_err(|error| Fault::of_file(&name, error.to_string()).to_string())?;
            Lens::of_spots(order, name, BufReader::new(source), &judging)
        }
        Source::Frames { frame, empty, setup } => {
            let sensor = sensor(setup).map_err(|fault| fault.to_string())?;
            let judging = judging.with_distances(&sensor)?;
            let order = order(sensor.geometry)?;
            Capture::read(frame, empty, &sensor)
                .and_then(|capture| Lens::of_frames(order, frame.display().to_string(), capture, &judging))
        }
    };
    inspected.map_err(|fault| fault.to_string())
}

fn sensor(setup: &Path) -> Result<Sensor, Fault> {
    let fault = |what: String| Fault::of_file(&setup.display().to_string(), what);
    let text = fs::read_to_string(setup).map_err(|error| fault(error.to_string()))?;
    Sensor::read(&text).map_err(fault)
}

fn inspect_demo(args: &Args) -> Result<Vec<Lens>, String> {
    if args.uncertainty == Uncertainty::Budget {
        return Err(NO_DISTANCES.into());
    }
    let inspect = |lens: &demo::DemoLens| {
        let (file, source) = (lens.file.to_string(), lens.spots.as_bytes());
        Lens::of_spots(lens.order()?, file, source, &args.judging()).map_err(|fault| fault.to_string())
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
