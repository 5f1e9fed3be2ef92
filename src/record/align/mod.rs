//! Ties between clocks.
