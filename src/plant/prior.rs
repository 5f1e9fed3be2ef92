//! What is known of the parameters of the tilt before a record is looked at.

use std::ops::{Index, IndexMut};

use super::parameter::Parameter;

/// Prior of a parameter.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Prior {
    /// Centre.
    pub value: f64,
    /// Standard deviation; 0 holds the parameter.
    pub u: f64,
}

/// The priors of all parameters.
#[derive(Debug, Clone, Copy, Default)]
pub(crate) struct Priors([Prior; Parameter::ALL.len()]);

impl Index<Parameter> for Priors {
    type Output = Prior;

    fn index(&self, parameter: Parameter) -> &Prior {
        &self.0[parameter as usize]
    }
}

impl IndexMut<Parameter> for Priors {
    fn index_mut(&mut self, parameter: Parameter) -> &mut Prior {
        &mut self.0[parameter as usize]
    }
}
