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

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Mutex;

    // Two steps known, one done, two more found to be needed: 1 of 2, 2 of 4, 3 of 4, 4 of 4.
    #[test]
    fn steps_found_on_the_way_are_told_with_the_next() {
        let told = Mutex::new(Vec::new());
        let tell = |done: usize, of: usize| told.lock().unwrap().push((done, of));
        let progress = Progress::new(&tell);
        progress.expect(2);
        progress.step();
        progress.expect(2);
        (0..3).for_each(|_| progress.step());
        assert_eq!(*told.lock().unwrap(), [(1, 2), (2, 4), (3, 4), (4, 4)]);
    }
}
