//! The desk as a page: files, what is seen in them, the firing file as form and text, the way to the report.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::form::{Field, State, fields};
use crate::config::keys::Kind;
use crate::diagnostic::Diagnostic;
use crate::look::{ColumnLook, Kind as Does, LogLook, Look};
use crate::render::plot::look::column as picture;
use crate::render::words::{clean, plain};
use crate::watch::Told;

/// What lies on the desk.
#[derive(Debug, Default)]
pub struct Desk {
    /// The folder, as the terminal names it.
    pub folder: String,
    /// Its files.
    pub files: Vec<DeskFile>,
    /// What is seen in its logs.
    pub look: Look,
    /// The text of the firing file; `None` before there is one.
    pub text: Option<String>,
    /// What the text was when it was shown, so that two pages do not overwrite each other.
    pub revision: String,
    /// What is wrong with it.
    pub problems: Vec<Diagnostic>,
    /// Files of certified motors to choose from.
    pub motors: Vec<String>,
    /// The reduction.
    pub work: DeskWork,
}

/// A file of the folder.
#[derive(Debug, Clone)]
pub struct DeskFile {
    /// Its name.
    pub name: String,
    /// What it is.
    pub is: String,
    /// Whether the firing file names it.
    pub named: bool,
}

/// How far the reduction is.
#[derive(Debug, Clone, Default)]
pub enum DeskWork {
    /// Nothing was reduced.
    #[default]
    None,
    /// Steps of the fit done, of those known to be needed.
    Busy(usize, usize),
    /// It failed, and why.
    Failed(String),
    /// What came out, and whether the files have changed since.
    Done(Told, bool),
}

/// The whole page.
#[must_use]
pub fn desk_page(desk: &Desk) -> String {
    framed("Desk", "/desk.js", &part(desk))
}

/// What of it changes.
#[must_use]
pub fn desk_part(desk: &Desk) -> String {
    part(desk).into_string()
}

/// A served page around its content.
pub(super) fn framed(title: &str, script: &str, main: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                link rel="icon" href="data:,";
                title { (title) " · burnwright" }
                link rel="stylesheet" href="/style.css";
                script src=(script) defer {}
            }
            body { main #main { (main) } p #said role="status" aria-live="polite" {} }
        }
    }
    .into_string()
}

fn part(desk: &Desk) -> Markup {
    html! {
        header.top {
            h1 { "Desk" }
            p.faint.small { (clean(&desk.folder)) ". Served by this machine to this machine; nothing leaves it." }
        }
        div #drop tabindex="-1" {
            label.pick for="pick" { "Drop logs, points and certified motors here, or choose them" }
            input #pick type="file" multiple;
            (files(&desk.files))
        }
        @if !desk.look.logs.is_empty() { (seen(desk)) }
        @if let Some(text) = &desk.text { (firing(desk, text)) (work(desk)) }
        @else if desk.files.is_empty() {
            p { "The recorders' files as they are, copied off their cards. A firing file is begun from what is found in them; the "
                "rest only you know." }
        }
    }
}

fn files(all: &[DeskFile]) -> Markup {
    html! {
        @if !all.is_empty() {
            ul.plain.files {
                @for file in all {
                    li { b.num { (clean(&file.name)) } " " span.faint { (clean(&file.is)) }
                        @if !file.named { " " span.word.undecided { "not named in firing.toml" } } }
                }
            }
            @if all.iter().any(|file| !file.named) {
                p { button.plain type="button" data-post="/begin" { "Begin firing.toml anew from these files" }
                    span.faint.small { " (the present one is kept beside it)" } }
            }
        }
    }
}

/// What is seen in the logs: the sentence, then each column drawn.
fn seen(desk: &Desk) -> Markup {
    let says = plain(&crate::view::look::page(&desk.look).says);
    html! {
        section aria-labelledby="h-seen" {
            h2 #h-seen { "What is in them" }
            p { (says) }
            @for (nth, log) in desk.look.logs.iter().enumerate() { (drawn(desk, nth, log)) }
        }
    }
}

fn drawn(desk: &Desk, nth: usize, log: &LogLook) -> Markup {
    let window_s = (nth == 0).then(|| window_s(desk)).flatten();
    let draw = |column: &&ColumnLook| {
        let chart = picture(log, column, window_s)?;
        Some(html! { figure.column { (chart.markup()) } })
    };
    let burns = |column: &&ColumnLook| {
        column.kind == Does::Burns
            || desk.look.cells.iter().any(|cell| {
                cell.log == nth
                    && log
                        .columns
                        .get(cell.column)
                        .is_some_and(|one| one.name == column.name)
            })
    };
    let moves = |column: &&ColumnLook| {
        !burns(column) && matches!(column.kind, Does::Moves | Does::Steps | Does::TwoLevels)
    };
    let others: Vec<Markup> = log
        .columns
        .iter()
        .filter(moves)
        .filter_map(|one| draw(&one))
        .collect();
    html! {
        h3 { span.num { (clean(&log.file)) } }
        p.faint.small.num { (log.tally.rows_read) " rows, " (format!("{:.1}", log.length_s)) " s. " (notes(log)) }
        div data-window=[(nth == 0 && desk.text.is_some()).then_some("")] {
            @for column in log.columns.iter().filter(burns) { @if let Some(drawn) = draw(&column) { (drawn) } }
        }
        @if nth == 0 && desk.text.is_some() {
            p.faint.small { "Is another stretch the burn? Drag over it: that sets the window, [reduce] window in the text below." }
        }
        @if !others.is_empty() {
            details.more id={ "more-" (nth) } {
                summary { (others.len()) " more columns that move" }
                div.columns-2 { @for one in others { (one) } }
            }
        }
    }
}

fn notes(log: &LogLook) -> String {
    let notes: Vec<String> = log.notes.iter().map(|note| clean(note)).collect();
    notes.join("; ")
}

/// The window that the text states.
fn window_s(desk: &Desk) -> Option<(f64, f64)> {
    let fields = fields(desk.text.as_ref()?);
    let field = fields
        .into_iter()
        .find(|one| one.at == "reduce.window" && one.state == State::Given)?;
    let table = format!("window = {}", field.value)
        .parse::<toml::Table>()
        .ok()?;
    let ends = table.get("window")?.as_array()?;
    let seconds = |at: usize| {
        let text = ends.get(at)?.as_str()?;
        Some(
            crate::quantity::given::parse::<crate::quantity::Time>(text)
                .ok()?
                .si(),
        )
    };
    Some((seconds(0)?, seconds(1)?))
}

/// The form and, beside it, the text.
fn firing(desk: &Desk, text: &str) -> Markup {
    let all = fields(text);
    let of = |state: State| all.iter().filter(move |one| one.state == state);
    let tables: Vec<&str> = all
        .iter()
        .map(Field::table)
        .filter(|table| table.starts_with("motor."))
        .collect();
    html! {
        section aria-labelledby="h-fill" {
            h2 #h-fill { "What only you know" }
            div.both {
                form #form autocomplete="off" data-revision=(desk.revision) {
                    @let open = of(State::Open).count();
                    @match open {
                        0 => p { "Nothing has to be completed. More makes the answer sharper." },
                        1 => p { "One value has to be completed." },
                        more => p { (more) " values have to be completed." },
                    }
                    @for field in of(State::Open) { (shown(desk, &all, field)) }
                    @for field in of(State::Optional).filter(|one| one.key.name == "certified") { (shown(desk, &all, field)) }
                    (group("optional", "More that can be said", &desk.problems, of(State::Optional).filter(|one| one.key.name != "certified"), |one| shown(desk, &all, one)))
                    (group("given", "What is said", &desk.problems, of(State::Given), |one| shown(desk, &all, one)))
                    @if let Some(last) = tables.last() {
                        button.plain type="button" data-post="/copy" data-value=(last) { "One motor more" }
                    }
                }
                div {
                    label for="text" { b { "firing.toml" } span.faint.small { " the truth; the form changes its lines" } }
                    textarea #text spellcheck="false" wrap="off" rows=(text.lines().count().clamp(12, 42)) { (PreEscaped("\n")) (text) }
                    @if !desk.problems.is_empty() {
                        div #problems role="alert" {
                            @for one in &desk.problems { pre { (one.render()) } }
                        }
                    }
                }
            }
        }
    }
}

/// Fields that fold, open where one of them is at fault.
fn group<'a>(
    id: &str,
    title: &str,
    problems: &[Diagnostic],
    fields: impl Iterator<Item = &'a Field>,
    draw: impl Fn(&Field) -> Markup,
) -> Markup {
    let fields: Vec<&Field> = fields.collect();
    let at_fault = fields
        .iter()
        .any(|field| problem(problems, field).is_some());
    let headed = |nth: usize| {
        let before = nth.checked_sub(1).map(|before| fields[before].table());
        before != Some(fields[nth].table()) && !fields[nth].table().is_empty()
    };
    html! {
        @if !fields.is_empty() {
            details.more id=(id) open[at_fault] {
                summary { (title) " (" (fields.len()) ")" }
                @for (nth, field) in fields.iter().enumerate() {
                    @if headed(nth) { h3 { "[" (field.table()) "]" } }
                    (draw(field))
                }
            }
        }
    }
}

fn problem<'a>(problems: &'a [Diagnostic], field: &Field) -> Option<&'a Diagnostic> {
    let at_line = |one: &&Diagnostic| {
        one.place
            .as_ref()
            .is_some_and(|place| place.line == field.line)
    };
    problems.iter().find(at_line)
}

/// A field with its label, what it means, and what is wrong with it.
fn shown(desk: &Desk, all: &[Field], field: &Field) -> Markup {
    let id = format!("f-{}", field.at.replace('.', "-"));
    let wrong = problem(&desk.problems, field).filter(|_| field.state == State::Given);
    html! {
        div.field {
            label for=(id) { b { (field.key.name) } " " span.faint { (if field.state == State::Open { field.table() } else { "" }) } }
            (control(desk, all, field, &id, wrong.is_some()))
            p.faint.small id={ (id) "-says" } { (field.says()) }
            @if let Some(wrong) = wrong {
                p.small.wrong { (wrong.message) @for hint in &wrong.hints { ". " (hint) } }
            }
        }
    }
}

fn control(desk: &Desk, all: &[Field], field: &Field, id: &str, wrong: bool) -> Markup {
    let choices: Option<Vec<(String, String)>> = match field.key.kind {
        Kind::Choice(words) | Kind::ChoiceOrTable(words, _) => {
            Some(words().into_iter().map(same).collect())
        }
        Kind::Boolean => Some(["true", "false"].map(same).to_vec()),
        Kind::Path if field.key.name == "certified" => {
            Some(desk.motors.iter().map(|one| same(one)).collect())
        }
        Kind::Path if field.key.name != "curves" => {
            Some(desk.files.iter().map(|one| same(&one.name)).collect())
        }
        Kind::Signal(_) => Some(signals(
            desk,
            all,
            if field.value.is_empty() {
                &field.offered
            } else {
                &field.value
            },
        )),
        _ => None,
    };
    let quoted = field.remark.split_once("such as \"");
    let quoted = quoted.and_then(|(_, rest)| rest.split('"').next());
    let example = Some(field.offered.as_str())
        .filter(|offered| !offered.is_empty())
        .or(quoted);
    html! {
        @if let Some(choices) = choices {
            select id=(id) data-at=(field.at) aria-invalid=[wrong.then_some("true")] aria-describedby={ (id) "-says" } {
                option value="" { "–" }
                @if !field.value.is_empty() && !choices.iter().any(|one| one.0 == field.value) {
                    option value=(field.value) selected { (field.value) }
                }
                @for (value, words) in choices { option value=(value) selected[value == field.value] { (words) } }
            }
        } @else {
            input id=(id) type="text" data-at=(field.at) value=(field.value) placeholder=[example.map(|one| format!("such as {one}"))]
                aria-invalid=[wrong.then_some("true")] aria-describedby={ (id) "-says" };
        }
    }
}

fn same(word: &str) -> (String, String) {
    (word.to_owned(), word.to_owned())
}

/// Every column that a signal can be, as the file writes it, with the unit that stands there now.
fn signals(desk: &Desk, all: &[Field], now: &str) -> Vec<(String, String)> {
    let unit = now
        .split_once("unit = \"")
        .and_then(|(_, rest)| rest.split('"').next());
    let unit = unit.map_or(String::new(), |unit| format!(", unit = \"{unit}\""));
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let mut out = Vec::new();
    for log in &desk.look.logs {
        let names = all.iter().find(|one| {
            one.value == log.file && one.at.starts_with("log.") && one.key.name == "file"
        });
        let Some(name) = names.map(|one| one.table().trim_start_matches("log.")) else {
            continue;
        };
        for column in log
            .columns
            .iter()
            .filter(|one| !matches!(one.kind, Does::Clock | Does::Words))
        {
            let value = format!(
                "{{ log = {}, column = {}{unit} }}",
                quoted(name),
                quoted(&column.name)
            );
            out.push((value, format!("{} of {}", clean(&column.name), clean(name))));
        }
    }
    out
}

/// The way to the report.
fn work(desk: &Desk) -> Markup {
    let busy = matches!(desk.work, DeskWork::Busy(..));
    html! {
        section #work aria-labelledby="h-work" data-busy[busy] {
            h2 #h-work { "Reduce" }
            p {
                button #reduce type="button" data-post="/reduce" disabled[busy] { "Reduce" }
                " " span.faint.small { "the same as " code { "burnwright reduce" } " in this folder" }
            }
            @match &desk.work {
                DeskWork::None => {},
                DeskWork::Busy(done, of) => p { progress value=(done) max=(of.max(&1)) {} " " (done) " of " (of) " steps of the fit" },
                DeskWork::Failed(why) => div role="alert" { @for one in why.split("\n\n") { pre { (one) } } },
                DeskWork::Done(told, stale) => {
                    @if let Some(danger) = &told.danger { p.danger role="alert" { (danger) @if let Some(caution) = &told.caution { br; (caution) } } }
                    p class={ "verdict " (told.outcome.word()) } { span { (told.verdict) @if let Some(more) = &told.delivered { " " (more) } } }
                    @if *stale { p.word.undecided { "firing.toml has changed since: this is of the earlier one." } }
                    p { a.open href="/reduced/report.html" target="_blank" { "Open the report" } }
                },
            }
        }
    }
}
