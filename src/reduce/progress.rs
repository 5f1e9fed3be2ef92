//! How far a reduction is, told while it runs: steps of the fit of the plant, which takes longest.

use std::sync::atomic::{AtomicUsize, Ordering};

/// Hears how many steps are done of those known to be needed, on any thread.
pub(crate) type Watch<'a> = &'a (dyn Fn(usize, usize) + Sync);

/// What is done of what is known to be needed, told after each step.
pub(super) struct Progress<'a> {
    done: AtomicUsize,
    of: AtomicUsize,
    watch: Watch<'a>,
}

impl<'a> Progress<'a> {
    pub(super) const fn new(watch: Watch<'a>) -> Self {
        Self {
            done: AtomicUsize::new(0),
            of: AtomicUsize::new(0),
            watch,
        }
    }

    /// So many more steps are to come.
    pub(super) fn expect(&self, more: usize) {
        self.of.fetch_add(more, Ordering::Relaxed);
    }

    /// One step is done, on any thread.
    pub(super) fn step(&self) {
        let done = 1 + self.done.fetch_add(1, Ordering::Relaxed);
        let of = self.of.load(Ordering::Relaxed);
        (self.watch)(done, of);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    // Two steps known, one done, two more found to be needed: 1 of 2, 2 of 4, 3 of 4, 4 of 4.
    #[test]
    fn steps_found_on_the_way_are_told_with_the_next() {
        let told = Mutex::new(Vec::new());
        let watch = |done, of| told.lock().unwrap().push((done, of));
        let progress = Progress::new(&watch);
        progress.expect(2);
        progress.step();
        progress.expect(2);
        (0..3).for_each(|_| progress.step());
        assert_eq!(*told.lock().unwrap(), [(1, 2), (2, 4), (3, 4), (4, 4)]);
    }
}
