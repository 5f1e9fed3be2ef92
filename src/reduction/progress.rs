//! How far a reduction is, told while it runs. What takes long is the plant, so its steps are counted.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Steps done of those known to be needed, told after each.
pub(super) struct Progress<'a> {
    done: AtomicUsize,
    of: AtomicUsize,
    tell: &'a (dyn Fn(usize, usize) + Sync),
}

impl<'a> Progress<'a> {
    pub(super) const fn new(tell: &'a (dyn Fn(usize, usize) + Sync)) -> Self {
        Self {
            done: AtomicUsize::new(0),
            of: AtomicUsize::new(0),
            tell,
        }
    }

    /// So many more steps are to come.
    pub(super) fn expect(&self, more: usize) {
        self.of.fetch_add(more, Ordering::Relaxed);
    }

    /// One step is done, on any thread.
    pub(super) fn step(&self) {
        let done = 1 + self.done.fetch_add(1, Ordering::Relaxed);
        (self.tell)(done, self.of.load(Ordering::Relaxed));
    }
}
