//! One plant from several firings of one rig: each axis pooled, and the plant file of what they share.

use indexmap::{IndexMap, IndexSet};

use super::pool::{self, DIFFERS_BY_ITSELF, PooledAxis, PooledFit};
use super::{AxisPlant, Parameter, PlantFile};
use crate::diagnostic::{Code, Diagnostic, Error};
use crate::finding;

/// What several firings of one rig have in common.
#[derive(Debug, Clone)]
#[non_exhaustive]
pub struct CommonPlant {
    /// Each parameter with the values of the firings beside the common one: what `fit.json` holds.
    pub fit: PooledFit,
    /// The plant with the common values: what `plant.json` holds.
    pub plant: PlantFile,
}

impl CommonPlant {
    /// Whether every finding of every axis holds.
    #[must_use]
    pub fn every_finding_holds(&self) -> bool {
        let axes = self.fit.axes.values();
        finding::all_hold(axes.flat_map(|axis| &axis.plant.findings))
    }
}

/// Makes one plant of those of several firings, each with the firing's name. The parameters named in
/// `differ` may differ between firings, and so may the thrust bias, which changes with every motor
/// that is put in, unless `share_all` is set.
///
/// # Errors
/// A name in `differ` that is no parameter; no axis that two firings or more tell.
pub fn fit(
    firings: &[(String, PlantFile)],
    differ: &[String],
    share_all: bool,
) -> Result<CommonPlant, Error> {
    let plants: Vec<&PlantFile> = firings.iter().map(|(_, plant)| plant).collect();
    let mut differ = named(&plants, differ)?;
    differ.extend((!share_all).then_some(DIFFERS_BY_ITSELF));
    let names: IndexSet<&String> = plants.iter().flat_map(|plant| plant.axes.keys()).collect();
    let axes: IndexMap<String, PooledAxis> = names
        .into_iter()
        .filter_map(|name| {
            let of: Vec<Option<&AxisPlant>> =
                plants.iter().map(|plant| plant.axes.get(name)).collect();
            Some((name.clone(), pool::pool(&of, &differ)?))
        })
        .collect();
    let first = plants.first().filter(|_| !axes.is_empty());
    let Some(first) = first else {
        let none = Diagnostic::error(
            Code::NothingShared,
            "no axis is identifiable from two firings or more",
        );
        return Err(none
            .hint("name firings of one rig, with the same axis names")
            .into());
    };
    let common = axes
        .iter()
        .map(|(name, axis)| (name.clone(), axis.plant.clone()));
    Ok(CommonPlant {
        plant: PlantFile {
            firing: format!("{} firings", firings.len()),
            axes: common.collect(),
            ..(*first).clone()
        },
        fit: PooledFit {
            schema: pool::SCHEMA,
            firings: firings.iter().map(|(name, _)| name.clone()).collect(),
            axes,
        },
    })
}

/// The parameters that are named so; refuses a name that is no parameter of any plant.
fn named(plants: &[&PlantFile], names: &[String]) -> Result<Vec<Parameter>, Error> {
    let axes = plants.iter().flat_map(|plant| plant.axes.values());
    let known: IndexSet<Parameter> = axes
        .flat_map(|axis| axis.covariance.names.iter().copied())
        .collect();
    let parameter = |name: &String| {
        let found = Parameter::from_key(name).filter(|found| known.contains(found));
        found.ok_or_else(|| {
            let message = format!("`{name}` is no parameter of these plants");
            let all: Vec<&str> = known.iter().map(|one| one.key()).collect();
            let unknown = Diagnostic::error(Code::NoParameter, message);
            Error::from(unknown.hint(format!("choose from {}", all.join(", "))))
        })
    };
    names.iter().map(parameter).collect()
}
