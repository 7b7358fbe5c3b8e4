//! What the camera of a Hartmann-type sensor sees of a known lens, with the true values beside it: input for a reader of frames
//! where no instrument is at hand.
//!
//! ```text
//! cargo run --release --example render -- --lens "-2.25 -1.50 x 035" --out DIR
//! cargo run --release --example render -- --out DIR      (a demo set)
//! cargo run --release --example render -- --help
//! ```
//!
//! `setup.rs` describes `setup.toml`. Rays are traced (`optics`), spots are drawn where they land (`frame`), and the frame is
//! written as PGM (`pgm`).

mod args;
mod demo;
mod frame;
mod ink;
mod optics;
mod pgm;
mod scene;
mod setup;
mod truth;
mod view;

use args::Args;
use clap::Parser;
use dioptric::rx::SpheroCylinder;
use frame::{Camera, Light};
use pgm::Image;
use scene::{Faults, Scene};
use std::fs;
use std::io::{self, Write as _};
use std::path::Path;
use std::process::ExitCode;
use truth::Truth;

const BAD_INPUT: u8 = 2;

fn main() -> ExitCode {
    let args = Args::parse();
    let done = match args.lens {
        Some(power) => draw(&args, power),
        None => draw_demo(&args.out),
    };
    match done {
        Ok(()) => ExitCode::SUCCESS,
        Err(message) => {
            // With nowhere to say it, the exit status must do.
            let _ = writeln!(io::stderr(), "error: {message}");
            ExitCode::from(BAD_INPUT)
        }
    }
}

fn draw_demo(out: &Path) -> Result<(), String> {
    for (folder, arguments) in demo::SET {
        let out = out.join(folder);
        let usual = ["render".as_ref(), "--out".as_ref(), out.as_os_str()];
        let given = arguments.iter().map(std::ffi::OsStr::new);
        let args = Args::try_parse_from(usual.into_iter().chain(given)).map_err(|error| error.to_string())?;
        let power = args.lens.ok_or("a demo lens without power")?;
        draw(&args, power)?;
    }
    Ok(())
}

fn draw(args: &Args, power: SpheroCylinder) -> Result<(), String> {
    let (setup, order) = (args.setup()?, args.order(power)?);
    let lens = args.placed(&order);
    let picture = &args.picture;
    let (look, faults, camera) = (picture.look(), picture.faults(), picture.camera(setup.detector.bits)?);
    let seed = picture.seed;
    let scene = Scene::new(&setup, Some(&lens), &look, &faults, &camera, seed);
    if scene.spots.is_empty() {
        return Err("no light comes through the plate".into());
    }
    // What is wrong with the plate and the camera is wrong without the lens too.
    let lasting = Faults { missing: faults.missing, ..Faults::default() };
    let empty = Scene::new(&setup, None, &look, &lasting, &camera, seed);
    let expose = |light: &Light, hot: &[_], seed| {
        if picture.quiet { camera.expose_quietly(light, hot) } else { camera.expose(light, hot, seed) }
    };
    let truth = Truth::of(&setup, &order, &lens, &scene.spots);
    let mut truth = toml::to_string(&truth).map_err(|error| error.to_string())?;

    let out = &args.out;
    fs::create_dir_all(out).map_err(|error| format!("{}: {error}", out.display()))?;
    image(out, "lens.pgm", &expose(&scene.light, &scene.hot, seed))?;
    image(out, "empty.pgm", &expose(&empty.light, &scene.hot, seed.wrapping_add(1)))?;
    if let Some(turn) = picture.ink {
        truth += &ink(out, &camera, scene.light.width, scene.light.height, turn, seed.wrapping_add(2))?;
    }
    file(out, "setup.toml", setup.write()?.as_bytes())?;
    file(out, "truth.toml", truth.as_bytes())?;
    file(out, "spots.csv", &truth::spots_csv(&scene.spots)?)
}

/// Draws the marked lens; returns what is true of it.
fn ink(out: &Path, camera: &Camera, width: usize, height: usize, turn: f64, seed: u64) -> Result<String, String> {
    #[derive(serde::Serialize)]
    struct Table {
        ink: ink::Ink,
    }
    let (light, ink) = ink::draw(width, height, camera.full_well_electrons, turn);
    image(out, "ink.pgm", &camera.expose(&light, &[], seed))?;
    toml::to_string(&Table { ink }).map(|text| format!("\n{text}")).map_err(|error| error.to_string())
}

fn image(folder: &Path, name: &str, image: &Image) -> Result<(), String> {
    let mut bytes = Vec::new();
    pgm::write(image, &mut bytes).map_err(|error| error.to_string())?;
    file(folder, name, &bytes)
}

fn file(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), String> {
    let path = folder.join(name);
    fs::write(&path, bytes).map_err(|error| format!("{}: {error}", path.display()))
}
