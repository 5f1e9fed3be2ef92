//! How far a reduction is, told while it runs: bytes of the logs, then steps of the plant, which take longest.

use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use crate::config::Firing;
use crate::log;

/// What a reduction is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Doing {
    /// Reading the logs: so many bytes of so many, each counted as often as it is gone through.
    Reading {
        /// Bytes that are done.
        done: u64,
        /// Bytes that are to be done.
        of: u64,
    },
    /// Fitting the plant: so many steps of those known to be needed.
    Fitting {
        /// Steps that are done.
        done: usize,
        /// Steps known to be needed.
        of: usize,
    },
}

/// Hears what a reduction is at, on any thread.
pub type Tell<'a> = &'a (dyn Fn(Doing) + Sync);

/// What is done of what is known to be needed, told after each step.
pub(super) struct Progress<'a> {
    done: AtomicUsize,
    of: AtomicUsize,
    tell: Tell<'a>,
}

impl<'a> Progress<'a> {
    pub(super) const fn new(tell: Tell<'a>) -> Self {
        Self {
            done: AtomicUsize::new(0),
            of: AtomicUsize::new(0),
            tell,
        }
    }

    /// What hears of bytes gone through while the logs of a firing are read.
    pub(super) fn reading(&self, firing: &Firing) -> impl Fn(u64) + Sync {
        let logs = firing.logs.values();
        let lengths = logs.filter_map(|log| Some(log.file.value.metadata().ok()?.len()));
        self.bytes(log::PASSES * lengths.sum::<u64>())
    }

    /// What hears of bytes gone through while so many are to be.
    fn bytes(&self, of: u64) -> impl Fn(u64) + Sync {
        let read = AtomicU64::new(0);
        move |more| {
            // A log in which no part stands out is read once more.
            let done = read.fetch_add(more, Ordering::Relaxed).saturating_add(more);
            let done = done.min(of);
            (self.tell)(Doing::Reading { done, of });
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
        (self.tell)(Doing::Fitting { done, of });
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
        let tell = |doing: Doing| told.lock().unwrap().push(doing);
        let progress = Progress::new(&tell);
        progress.expect(2);
        progress.step();
        progress.expect(2);
        (0..3).for_each(|_| progress.step());
        let steps = [(1, 2), (2, 4), (3, 4), (4, 4)].map(|(done, of)| Doing::Fitting { done, of });
        assert_eq!(*told.lock().unwrap(), steps);
    }

    // Ten bytes are to be read and twelve are: no more than all is told.
    #[test]
    fn bytes_read_add_up_and_stop_at_all_of_them() {
        let told = Mutex::new(Vec::new());
        let tell = |doing: Doing| told.lock().unwrap().push(doing);
        let progress = Progress::new(&tell);
        let reading = progress.bytes(10);
        [4, 4, 4].into_iter().for_each(&reading);
        let bytes = [4, 8, 10].map(|done| Doing::Reading { done, of: 10 });
        assert_eq!(*told.lock().unwrap(), bytes);
    }
}
