//! A view as text for a terminal: the answer first, then what needs attention, then the sections.

mod drawing;
mod findings;
mod first_screen;
pub(crate) mod keys;
pub(crate) mod layout;
pub(crate) mod start;
mod trace;

use crate::archive::Archive;
use crate::calibration::Judgement;
use crate::compare::Comparison;
use crate::control::GainsFile;
use crate::finding::Outcome;
use crate::flight::SimulationFile;
use crate::look::Look;
use crate::plan::{Design, Prediction};
use crate::plant::pool::PooledFit;
use crate::quantity::Units;
use crate::ready::Readiness;
use crate::reduce::{FiringResult, Reduction};
use crate::view::text::Text;
use crate::view::{self, Content, Page, Picture, Row, Section, Table};

use super::number;
use super::words::plain;
use layout::{Ink, hanging, headed, wrapped};

/// Narrowest width the tables are made for.
const NARROWEST: usize = 40;

/// What text is made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Screen {
    /// Columns; lines are no longer, from 40 on.
    pub width: usize,
    /// Whether it takes ANSI colours.
    pub colour: bool,
    /// Whether everything is told, or what fits a screen of 24 lines.
    pub full: bool,
    /// The units that are shown.
    pub units: Units,
}

impl Default for Screen {
    /// 80 columns without colour, one screen.
    fn default() -> Self {
        Self {
            width: 80,
            colour: false,
            full: false,
            units: Units::Si,
        }
    }
}

/// How a page is written.
#[derive(Clone, Copy)]
struct Style {
    /// Columns of the terminal.
    width: usize,
    ink: Ink,
}

/// Draws a picture in characters of at most so many columns; nothing for one that is not drawn here.
type Draw<'a> = &'a dyn Fn(&Picture, usize) -> Vec<String>;

const NO_PICTURE: Draw<'static> = &|_, _| Vec::new();

/// A firing. The first line is the verdict. Lines are at most as wide as the screen.
#[must_use]
pub(crate) fn firing(reduction: &Reduction, screen: Screen) -> String {
    let draw = |picture: &Picture, columns: usize| match picture {
        Picture::Thrust => drawing::thrust(reduction, columns),
        _ => Vec::new(),
    };
    write(view::firing::page(&reduction.result), screen, &draw)
}

/// Several firings: one line for each, then what needs attention.
#[must_use]
pub fn overview(of: &[FiringResult], screen: Screen) -> String {
    write(view::overview::page(of), screen, NO_PICTURE)
}

/// A design; the first line says how it went.
#[must_use]
pub(crate) fn gains(of: &GainsFile, screen: Screen) -> String {
    write(view::gains::page(of), screen, NO_PICTURE)
}

/// A simulation; the first line says how it went.
#[must_use]
pub(crate) fn simulation(of: &SimulationFile, screen: Screen) -> String {
    write(view::simulation::page(of), screen, NO_PICTURE)
}

/// Several firings side by side; the first line says how it went.
#[must_use]
pub(crate) fn comparison(of: &Comparison, screen: Screen) -> String {
    write(view::comparison::page(of), screen, NO_PICTURE)
}

/// A test pattern; the first line says for how many axes.
#[must_use]
pub(crate) fn pattern(of: &Design, screen: Screen) -> String {
    write(view::pattern::page(of), screen, NO_PICTURE)
}

/// A stand at rest; the first line says how it went.
#[must_use]
pub(crate) fn ready(of: &Readiness, screen: Screen) -> String {
    write(view::ready::page(of), screen, NO_PICTURE)
}

/// A prediction; the first line says how it went.
#[must_use]
pub(crate) fn plan(of: &Prediction, screen: Screen) -> String {
    write(view::plan::page(of), screen, NO_PICTURE)
}

/// A season's archive; the first line says how many firings there are.
#[must_use]
pub(crate) fn archive(of: &Archive, screen: Screen) -> String {
    write(view::archive::page(of), screen, NO_PICTURE)
}

/// One plant from several firings; the first line says whether they agree.
#[must_use]
pub(crate) fn pooled_plant(of: &PooledFit, screen: Screen) -> String {
    write(view::pooled_plant::page(of), screen, NO_PICTURE)
}

/// What was seen in some logs; the first line says whether something burnt.
#[must_use]
pub(crate) fn look(of: &Look, screen: Screen) -> String {
    let draw = |picture: &Picture, columns: usize| match picture {
        Picture::Column { log, column } => drawing::column(&of.logs[*log], *column, columns),
        _ => Vec::new(),
    };
    write(view::look::page(of), screen, &draw)
}

/// A judged calibration; the first line says how it went.
#[must_use]
pub fn calibration(of: &Judgement, screen: Screen) -> String {
    let draw = |picture: &Picture, columns: usize| match picture {
        Picture::CurveResiduals => drawing::residuals(of, columns),
        _ => Vec::new(),
    };
    write(view::calibration::page(of), screen, &draw)
}

fn headline(page: &Page) -> String {
    match &page.delivered {
        Some(delivered) => format!("{} {}", plain(&page.says), plain(delivered)),
        None => plain(&page.says),
    }
}

fn write(page: Page, screen: Screen, draw: Draw<'_>) -> String {
    let page = &page.shown_in(screen.units);
    let style = Style {
        width: screen.width.max(NARROWEST),
        ink: Ink {
            colour: screen.colour,
        },
    };
    if screen.full {
        everything(page, style, draw)
    } else {
        first_screen::first_screen(page, style, draw)
    }
}

/// Verdict, danger, and what it is about.
fn head(page: &Page, notation: &str, style: Style) -> String {
    let mut out = String::new();
    for line in wrapped(&headline(page), style.width) {
        out += &format!("{}\n", style.ink.outcome(page.outcome, &line));
    }
    if let Some(danger) = &page.danger {
        for line in wrapped(&plain(danger), style.width) {
            out += &format!("{}\n", style.ink.outcome(Outcome::Fails, &line));
        }
    }
    let mut title = plain(&page.title);
    if !page.about.is_empty() {
        title += &format!(" ({})", plain(&page.about));
    }
    if page.intervals {
        title += &format!(". {notation}");
    }
    out + &hanging("", &title, style.width)
}

fn everything(page: &Page, style: Style, draw: Draw<'_>) -> String {
    let mut out = head(page, number::NOTATION, style);
    out += &attention(page, style);
    for section in &page.sections {
        out += &written(section, style, draw);
    }
    out += &findings::findings(page, style);
    for section in &page.closing {
        out += &written(section, style, draw);
    }
    out
}

/// What needs attention, all of it; nothing when there is none.
fn attention(page: &Page, style: Style) -> String {
    if page.attention.is_empty() {
        return String::new();
    }
    let mut out = format!("\n{}\n", style.ink.heading("What needs attention"));
    for one in &page.attention {
        let says = first_screen::says(one, &one.says, usize::MAX);
        let lead = findings::lead(one.grade, style);
        out += &layout::hanging_at(&lead, findings::LEAD, &says, style.width);
    }
    out
}

/// A section without its findings; nothing when nothing of it is shown.
fn written(section: &Section, style: Style, draw: Draw<'_>) -> String {
    let title = plain(&section.title);
    let mut heading = Some(title.clone());
    let mut out = String::new();
    let mut below_table = false;
    for content in &section.contents {
        if let Content::Heading(words) | Content::Fold(words) = content {
            heading = Some(format!("{title}: {}", small(&plain(words))));
            continue;
        }
        let body = body(content, style, draw);
        if body.is_empty() {
            continue;
        }
        // Columns stand apart from other columns.
        let table = matches!(content, Content::Table(_));
        let rows_below = below_table && matches!(content, Content::Rows(_));
        if heading.is_some() || table || rows_below {
            out.push('\n');
        }
        below_table = table;
        if let Some(heading) = heading.take() {
            out += &headed(&heading, style.width, style.ink);
        }
        out += &body;
    }
    out
}

/// Words as they continue a line: without the capital that begins a sentence.
fn small(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_lowercase().chain(letters).collect()
    })
}

fn body(content: &Content, style: Style, draw: Draw<'_>) -> String {
    let width = style.width;
    match content {
        Content::Heading(_) | Content::Fold(_) | Content::Findings(_) => String::new(),
        Content::Rows(rows) => layout::table(&lines(rows), width),
        Content::Table(table) => columns(table, width),
        Content::Picture(picture, caption) => {
            let mut out = String::new();
            for line in draw(picture, width - 4) {
                out += format!("  {line}").trim_end();
                out.push('\n');
            }
            if !out.is_empty() && !caption.is_empty() {
                out += &hanging("  ", &plain(caption), width);
            }
            out
        }
        Content::Note(words) => hanging("  ", &plain(words), width),
        Content::List(lines) => lines
            .iter()
            .map(|line| hanging("  - ", &plain(line), width))
            .collect(),
        Content::Warnings(all) => findings::warnings(all, width),
    }
}

/// Labels and values as they are read.
fn lines(rows: &[Row]) -> Vec<(String, String)> {
    let line = |row: &Row| (plain(&row.label), in_a_row(&row.lines));
    rows.iter().map(line).collect()
}

fn in_a_row(lines: &[Text]) -> String {
    let lines: Vec<String> = lines.iter().map(plain).collect();
    lines.join("; ")
}

/// The cells of a table as they are read, its heads first.
fn cells(table: &Table) -> Vec<Vec<String>> {
    let heads = table.heads.iter().map(plain).collect();
    let rows = table.rows.iter();
    let rows = rows.map(|row| row.iter().map(|cell| in_a_row(cell)).collect());
    std::iter::once(heads).chain(rows).collect()
}

/// A table of columns, or row by row where the width does not hold it.
fn columns(table: &Table, width: usize) -> String {
    let cells = cells(table);
    layout::columns(&cells, width).unwrap_or_else(|| row_by_row(&cells, width))
}

/// Every row as its label and what stands under each head.
fn row_by_row(cells: &[Vec<String>], width: usize) -> String {
    let Some((heads, rows)) = cells.split_first() else {
        return String::new();
    };
    let lines: Vec<(String, String)> = rows
        .iter()
        .map(|row| {
            let mut cells = row.iter();
            let label = cells.next().cloned().unwrap_or_default();
            let rest: Vec<String> = heads[1..]
                .iter()
                .zip(cells)
                .map(|(head, cell)| format!("{head}: {cell}"))
                .collect();
            (label, rest.join("; "))
        })
        .collect();
    layout::table(&lines, width)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::calibration::Direction;
    use crate::calibration::Residual;
    use crate::calibration::points::LoadKind;
    use crate::finding::Outcome;
    use crate::motors::lit::Lit;
    use crate::view::fabricated;
    use unicode_width::UnicodeWidthStr;

    fn verdict(result: &FiringResult) -> String {
        headline(&view::firing::page(result))
    }

    fn screen(width: usize, full: bool) -> Screen {
        Screen {
            width,
            full,
            ..Screen::default()
        }
    }

    #[test]
    fn the_first_line_is_the_verdict_and_no_line_is_too_wide() {
        for (reduction, begins) in [
            (
                fabricated::full(),
                "Both motors lit. Total impulse 59.09 N s (58.65 to 59.53), class F.\n",
            ),
            (
                fabricated::dry_run(),
                "Dry run: no thrust; the steering of axis pitch was fitted.\n",
            ),
            (fabricated::nothing_lit(), "No motor lit.\n"),
            (fabricated::hostile(), "Both motors lit. "),
        ] {
            for (width, full) in [(40, false), (80, false), (40, true), (80, true)] {
                let text = firing(&reduction, screen(width, full));
                let first = text.replacen('\n', " ", 1);
                assert!(first.starts_with(begins.trim_end()), "{text}");
                for line in text.lines() {
                    assert!(line.width() <= width, "{line}");
                }
                assert!(!text.contains('\u{1b}') && !text.contains('\u{202e}'));
            }
        }
    }

    #[test]
    fn the_verdict_says_who_lit_and_what_was_delivered() {
        let mut result = fabricated::full().result;
        assert_eq!(
            verdict(&result),
            "Both motors lit. Total impulse 59.09 N s (58.65 to 59.53), class F."
        );
        let delivered = " Total impulse 59.09 N s (58.65 to 59.53), class F.";
        let ignition = result.ignition.as_mut().unwrap();
        (ignition.all_lit, ignition.lit_count) = (Outcome::Fails, 1);
        result.motors.as_mut().unwrap()["right"].lit = Lit::NotLit;
        assert_eq!(
            verdict(&result),
            format!("Only 1 of 2 motors lit; not lit: right.{delivered}")
        );
        for motor in result.motors.as_mut().unwrap().values_mut() {
            motor.lit = Lit::Undecided;
        }
        assert_eq!(
            verdict(&result),
            format!("Only 1 of 2 motors lit; the record cannot tell which.{delivered}")
        );
        result.ignition.as_mut().unwrap().all_lit = Outcome::Undecided;
        assert_eq!(
            verdict(&result),
            format!(
                "It is undecided whether every motor lit; undecided: left and right.{delivered}"
            )
        );
        assert_eq!(verdict(&fabricated::nothing_lit().result), "No motor lit.");
        assert_eq!(
            verdict(&fabricated::dry_run().result),
            "Dry run: no thrust; the steering of axis pitch was fitted."
        );
    }

    #[test]
    fn colour_changes_nothing_but_codes() {
        let reduction = fabricated::full();
        let plain = firing(&reduction, screen(80, true));
        let colour = Screen {
            colour: true,
            ..screen(80, true)
        };
        let mut coloured = firing(&reduction, colour);
        assert!(coloured.contains("\u{1b}[1;31mfails\u{1b}[0m"));
        for code in ["1", "2", "1;34", "1;31", "1;33", "0"] {
            coloured = coloured.replace(&format!("\u{1b}[{code}m"), "");
        }
        assert_eq!(plain, coloured);
    }

    #[test]
    fn the_steering_table_reads_as_intended() {
        let text = firing(&fabricated::dry_run(), screen(80, true));
        let from = text.find("Steering").unwrap();
        let to = text
            .find("\nSteering, axis pitch: how the fit went")
            .unwrap();
        assert_eq!(
            &text[from..to],
            "Steering, axis pitch\n\
             \x20 gain       0.962 (0.940 to 0.984)\n\
             \x20 lag        28.4 ms (25.9 to 30.9)\n\
             \x20 delay      12.10 ms (10.34 to 13.86)\n\
             \x20 dead band  0.420 deg (0.330 to 0.520)\n\
             \x20 How the nozzle tilts the rocket is not available: no thrust, or no tilt was\n\
             \x20 seen.\n\
             \x20 The free rocket is not available: it is neither described nor carried over\n\
             \x20 from the rig.\n\n\
             Steering, axis pitch: every other parameter, and what is assumed\n\
             \x20 bias               −0.310 deg (−0.388 to −0.232)\n\
             \x20 kind of dead band  backlash\n\
             \x20 travel             5 deg either side\n\
             \x20 validation fit     93.4 % (NRMSE on data not fitted)\n"
        );
    }

    #[test]
    fn a_table_stands_in_columns_or_row_by_row() {
        let cell = |text: &'static str| vec![Text::from(text)];
        let table = Table {
            heads: ["motor", "class"].map(Text::from).to_vec(),
            rows: vec![
                vec![cell("left"), cell("E")],
                vec![cell("right, the other one"), cell("none that is known")],
            ],
        };
        assert_eq!(
            columns(&table, 42),
            "  motor                 class\n\
             \x20 left                  E\n\
             \x20 right, the other one  none that is known\n"
        );
        assert_eq!(
            columns(&table, 41),
            "  left                class: E\n\
             \x20 right, the other    class: none that is\n\
             \x20 one                 known\n"
        );
    }

    #[test]
    fn no_line_of_a_calibration_is_too_wide() {
        for kind in [LoadKind::Force, LoadKind::Angle] {
            for width in [40, 80] {
                let text = calibration(
                    &fabricated::calibration::judgement(kind),
                    screen(width, true),
                );
                assert!(text.lines().all(|line| line.width() <= width), "{text}");
                assert!(!text.contains('\u{1b}'));
            }
        }
    }

    #[test]
    fn a_curve_reads_as_the_sum_it_is() {
        let mut judgement = fabricated::calibration::judgement(LoadKind::Force);
        judgement.coefficients = vec![-8123.0, 101.25, -0.0147];
        let text = calibration(&judgement, screen(80, true));
        assert!(
            text.contains("−8123 + 101.25 x − 0.0147 x², x in N\n"),
            "{text}"
        );
    }

    // By hand: the largest residual stands in the first or last line, zero in the middle one.
    #[test]
    fn residuals_stand_where_they_belong() {
        let mut judgement = fabricated::calibration::judgement(LoadKind::Force);
        let point = |load, residual, direction| Residual {
            load,
            residual: Some(residual),
            direction,
        };
        judgement.residuals = vec![
            point(0.0, 0.2, Some(Direction::Up)),
            point(10.0, -0.2, Some(Direction::Down)),
            point(5.0, 0.0, None),
        ];
        (judgement.largest_residual, judgement.range) = (0.2, [0.0, 10.0]);
        let text = calibration(&judgement, screen(40, true));
        let from = text.find("\nResiduals\n").unwrap() + 1;
        let lines: Vec<&str> = text[from..].lines().skip(1).take(10).collect();
        assert_eq!(lines[0], "       +0.2 N|^");
        assert_eq!(lines[4], "            0|-------------o------------");
        assert_eq!(lines[8], "       −0.2 N|                         v");
        assert_eq!(lines[9], "              0                     10 N");
    }
}
