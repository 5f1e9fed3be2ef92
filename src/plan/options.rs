//! How to think a firing through.

use std::path::{Path, PathBuf};

/// How to predict.
#[derive(Debug, Clone)]
pub struct PlanOptions {
    /// Draws of each case.
    pub draws: usize,
    /// Moves tried to improve a pattern.
    pub moves: usize,
    /// Recordings at rest, for logs that are not there yet.
    pub rest: Vec<PathBuf>,
}

impl Default for PlanOptions {
    fn default() -> Self {
        Self {
            draws: 24,
            moves: 20_000,
            rest: Vec::new(),
        }
    }
}

impl PlanOptions {
    /// The recordings at rest.
    pub(super) fn rest_paths(&self) -> Vec<&Path> {
        self.rest.iter().map(PathBuf::as_path).collect()
    }
}
