//! The fitted parameters with one covariance matrix, to which shared terms are added.
//!
//! A systematic term moves several parameters at once by known amounts: its contribution is the
//! outer product of those amounts (JCGM 102:2011, 6.2).

use indexmap::IndexMap;
use nalgebra::DMatrix;

use super::parameter::Parameter;
use super::{Covariance, SharedTerm};
use crate::quantity::Measured;

/// Values of parameters and their covariance.
#[derive(Debug, Clone, Default)]
pub(crate) struct ParameterEstimates {
    names: Vec<Parameter>,
    values: Vec<f64>,
    matrix: DMatrix<f64>,
    /// Degrees of freedom of each parameter's own part, and that part's variance.
    own: Vec<(f64, f64)>,
    /// What another firing of the same rig would share.
    shared: Vec<SharedTerm>,
}

impl ParameterEstimates {
    /// Appends parameters with their covariance among themselves and with those already there
    /// (one row for each new, one column for each old).
    pub(crate) fn append(
        &mut self,
        new: &[(Parameter, f64)],
        own: &DMatrix<f64>,
        with_old: Option<&DMatrix<f64>>,
        freedom: &[f64],
    ) {
        let (old, added) = (self.names.len(), new.len());
        let mut matrix = DMatrix::zeros(old + added, old + added);
        matrix.view_mut((0, 0), (old, old)).copy_from(&self.matrix);
        matrix.view_mut((old, old), (added, added)).copy_from(own);
        if let Some(cross) = with_old {
            matrix.view_mut((old, 0), (added, old)).copy_from(cross);
            matrix
                .view_mut((0, old), (old, added))
                .copy_from(&cross.transpose());
        }
        self.matrix = matrix;
        let freedom = freedom
            .iter()
            .copied()
            .chain(std::iter::repeat(f64::INFINITY));
        self.own
            .extend((0..added).zip(freedom).map(|(i, f)| (f, own[(i, i)])));
        self.names.extend(new.iter().map(|(name, _)| *name));
        self.values.extend(new.iter().map(|(_, value)| *value));
    }

    fn index(&self, parameter: Parameter) -> Option<usize> {
        self.names.iter().position(|known| *known == parameter)
    }

    /// Value of a parameter.
    #[must_use]
    pub(crate) fn value(&self, parameter: Parameter) -> Option<f64> {
        self.index(parameter).map(|index| self.values[index])
    }

    /// Standard uncertainty of a parameter.
    #[must_use]
    pub(crate) fn u(&self, parameter: Parameter) -> Option<f64> {
        self.index(parameter)
            .map(|index| self.matrix[(index, index)].max(0.0).sqrt())
    }

    /// A parameter with the interval that its degrees of freedom call for; systematic terms have no
    /// end of them (Welch-Satterthwaite; JCGM 100:2008, G.4).
    #[must_use]
    pub(crate) fn measured(&self, parameter: Parameter) -> Option<Measured> {
        let index = self.index(parameter)?;
        let u = self.u(parameter)?;
        let (freedom, own) = self.own[index];
        let freedom = freedom * (u * u / own.max(f64::MIN_POSITIVE)).powi(2);
        Some(Measured::student(
            self.values[index],
            u,
            freedom,
            parameter.unit(),
        ))
    }

    /// Adds a systematic term of the rig: one standard uncertainty of it moves each parameter so.
    pub(crate) fn add_shared(&mut self, source: &str, moves: &[(Parameter, f64)]) {
        self.add(moves);
        self.note_shared(source, moves);
    }

    /// Notes that a part of what is already in the covariance is one term of the rig.
    pub(crate) fn note_shared(&mut self, source: &str, moves: &[(Parameter, f64)]) {
        let moves: IndexMap<Parameter, f64> = moves
            .iter()
            .filter(|(parameter, by)| *by != 0.0 && self.index(*parameter).is_some())
            .copied()
            .collect();
        if !moves.is_empty() {
            let source = source.to_owned();
            self.shared.push(SharedTerm { source, moves });
        }
    }

    /// Makes one parameter of another that is in proportion to it.
    pub(crate) fn rescale(&mut self, from: Parameter, to: Parameter, factor: f64) {
        let Some(index) = self.index(from) else {
            return;
        };
        self.names[index] = to;
        self.values[index] *= factor;
        self.own[index].1 *= factor * factor;
        self.matrix.row_mut(index).scale_mut(factor);
        self.matrix.column_mut(index).scale_mut(factor);
        for term in &mut self.shared {
            if let Some(by) = term.moves.shift_remove(&from) {
                term.moves.insert(to, factor * by);
            }
        }
    }

    /// The terms that another firing of the same rig would share, of the parameters that are kept.
    #[must_use]
    pub(crate) fn systematic(&self, keep: impl Fn(Parameter) -> bool) -> Vec<SharedTerm> {
        let mut out = self.shared.clone();
        for term in &mut out {
            term.moves.retain(|parameter, _| keep(*parameter));
        }
        out.retain(|term| !term.moves.is_empty());
        out
    }

    /// Adds a term that moves several parameters at once.
    pub(crate) fn add(&mut self, moves: &[(Parameter, f64)]) {
        let mut by = vec![0.0; self.names.len()];
        for (parameter, move_by) in moves {
            if let Some(index) = self.index(*parameter) {
                by[index] = *move_by;
            }
        }
        for i in 0..by.len() {
            for j in 0..by.len() {
                self.matrix[(i, j)] += by[i] * by[j];
            }
        }
    }

    /// The covariance of the parameters that are kept, as results show it.
    #[must_use]
    pub(crate) fn covariance(&self, keep: impl Fn(Parameter) -> bool) -> Covariance {
        let index: Vec<usize> = (0..self.names.len())
            .filter(|i| keep(self.names[*i]))
            .collect();
        let row = |i: &usize| index.iter().map(|j| self.matrix[(*i, *j)]).collect();
        Covariance {
            names: index.iter().map(|i| self.names[*i]).collect(),
            matrix: index.iter().map(row).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shared_term_ties_parameters_together() {
        let mut both = ParameterEstimates::default();
        let own = DMatrix::from_diagonal_element(2, 2, 9.0);
        let (a, b) = (Parameter::Gain, Parameter::Lag);
        both.append(&[(a, 1.0), (b, 2.0)], &own, None, &[]);
        both.add_shared("test", &[(a, 4.0), (b, -1.0)]);
        let covariance = both.covariance(|_| true);
        assert_eq!(covariance.matrix, [[25.0, -4.0], [-4.0, 10.0]]);
        assert_eq!(both.u(a), Some(5.0));
    }
}
