//! The motors: which lit and when, what each delivered, and whether it is the one on the label.
//!
//! [`lit`] weighs the evidence for every set of motors that may have lit, [`class`] gives the letter
//! and compares with label and certified curve; both weigh hypotheses by [`bayes`]. [`chamber`] puts a pressure record beside the thrust.

pub(crate) mod bayes;
pub(crate) mod chamber;
pub(crate) mod class;
pub(crate) mod lit;
