//! The tables of load cells in a first firing file: what is sure of them, and what the maker has to say.

use super::written::{Named, bare, optional, signal, unlike};
use crate::config::keys::TO_COMPLETE;
use crate::log::words::short;
use crate::look::{BurnSeen, CellSeen, ColumnLook, Look};
use crate::render::words::clean;

/// A table for each load cell, or one as a comment where none is sure.
pub(super) fn cell_tables(look: &Look, logs: &[String]) -> String {
    let column = |cell: &CellSeen| {
        let (_, column) = look.column(cell)?;
        Some((column, logs.get(cell.log)?.as_str()))
    };
    let mut out = String::new();
    let mut names: Vec<String> = Vec::new();
    for cell in &look.cells {
        let Some((column, log)) = column(cell) else {
            continue;
        };
        let name = unlike(&names, &cell_name(column));
        out += &format!(
            "\n# {} is taken for a load cell: {}\n",
            clean(&column.name),
            cell.why.words()
        );
        if let Some(burn) = column.largest_burn() {
            out += &burn_comment(burn, column);
        }
        out += &unclear_comment(column);
        out += &format!("[cell.{name}]\nsignal = {}\n", signal(column, log, None));
        out += &scale_lines(column, &name);
        out += "# capacity = \"??\"              # rated load, such as \"98 N\"\n";
        out += "# delay = \"??\"                 # how late the converter's readings are, such as \"3 ms u 0.5 ms\"\n\n";
        names.push(name);
    }
    if look.cells.is_empty() {
        let open: Vec<(Named, &CellSeen)> = look
            .perhaps_cells
            .iter()
            .filter_map(|cell| Some((column(cell)?, cell)))
            .collect();
        out += &cell_template(&open);
    }
    out
}

fn cell_name(column: &ColumnLook) -> String {
    let name = column.title.as_ref().unwrap_or(&column.name);
    let stem = name.trim_end_matches("_raw").trim_end_matches("_counts");
    bare(stem)
}

/// What turns readings into force: a unit where the log states one, else what the maker has to say.
fn scale_lines(column: &ColumnLook, name: &str) -> String {
    let points = format!("\"cell-{name}-points.csv\" (docs/calibration.md)");
    if let Some(unit) = column.force_unit() {
        let falls = column.largest_burn().is_some_and(|burn| burn.falls);
        let sign = if falls { "-" } else { "" };
        return format!(
            "scale = \"{sign}1 {unit}\"     # the log states the unit: check; or in its place points =\n\
             #                  # a file of known weights against readings, such as {points}\n\
             # masses = \"??\"                # tolerance of the weights behind points, such as \"0.02 %\"\n"
        );
    }
    let mut out = format!(
        "# points: a file of known weights against raw readings, such as {points};\n\
         # or in its place scale = \"0.0123 N\", newtons for each count,\n"
    );
    out += if scaled(column) {
        "# or, as the readings are no whole numbers, somebody scaled them already, in grams perhaps: scale = \"1 gf\"\n"
    } else {
        "# or scale = \"1 gf\" where the log is in grams already\n"
    };
    out += &format!("points = \"{TO_COMPLETE}\"\n");
    out + "# masses = \"??\"                # tolerance of the weights behind the points, such as \"0.02 %\"\n"
}

/// Whether readings are no counts of a converter, which are whole numbers.
fn scaled(column: &ColumnLook) -> bool {
    column
        .trace
        .value()
        .iter()
        .any(|value| value.fract() != 0.0)
}

/// A table as a comment, with every column that could be the cell.
fn cell_template(open: &[(Named, &CellSeen)]) -> String {
    let Some((((first, log), _), others)) = open.split_first() else {
        let text = "[cell.base]\nsignal = { log = \"..\", column = \"..\" }\npoints = \"??\"\n";
        return "# No column looks like a load cell. If one is, write for it:\n".to_owned()
            + &optional(text);
    };
    let mut text = format!("[cell.base]\nsignal = {}\n", signal(first, log, None));
    for ((column, log), _) in others {
        text += &format!("# or signal = {}\n", signal(column, log, None));
    }
    text += &format!(
        "points = \"{TO_COMPLETE}\"    # or scale = \"0.0123 N\", newtons for each count, or \"1 gf\" where the log is in grams\n"
    );
    let names: Vec<String> = open
        .iter()
        .map(|((column, _), cell)| format!("{} ({})", clean(&column.name), cell.why.words()))
        .collect();
    format!(
        "# Which column is the load cell is not sure: {}.\n# Take the # away, and keep one signal:\n",
        names.join(", ")
    ) + &optional(&text)
}

fn burn_comment(burn: &BurnSeen, column: &ColumnLook) -> String {
    let mut out = format!(
        "# it looks like a burn from {:.3} s to {:.3} s, {} {} {} baseline\n",
        burn.onset_s,
        burn.end_s,
        short(burn.peak_raw),
        column.force_unit().unwrap_or("counts"),
        if burn.falls { "below" } else { "above" },
    );
    if burn.falls {
        out += "# its readings fall while it burns: a scale would be negative\n";
    }
    for other in column.burns.iter().filter(|one| *one != burn) {
        out += &format!(
            "# another burn from {:.3} s to {:.3} s\n",
            other.onset_s, other.end_s
        );
    }
    out
}

/// Unclear burns that are listed, and reasons of each.
const UNCLEAR_LISTED: usize = 8;
const DOUBTS_LISTED: usize = 2;

fn unclear_comment(column: &ColumnLook) -> String {
    let mut out = String::new();
    if column.all_burn {
        out += "# it is all burn, with no baseline to see its zero by: if the cell was tared before, give [reduce] zero = \"tared\"\n";
    }
    if !column.unclear.is_empty() {
        out += "# not surely a burn, so reduce asks for a window where nothing else is one:\n";
    }
    for one in column.unclear.iter().take(UNCLEAR_LISTED) {
        let against = if one.doubts.is_empty() {
            "another like it is there".to_owned()
        } else {
            let told = one.doubts.len().min(DOUBTS_LISTED);
            one.doubts[..told].join(", ")
        };
        let height = short(one.height_raw);
        out += &format!(
            "#   {:.2} s to {:.2} s, {height} high: {against}\n",
            one.from_s, one.to_s
        );
    }
    let more = column.unclear.len().saturating_sub(UNCLEAR_LISTED);
    if more > 0 {
        out += &format!("#   and {more} more\n");
    }
    out
}
