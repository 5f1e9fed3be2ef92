//! The fitted parameters with one covariance matrix, to which shared terms are added.
//!
//! A systematic term moves several parameters at once by known amounts: its contribution is the
//! outer product of those amounts (JCGM 102:2011, 6.2).

use nalgebra::DMatrix;

use super::Covariance;
use crate::quantity::Measured;

/// Named values and their covariance.
#[derive(Debug, Clone, Default)]
pub struct Parameters {
    names: Vec<&'static str>,
    values: Vec<f64>,
    matrix: DMatrix<f64>,
    /// Degrees of freedom of each parameter's own part, and that part's variance.
    own: Vec<(f64, f64)>,
}

impl Parameters {
    /// Appends parameters with their covariance among themselves and with those already there
    /// (one row for each new, one column for each old).
    pub fn append(
        &mut self,
        new: &[(&'static str, f64)],
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

    fn index(&self, name: &str) -> Option<usize> {
        self.names.iter().position(|known| *known == name)
    }

    /// Value of a parameter.
    #[must_use]
    pub fn value(&self, name: &str) -> Option<f64> {
        self.index(name).map(|index| self.values[index])
    }

    /// Standard uncertainty of a parameter.
    #[must_use]
    pub fn u(&self, name: &str) -> Option<f64> {
        self.index(name)
            .map(|index| self.matrix[(index, index)].max(0.0).sqrt())
    }

    /// A parameter with the interval that its degrees of freedom call for; systematic terms have no
    /// end of them (Welch-Satterthwaite; JCGM 100:2008, G.4).
    #[must_use]
    pub fn measured(&self, name: &str, unit: &str) -> Option<Measured> {
        let index = self.index(name)?;
        let u = self.u(name)?;
        let (freedom, own) = self.own[index];
        let freedom = freedom * (u * u / own.max(f64::MIN_POSITIVE)).powi(2);
        Some(Measured::student(self.values[index], u, freedom, unit))
    }

    /// Adds a systematic term: by how much one standard uncertainty of it moves each parameter.
    pub fn add_shared(&mut self, moves: &[(&str, f64)]) {
        let mut by = vec![0.0; self.names.len()];
        for (name, move_by) in moves {
            if let Some(index) = self.index(name) {
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
    pub fn covariance(&self, keep: impl Fn(&str) -> bool) -> Covariance {
        let index: Vec<usize> = (0..self.names.len())
            .filter(|i| keep(self.names[*i]))
            .collect();
        let row = |i: &usize| index.iter().map(|j| self.matrix[(*i, *j)]).collect();
        Covariance {
            names: index.iter().map(|i| self.names[*i].to_owned()).collect(),
            matrix: index.iter().map(row).collect(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shared_term_ties_parameters_together() {
        let mut both = Parameters::default();
        let own = DMatrix::from_diagonal_element(2, 2, 9.0);
        both.append(&[("a", 1.0), ("b", 2.0)], &own, None, &[]);
        both.add_shared(&[("a", 4.0), ("b", -1.0)]);
        let covariance = both.covariance(|_| true);
        assert_eq!(covariance.matrix, [[25.0, -4.0], [-4.0, 10.0]]);
        assert_eq!(both.u("a"), Some(5.0));
    }
}
