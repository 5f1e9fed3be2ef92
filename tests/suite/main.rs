//! The integration suite: one binary, one module for each subject.
