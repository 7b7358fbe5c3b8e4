//! Counts the instructions of a call with SysTick, which under `-icount shift=10` advances in proportion to the
//! instructions executed. They are instructions, not cycles: QEMU models neither wait states nor pipelines.

use core::{
    arch::asm,
    fmt,
    hint::black_box,
    sync::atomic::{AtomicU32, Ordering},
};

use cortex_m::peripheral::{SYST, syst::SystClkSource};
use cortex_m_semihosting::hprintln;

const INSTRUCTIONS_PER_TICK: (u32, u32) = include!(concat!(env!("OUT_DIR"), "/instructions_per_tick.in"));
/// The counter is 24 bits wide and counts down: it wraps after 0.65 to 1.3 million instructions, which its exception counts.
const COUNTER_MASK: u32 = 0x00FF_FFFF;
/// Counted up by the firmware's own exception: some ten instructions for a million of what is counted.
pub static WRAPS: AtomicU32 = AtomicU32::new(0);
const SYST_CVR: u32 = 0xE000_E018;

/// Starts SysTick on the core clock, over its whole range.
pub fn start(mut systick: SYST) {
    systick.set_clock_source(SystClkSource::Core);
    systick.set_reload(COUNTER_MASK);
    systick.clear_current();
    systick.enable_interrupt();
    systick.enable_counter();
}

/// Reads the counter by an instruction that the compiler moves no memory access across.
#[inline(always)]
fn now() -> u32 {
    let ticks;
    // SAFETY: reads one word of the core's own SysTick block, which every supported core has.
    unsafe { asm!("ldr {ticks}, [{at}]", ticks = out(reg) ticks, at = in(reg) SYST_CVR) };
    ticks
}

/// The wraps so far and the counter, of the same moment: a wrap whose exception is still to come is waited for, and one that comes
/// between the readings makes both be read again.
#[inline(always)]
fn reading() -> (u32, u32) {
    loop {
        let wraps = WRAPS.load(Ordering::SeqCst);
        let ticks = now();
        cortex_m::asm::isb();
        if WRAPS.load(Ordering::SeqCst) == wraps {
            return (wraps, ticks);
        }
    }
}

/// Ticks from before to after `function(input)`, including the call itself and the store of its result.
#[inline(never)]
fn ticks<I, O>(function: fn(I) -> O, input: I) -> u64 {
    let function = black_box(function);
    let input = black_box(input);
    let (wraps_before, before) = reading();
    black_box(function(input));
    let (wraps_after, after) = reading();
    let wraps = wraps_after.wrapping_sub(wraps_before);
    // Without a wrap the counter is lower afterwards.
    u64::from(wraps)
        .wrapping_mul(u64::from(COUNTER_MASK) + 1)
        .wrapping_add(u64::from(before))
        .wrapping_sub(u64::from(after))
}

fn nothing<I>(input: I) {
    black_box(&input);
}

const fn instructions(ticks: u64) -> u32 {
    let (per, of) = INSTRUCTIONS_PER_TICK;
    ((ticks * per as u64 + of as u64 / 2) / of as u64) as u32
}

/// Prints `name`, the average and the largest number of instructions of `function` over `inputs`, each divided by
/// `parts` (the spots of one call, say), less those of a call that does nothing. Tab-separated: `run` makes the table.
pub fn report<I: Copy, O>(name: &str, parts: u32, inputs: impl IntoIterator<Item = I>, function: fn(I) -> O) {
    let (mut sum, mut largest, mut calls) = (0, 0, 0);
    for input in inputs {
        let spent = instructions(ticks(function, input));
        let empty = instructions(ticks(nothing, input));
        let net = spent.saturating_sub(empty);
        sum += net;
        largest = largest.max(net);
        calls += parts;
    }
    hprintln!("{}\t{}\t{}", name, (sum + calls / 2) / calls, (largest + parts / 2) / parts);
}

/// Instructions of `function` over all `inputs`, less those of as many calls that do nothing. Each call must stay below the
/// counter's 0.65 million.
pub fn total<I: Copy, O>(inputs: impl IntoIterator<Item = I>, function: fn(I) -> O) -> u32 {
    let net = |input| instructions(ticks(function, input)).saturating_sub(instructions(ticks(nothing, input)));
    inputs.into_iter().map(net).sum()
}

/// Prints `name` and a part of `spent` instructions, as [`report`] does; to hundredths where there are parts.
pub fn report_share(name: fmt::Arguments, spent: u32, parts: u32) {
    if parts == 1 {
        hprintln!("{}\t{}\t{}", name, spent, spent);
        return;
    }
    let hundredths = (u64::from(spent) * 100 + u64::from(parts) / 2) / u64::from(parts);
    let (whole, rest) = (hundredths / 100, hundredths % 100);
    hprintln!("{}\t{}.{:02}\t{}.{:02}", name, whole, rest, whole, rest);
}
