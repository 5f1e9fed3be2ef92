//! How far the fit of one axis is, told while it runs: who watches draws it, the fit only counts.

use std::cell::Cell;

/// FitProgress of one axis: the way through a measured nozzle takes the most, and the intervals are the last.
pub(crate) const STEPS: usize = 9;

/// Counts the steps of one axis.
pub(crate) struct FitProgress<'a> {
    left: Cell<usize>,
    tell: &'a dyn Fn(),
}

impl<'a> FitProgress<'a> {
    /// Nothing done yet; `tell` is called once for each step.
    #[must_use]
    pub(crate) fn new(tell: &'a dyn Fn()) -> Self {
        Self {
            left: Cell::new(STEPS),
            tell,
        }
    }

    /// One step is done.
    pub(crate) fn done(&self) {
        if let Some(left) = self.left.get().checked_sub(1) {
            self.left.set(left);
            (self.tell)();
        }
    }

    /// All that is left is done: not every axis takes every step.
    pub(crate) fn finish(&self) {
        for _ in 0..self.left.get() {
            self.done();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_axis_takes_the_same_number_of_steps_however_it_goes() {
        for taken in [0, 3, STEPS, STEPS + 5] {
            let told = Cell::new(0);
            let tell = || told.set(told.get() + 1);
            let steps = FitProgress::new(&tell);
            (0..taken).for_each(|_| steps.done());
            assert_eq!(told.get(), taken.min(STEPS));
            steps.finish();
            assert_eq!(told.get(), STEPS);
        }
    }
}
