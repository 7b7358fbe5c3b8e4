//! Which bright pixels belong together: runs of a row that touch runs of the row before, corners included.

use super::{
    FinderError,
    blob::{FREE, OpenBlob, RunSums},
};

/// Bright pixels side by side, for the memory that the caller gives.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Default)]
pub struct Run {
    start: u16,
    /// One past the last.
    end: u16,
    blob: u16,
}

impl Run {
    /// An unused one.
    pub const EMPTY: Self = Self { start: 0, end: 0, blob: 0 };
}

/// The runs of two rows, and the blobs that they belong to.
#[derive(Debug)]
pub(super) struct Labels<'a> {
    above: &'a mut [Run],
    above_len: usize,
    current: &'a mut [Run],
    current_len: usize,
    /// First run above that may touch what comes.
    next_above: usize,
    blobs: &'a mut [OpenBlob],
    /// One past the last blob in use.
    used: usize,
    /// No blob below it is free.
    full_to: usize,
    /// Blobs that are open, those that went to others included.
    open: usize,
    /// How many of them the row touches, so far.
    met: usize,
    /// Whether the row joined some.
    joined: bool,
}

impl<'a> Labels<'a> {
    /// Half of the runs for each of two rows.
    pub(super) fn new(runs: &'a mut [Run], blobs: &'a mut [OpenBlob]) -> Self {
        let half = runs.len() >> 1;
        let (above, current) = runs.split_at_mut_checked(half).unwrap_or_default();
        let current = current.get_mut(..half).unwrap_or_default();
        let mut labels = Self {
            above,
            above_len: 0,
            current,
            current_len: 0,
            next_above: 0,
            blobs,
            used: 0,
            full_to: 0,
            open: 0,
            met: 0,
            joined: false,
        };
        labels.clear();
        labels
    }

    pub(super) fn clear(&mut self) {
        for blob in self.blobs.iter_mut() {
            blob.goes_to = FREE;
        }
        (self.above_len, self.current_len, self.next_above) = (0, 0, 0);
        (self.used, self.full_to, self.open, self.met, self.joined) = (0, 0, 0, 0, false);
    }

    /// Adds a run that ends before a column, and lies right of all others of its row.
    ///
    /// # Errors
    /// [`FinderError::TooManyRuns`], [`FinderError::TooManyBlobs`].
    #[inline]
    pub(super) fn add(&mut self, sums: &RunSums, end: u16, y: u16) -> Result<(), FinderError> {
        if self.current_len >= self.current.len() {
            return Err(FinderError::TooManyRuns);
        }
        let start = end.wrapping_sub(sums.pixels as u16);
        let blob = match self.touched(start, end) {
            Some(blob) => blob,
            None => self.open()?,
        };
        if let Some(open) = self.blobs.get_mut(usize::from(blob)) {
            self.met = self.met.wrapping_add(usize::from(open.bottom != y));
            open.take_run(sums, end, y);
        }
        if let Some(place) = self.current.get_mut(self.current_len) {
            *place = Run { start, end, blob };
        }
        self.current_len = self.current_len.wrapping_add(1);
        Ok(())
    }

    /// Whether a blob is open: without one, no run lies in this row or the one above.
    pub(super) const fn is_any_open(&self) -> bool {
        self.used > 0
    }

    /// The blob above that a run touches; those that it touches besides are joined to it.
    fn touched(&mut self, left: u16, right: u16) -> Option<u16> {
        let mut touched = None;
        while let Some(above) = self.above.get(self.next_above).filter(|_| self.next_above < self.above_len) {
            let Run { start, end, blob } = *above;
            if start > right {
                break;
            }
            if end >= left {
                let root = self.root(blob);
                touched = Some(touched.map_or(root, |other| self.join(other, root)));
            }
            if end > right {
                // It may touch the next one too.
                break;
            }
            self.next_above = self.next_above.wrapping_add(1);
        }
        touched
    }

    /// Where a blob's pixels are now: a joined one goes to a lower place, so that this ends.
    fn root(&self, blob: u16) -> u16 {
        let mut at = blob;
        while let Some(open) = self.blobs.get(usize::from(at)).filter(|open| open.goes_to < at) {
            at = open.goes_to;
        }
        at
    }

    #[inline(never)]
    fn join(&mut self, a: u16, b: u16) -> u16 {
        let (kept, gone) = (a.min(b), a.max(b));
        if kept != gone {
            self.joined = true;
            let Some(open) = self.blobs.get_mut(usize::from(gone)) else { return kept };
            open.goes_to = kept;
            let pixels = *open;
            if let Some(open) = self.blobs.get_mut(usize::from(kept)) {
                open.take(&pixels);
            }
        }
        kept
    }

    /// Opens a blob in the first free place, whatever the size of the table.
    #[inline(never)]
    fn open(&mut self) -> Result<u16, FinderError> {
        let free = |blob: &OpenBlob| blob.goes_to == FREE;
        let rest = self.blobs.get(self.full_to..).unwrap_or_default();
        let at = rest.iter().position(free).map(|beyond| self.full_to.wrapping_add(beyond));
        let at = at.ok_or(FinderError::TooManyBlobs)?;
        let place = u16::try_from(at).ok().filter(|&place| place < FREE).ok_or(FinderError::TooManyBlobs)?;
        if let Some(open) = self.blobs.get_mut(at) {
            *open = OpenBlob::EMPTY;
            open.goes_to = place;
        }
        self.full_to = at.wrapping_add(1);
        self.used = self.used.max(self.full_to);
        self.open = self.open.wrapping_add(1);
        Ok(place)
    }

    /// Ends a row: hands out the blobs that it did not touch.
    pub(super) fn end_row(&mut self, y: u16, mut ended: impl FnMut(&OpenBlob)) {
        if self.joined {
            for at in 0..self.current_len {
                let Some(root) = self.current.get(at).map(|run| self.root(run.blob)) else { break };
                if let Some(run) = self.current.get_mut(at) {
                    run.blob = root;
                }
            }
        }
        // Where the row touches all that are open, nothing ends.
        if self.joined || self.met != self.open {
            self.close(|blob| blob.bottom != y, &mut ended);
        }
        core::mem::swap(&mut self.above, &mut self.current);
        self.above_len = self.current_len;
        (self.current_len, self.next_above) = (0, 0);
        (self.met, self.joined) = (0, false);
    }

    /// Hands out every blob.
    pub(super) fn end_frame(&mut self, mut ended: impl FnMut(&OpenBlob)) {
        self.close(|_| true, &mut ended);
        self.above_len = 0;
    }

    /// Frees the blobs that went to others and those that are over.
    fn close(&mut self, is_over: impl Fn(&OpenBlob) -> bool, ended: &mut impl FnMut(&OpenBlob)) {
        let (mut used, mut open) = (0, 0usize);
        let mut next = 0usize;
        for blob in self.blobs.iter_mut().take(self.used) {
            let at = next;
            next = next.wrapping_add(1);
            if blob.goes_to == FREE {
                continue;
            }
            let is_joined = usize::from(blob.goes_to) != at;
            if is_joined || is_over(blob) {
                if !is_joined {
                    ended(blob);
                }
                blob.goes_to = FREE;
                self.full_to = self.full_to.min(at);
            } else {
                used = at.wrapping_add(1);
                open = open.wrapping_add(1);
            }
        }
        (self.used, self.open) = (used, open);
    }
}
