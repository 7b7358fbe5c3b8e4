//! Memory that is in its place from the start: a value of its size on the way through the stack would not fit there.

use core::cell::RefCell;

use cortex_m::interrupt::{self, Mutex};

use super::bench::HOLES;
use super::inspect::{Memory, Places};

/// The memory of a program that measures one lens at a time.
pub struct Kept(Mutex<RefCell<(Memory, Places)>>);

impl Kept {
    pub const fn new() -> Self {
        Self(Mutex::new(RefCell::new((Memory::new(), [None; HOLES]))))
    }

    /// Lends it, without interrupts; `None` while it is lent.
    pub fn with<T>(&self, job: impl FnOnce(&mut Memory, &mut Places) -> T) -> Option<T> {
        interrupt::free(|token| {
            let mut kept = self.0.borrow(token).try_borrow_mut().ok()?;
            let (memory, places) = &mut *kept;
            Some(job(memory, places))
        })
    }
}
