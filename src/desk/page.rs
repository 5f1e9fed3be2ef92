//! The desk as a page: files, what is seen in them, the firing file as form and text, the way to the report.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::form::{Field, State, fields};
use crate::config::keys::Kind;
use crate::diagnostic::Diagnostic;
use crate::look::{ColumnLook, Kind as Does, LogLook, Look};
use crate::quantity::{Time, given};
use crate::render::plot::look::column as picture;
use crate::render::text::keys::says;
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
    /// What can be done with it, the reduction first.
    pub tasks: Vec<DeskTask>,
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

/// A command of the terminal that the page gives.
#[derive(Debug)]
pub struct DeskTask {
    /// What it does.
    pub does: DeskCommand,
    /// The words of the command behind `burnwright`.
    pub words: Vec<String>,
    /// How far it is.
    pub work: DeskWork,
}

/// What a page can have done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DeskCommand {
    /// Reduces the firing.
    Reduce,
    /// Fits a curve to a points file.
    Calibrate,
    /// Sets the firing beside those of the folders next to it.
    Compare,
    /// Finds gains for the plant.
    Tune,
}

impl DeskTask {
    /// The command as it is typed in a terminal in this folder.
    #[must_use]
    pub fn command(&self) -> String {
        let plain = |ch: char| ch.is_alphanumeric() || matches!(ch, '.' | '-' | '_' | '/');
        let quoted = |word: &String| match word.chars().all(plain) {
            true => format!(" {word}"),
            false => format!(" \"{word}\""),
        };
        "burnwright".to_owned() + &self.words.iter().map(quoted).collect::<String>()
    }
}

/// How far a command is.
#[derive(Debug, Clone)]
pub enum DeskWork {
    /// It cannot be given yet, and why.
    Cannot(String),
    /// It can be given.
    Ready,
    /// Steps done, of those known to be needed.
    Busy(usize, usize),
    /// It has ended.
    Done(DeskDone),
}

/// What came of a command.
#[derive(Debug, Clone, Default)]
pub struct DeskDone {
    /// The verdict of a reduction.
    pub told: Option<Told>,
    /// What the terminal shows.
    pub says: String,
    /// Whether that is why it failed.
    pub failed: bool,
    /// Address of the page that it wrote.
    pub opens: Option<String>,
    /// Whether the firing file has changed since.
    pub stale: bool,
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
        div #drop tabindex="-1" data-revision=(desk.revision) {
            label.pick for="pick" { "Drop logs, points and certified motors here, or choose them" }
            input #pick type="file" multiple;
            (files(&desk.files))
        }
        @if !desk.look.logs.is_empty() { (seen(desk)) }
        @if let Some(text) = &desk.text { (firing(desk, text)) }
        @if !desk.files.is_empty() { (work(&desk.tasks)) } @else {
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
    let mut cells = desk.look.cells.iter();
    let burns = |(at, column): &(usize, &ColumnLook)| {
        column.kind == Does::Burns || cells.any(|cell| (cell.log, cell.column) == (nth, *at))
    };
    let (burning, others): (Vec<_>, Vec<_>) = log.columns.iter().enumerate().partition(burns);
    let moving = |kind| matches!(kind, Does::Moves | Does::Steps | Does::TwoLevels);
    let draw = |column: &ColumnLook| {
        let chart = picture(log, column, window_s)?;
        Some(html! { figure.column { (chart.markup()) } })
    };
    let others = others.into_iter().filter(|(_, column)| moving(column.kind));
    let others: Vec<Markup> = others.filter_map(|(_, column)| draw(column)).collect();
    html! {
        h3 { span.num { (clean(&log.file)) } }
        p.faint.small.num { (log.tally.rows_read) " rows, " (format!("{:.1}", log.length_s)) " s. " (clean(&log.notes.join("; "))) }
        div data-window=[(nth == 0 && desk.text.is_some()).then_some("")] {
            @for (_, column) in burning { @if let Some(drawn) = draw(column) { (drawn) } }
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

/// The window that the text states, whatever else is open there.
fn window_s(desk: &Desk) -> Option<(f64, f64)> {
    let fields = fields(desk.text.as_ref()?);
    let stated = |one: &&Field| one.at == "reduce.window" && one.state == State::Given;
    let window = &fields.iter().find(stated)?.value;
    let ends = window.split('"').skip(1).step_by(2);
    let mut ends_s = ends.filter_map(|text| Some(given::parse::<Time>(text).ok()?.si()));
    Some((ends_s.next()?, ends_s.next()?))
}

/// The form and, beside it, the text.
fn firing(desk: &Desk, text: &str) -> Markup {
    let all = fields(text);
    let of = |state: State| all.iter().filter(move |one| one.state == state);
    let mut tables = all.iter().rev().map(Field::table);
    let last = tables.find(|table| table.starts_with("motor."));
    let certified = |one: &&Field| one.key.name == "certified";
    let (first, more): (Vec<_>, Vec<_>) = of(State::Optional).partition(certified);
    let draw = |field: &Field| shown(desk, &all, field);
    let fold = |id, title, fields: &[&Field]| group(id, title, &desk.problems, fields, draw);
    html! {
        section aria-labelledby="h-fill" {
            h2 #h-fill { "What only you know" }
            div.both {
                form #form autocomplete="off" {
                    @let open = of(State::Open).count();
                    @match open {
                        0 => p { "Nothing has to be completed. More makes the answer sharper." },
                        1 => p { "One value has to be completed." },
                        more => p { (more) " values have to be completed." },
                    }
                    @for field in of(State::Open).chain(first) { (draw(field)) }
                    (fold("optional", "More that can be said", &more))
                    (fold("given", "What is said", &of(State::Given).collect::<Vec<_>>()))
                    @if let Some(last) = last {
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
fn group(
    id: &str,
    title: &str,
    problems: &[Diagnostic],
    fields: &[&Field],
    draw: impl Fn(&Field) -> Markup,
) -> Markup {
    let at_fault = |field: &&Field| problem(problems, field).is_some();
    html! {
        @if !fields.is_empty() {
            details.more id=(id) open[fields.iter().any(at_fault)] {
                summary { (title) " (" (fields.len()) ")" }
                @for table in fields.chunk_by(|one, next| one.table() == next.table()) {
                    @if !table[0].table().is_empty() { h3 { "[" (table[0].table()) "]" } }
                    @for field in table { (draw(field)) }
                }
            }
        }
    }
}

fn problem<'a>(problems: &'a [Diagnostic], field: &Field) -> Option<&'a Diagnostic> {
    let line = |one: &Diagnostic| one.place.as_ref().map(|place| place.line);
    problems.iter().find(|one| line(one) == Some(field.line))
}

/// A field with its label, what it means, and what is wrong with it.
fn shown(desk: &Desk, all: &[Field], field: &Field) -> Markup {
    let id = format!("f-{}", field.at.replace('.', "-"));
    let wrong = problem(&desk.problems, field).filter(|_| field.state == State::Given);
    // Elsewhere the table stands above it.
    let first = field.state == State::Open || field.key.name == "certified";
    html! {
        div.field {
            label for=(id) { b { (field.key.name) } " " span.faint { (if first { field.table() } else { "" }) } }
            (control(desk, all, field, &id, wrong.is_some()))
            p.faint.small id={ (id) "-says" } { (says(field.key)) }
            @if let Some(wrong) = wrong {
                p.small.wrong { (wrong.message) @for hint in &wrong.hints { ". " (hint) } }
            }
        }
    }
}

fn control(desk: &Desk, all: &[Field], field: &Field, id: &str, wrong: bool) -> Markup {
    let (value, offered) = (&field.value, &field.offered);
    let stands = if value.is_empty() { offered } else { value };
    let choices: Vec<(String, String)> = match field.key.kind {
        Kind::Choice(words) | Kind::ChoiceOrTable(words, _) => same(words()),
        Kind::Boolean => same(["true", "false"]),
        Kind::Path if field.key.name == "certified" => same(&desk.motors),
        Kind::Path if field.key.name != "curves" => same(desk.files.iter().map(|one| &one.name)),
        Kind::Signal(_) => signals(desk, all, stands),
        _ => vec![],
    };
    let quoted = field.remark.split_once("such as \"");
    let quoted = quoted.and_then(|(_, rest)| rest.split('"').next());
    let example = if offered.is_empty() {
        quoted
    } else {
        Some(offered.as_str())
    };
    html! {
        @if !choices.is_empty() {
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

/// Words that stand for themselves.
fn same<T: ToString>(words: impl IntoIterator<Item = T>) -> Vec<(String, String)> {
    let words = words.into_iter().map(|word| word.to_string());
    words.map(|word| (word.clone(), word)).collect()
}

/// Every column that a signal can be, as the file writes it, with the unit that stands there now.
fn signals(desk: &Desk, all: &[Field], now: &str) -> Vec<(String, String)> {
    let unit = now.trim_end_matches(['}', ' ']).split_once(", unit = ");
    let unit = unit.map_or(String::new(), |(_, unit)| format!(", unit = {unit}"));
    let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
    let mut out = Vec::new();
    for log in &desk.look.logs {
        let names = |one: &&Field| one.value == log.file && one.key.name == "file";
        let field = all.iter().find(names);
        let Some(name) = field.and_then(|one| one.table().strip_prefix("log.")) else {
            continue;
        };
        for column in &log.columns {
            let (of, column_name) = (quoted(name), quoted(&column.name));
            let value = format!("{{ log = {of}, column = {column_name}{unit} }}");
            let words = format!("{} of {}", clean(&column.name), clean(name));
            out.extend(
                (!matches!(column.kind, Does::Clock | Does::Words)).then_some((value, words)),
            );
        }
    }
    out
}

/// What can be done, each as the terminal does it.
fn work(tasks: &[DeskTask]) -> Markup {
    let is_busy = |task: &DeskTask| matches!(task.work, DeskWork::Busy(..));
    let busy = tasks.iter().any(is_busy);
    html! {
        section #work aria-labelledby="h-work" data-busy[busy] {
            h2 #h-work { "Reduce, and what follows from it" }
            @for (nth, task) in tasks.iter().enumerate() {
                @let off = busy || matches!(task.work, DeskWork::Cannot(_));
                div.task {
                    button.plain[nth > 0] id={ "run-" (nth) } type="button" data-post="/run" data-value=(task.command()) disabled[off] { (format!("{:?}", task.does)) }
                    code.faint.small { (task.command()) }
                    @if let DeskWork::Cannot(why) = &task.work { p.small { (why) } }
                }
                @match &task.work {
                    DeskWork::Busy(_, 0) => p { progress {} },
                    DeskWork::Busy(done, of) => p { progress value=(done) max=(of) {} " " (done) " of " (of) " steps of the fit" },
                    DeskWork::Done(done) => (ended(task.does, done)),
                    _ => {},
                }
            }
        }
    }
}

fn ended(does: DeskCommand, done: &DeskDone) -> Markup {
    let page = match does {
        DeskCommand::Compare => "Open the comparison",
        DeskCommand::Tune => "Open the gains",
        _ => "Open the report",
    };
    html! {
        @if let Some(told) = &done.told {
            @if let Some(danger) = &told.danger { p.danger role="alert" { (danger) @if let Some(caution) = &told.caution { br; (caution) } } }
            p class={ "verdict " (told.outcome.word()) } { span { (told.verdict) @if let Some(more) = &told.delivered { " " (more) } } }
        }
        @if done.failed { div role="alert" { pre { (done.says) } } }
        @else if !done.says.is_empty() { pre { (done.says) } }
        @if done.stale { p.word.undecided { "firing.toml has changed since: this is of the earlier one." } }
        @if let Some(address) = &done.opens { p { a.open href=(address) target="_blank" { (page) } } }
    }
}
