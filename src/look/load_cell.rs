//! Which columns are load cells, and why; where that is not sure, which could be.
//!
//! A name or a unit that speaks of force comes first, then what burns, then the only column of numbers beside the
//! clock. Where several could be it and nothing tells them apart, none is taken.

use serde::Serialize;

use super::{ColumnLook, Kind, LogLook, Signal};

/// Readings of a column that can be judged, at least.
const FEWEST: usize = 20;

/// A column that is a load cell, or could be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[non_exhaustive]
pub struct CellSeen {
    /// Its log, by its place in the list from 0.
    pub log: usize,
    /// Its place among the columns, from 0.
    pub column: usize,
    /// Why it is taken, or could be.
    pub why: CellReason,
}

/// Why a column is taken for a load cell.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
#[serde(rename_all = "kebab-case")]
pub enum CellReason {
    /// Its name or unit speaks of force.
    Named,
    /// It is the sum of two others.
    Sum,
    /// Nothing else burns.
    OnlyBurning,
    /// Nothing else holds numbers that move, but the clock.
    OnlyNumbers,
    /// It burns, and others do, too.
    Burns,
    /// It moves, and others do, too.
    Moves,
}

impl CellReason {
    /// In words.
    #[must_use]
    pub(crate) const fn words(self) -> &'static str {
        match self {
            Self::Named => "its name or unit speaks of force",
            Self::Sum => "the sum of two others",
            Self::OnlyBurning => "the only one that burns",
            Self::OnlyNumbers => "the only column of numbers beside the clock",
            Self::Burns => "it burns",
            Self::Moves => "it moves",
        }
    }
}

/// The load cells of some logs.
#[derive(Debug, Default, PartialEq)]
pub(super) struct Choice {
    /// What surely is one.
    pub cells: Vec<CellSeen>,
    /// What could be one; nothing when the cells are sure.
    pub perhaps: Vec<CellSeen>,
}

/// A column with the places of its log and of itself.
type Placed<'a> = (usize, usize, &'a ColumnLook);

/// Chooses the load cells.
#[must_use]
pub(super) fn choose(logs: &[LogLook]) -> Choice {
    let possible: Vec<Placed> = logs
        .iter()
        .enumerate()
        .flat_map(|(nth, log)| {
            let columns = log.columns.iter().enumerate();
            columns
                .filter(|(_, one)| could_be(one, &log.columns))
                .map(move |(at, one)| (nth, at, one))
        })
        .collect();
    let mut all = possible.iter();
    let rests = all.all(|(.., one)| one.kind == Kind::Noise);
    let of = |wanted: &dyn Fn(&ColumnLook) -> bool| -> Vec<Placed> {
        possible
            .iter()
            .copied()
            .filter(|(.., one)| wanted(one))
            .collect()
    };
    let burning = of(&|one| one.kind == Kind::Burns);
    let named = narrowed(of(&is_force));
    // Noise is a cell at rest where nothing else could be one.
    let possible = of(&|one| rests || one.kind != Kind::Noise);
    // A name says less than a burn in another column.
    let outdone = !burning.is_empty() && named.iter().all(|(.., one)| one.kind != Kind::Burns);
    let sure = if !named.is_empty() {
        (alike(&named) && !outdone).then_some((named.clone(), CellReason::Named))
    } else if burning.is_empty() {
        (possible.len() == 1).then_some((possible.clone(), CellReason::OnlyNumbers))
    } else {
        (burning.len() == 1).then_some((burning.clone(), CellReason::OnlyBurning))
    };
    let seen = |(log, column, one): &Placed, why: CellReason| CellSeen {
        log: *log,
        column: *column,
        why: if one.sum_of.is_empty() {
            why
        } else {
            CellReason::Sum
        },
    };
    if let Some((cells, why)) = sure {
        return Choice {
            cells: cells.iter().map(|one| seen(one, why)).collect(),
            perhaps: vec![],
        };
    }
    let first = if outdone {
        [burning, named]
    } else {
        [named, burning]
    };
    let open = first
        .into_iter()
        .chain([possible])
        .find(|some| !some.is_empty());
    let why = |one: &Placed| match one.2.kind {
        Kind::Burns => CellReason::Burns,
        _ => CellReason::Moves,
    };
    let open = open.unwrap_or_default();
    Choice {
        cells: vec![],
        perhaps: open.iter().map(|one| seen(one, why(one))).collect(),
    }
}

fn is_force(column: &ColumnLook) -> bool {
    let role = column.role.as_ref();
    role.is_some_and(|role| role.signal == Signal::Force)
}

/// Whether a column of a log may be a load cell at all.
fn could_be(column: &ColumnLook, all: &[ColumnLook]) -> bool {
    let moves = matches!(column.kind, Kind::Burns | Kind::Moves | Kind::Noise)
        || (is_force(column) && column.kind == Kind::Steps);
    let other = column.role.is_some() && !is_force(column);
    let named = |name: &str| all.iter().find(|one| one.name == name);
    // Of a column and what was computed from it the one counts whose unit is known.
    let source = column.computed_from.as_deref().and_then(named);
    let is_copy =
        source.is_some_and(|from| column.force_unit().is_none() || from.force_unit().is_some());
    let is_source = column.force_unit().is_none()
        && all.iter().any(|one| {
            one.computed_from.as_deref() == Some(column.name.as_str()) && one.force_unit().is_some()
        });
    let is_part = all.iter().any(|one| one.sum_of.contains(&column.name));
    let counts = column
        .trace
        .value()
        .windows(2)
        .all(|pair| pair[1] >= pair[0]);
    moves && !other && !is_copy && !is_source && !is_part && !counts && column.readings >= FEWEST
}

/// Of columns that speak of force those with a unit, and of these those that burn.
fn narrowed(mut named: Vec<Placed>) -> Vec<Placed> {
    let wanted: [fn(&ColumnLook) -> bool; 2] = [
        |one| one.force_unit().is_some(),
        |one| one.kind == Kind::Burns,
    ];
    for wanted in wanted {
        if named.iter().any(|(.., one)| wanted(one)) {
            named.retain(|(.., one)| wanted(one));
        }
    }
    named
}

/// Whether columns are one cell, or several of one kind that all burn.
fn alike(columns: &[Placed]) -> bool {
    let [(.., first), others @ ..] = columns else {
        return false;
    };
    others.iter().all(|(.., one)| {
        one.kind == Kind::Burns
            && first.kind == Kind::Burns
            && one.force_unit() == first.force_unit()
    })
}
