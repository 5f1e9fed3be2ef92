//! One plant from several firings in a glance: each parameter, an axis in each column.

use crate::plant::parameter::Parameter;
use crate::plant::pool::{PooledAxis, PooledFit, PooledParameter};
use crate::view::at::{At, at};
use crate::view::text::{Text, text};
use crate::view::{Content, Table};

use super::cell;

pub(in crate::view) fn glance(root: &At<'_, PooledFit>) -> Vec<Content> {
    let axes: Vec<(Text, At<'_, PooledAxis>)> = at!(root.axes).entries().collect();
    let names = axes.iter().map(|(name, _)| text!["axis ", name.clone()]);
    let heads = std::iter::once(Text::default()).chain(names);
    let rows = Parameter::ALL.iter().filter_map(|parameter| {
        let own: Vec<_> = axes
            .iter()
            .map(|(_, axis)| of_axis(axis, *parameter))
            .collect();
        own.iter().any(Option::is_some).then(|| {
            let cells = own.into_iter().map(Option::unwrap_or_default);
            std::iter::once(parameter.label().into())
                .chain(cells)
                .collect()
        })
    });
    let agreement = axes
        .iter()
        .map(|(_, axis)| at!(axis.agreement_p).probability());
    let agreement = std::iter::once("p-value that the firings agree".into()).chain(agreement);
    let rows = rows.chain(std::iter::once(agreement.collect()));
    vec![Content::Table(Table::plain(heads, rows))]
}

fn of_axis(axis: &At<'_, PooledAxis>, parameter: Parameter) -> Option<Text> {
    let all = at!(axis.parameters);
    let one: At<'_, PooledParameter> = all
        .each()
        .find(|one: &At<'_, PooledParameter>| one.of.name == parameter)?;
    Some(if one.of.shared {
        cell(&at!(one.value))
    } else {
        "differs".into()
    })
}
