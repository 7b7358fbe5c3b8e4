//! The deepest stack since reset. `cortex-m-rt` paints the free RAM at reset (feature `paint-stack`): what no longer
//! has the paint was used.

/// The paint of `cortex-m-rt`.
const PAINT: u32 = 0xCCCC_CCCC;

unsafe extern "C" {
    static _stack_end: u32;
    static _stack_start: u32;
}

/// Bytes of stack used so far, at most.
pub fn high_water() -> usize {
    let mut unused = &raw const _stack_end;
    let top = &raw const _stack_start;
    // SAFETY: both symbols are word-aligned ends of the RAM that the linker script leaves to the stack.
    unsafe {
        while unused < top && unused.read_volatile() == PAINT {
            unused = unused.add(1);
        }
        top.byte_offset_from(unused) as usize
    }
}

/// Prints [`high_water`] in decimal, without `core::fmt` and its flash.
pub fn print_high_water() {
    let mut text = *b"0000000\n";
    let mut rest = high_water() as u32;
    for digit in text.iter_mut().take(7).rev() {
        *digit = b'0' + (rest % 10) as u8;
        rest /= 10;
    }
    if let Ok(mut out) = cortex_m_semihosting::hio::hstdout() {
        // Nobody is there to be told of an error.
        let _written = out.write_all(&text);
    }
}
