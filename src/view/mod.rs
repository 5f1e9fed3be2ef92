//! What is shown of a result, made once as plain data for every renderer: terminal, page, or whatever
//! comes later.
//!
//! A [`Page`] holds sections, a section holds rows, tables, pictures by name, and findings. Every value
//! in them knows its path in the file of the same data (see [`text`]). What it looks like is the renderer's business.

pub(crate) mod archive;
pub(crate) mod at;
mod attention;
#[cfg(test)]
mod audit;
pub(crate) mod calibration;
pub(crate) mod comparison;
#[cfg(test)]
pub(crate) mod fabricated;
pub(crate) mod findings;
pub(crate) mod firing;
pub(crate) mod first_screen;
pub(crate) mod gains;
mod load_cell;
pub(crate) mod look;
pub(crate) mod overview;
pub(crate) mod pattern;
pub(crate) mod plan;
pub(crate) mod pooled_plant;
pub(crate) mod ready;
pub(crate) mod simulation;
pub(crate) mod text;
mod units;

use crate::finding::Outcome;
pub(crate) use attention::{Attention, Grade, Place};
use findings::{Judged, Noticed};
use text::Text;

/// Everything shown of one result.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Page {
    /// What it is.
    pub title: Text,
    /// Of what.
    pub about: Text,
    /// How it went.
    pub outcome: Outcome,
    /// The same as a sentence.
    pub says: Text,
    /// The sentence after it: what was delivered. A page that has it in its sections need not repeat it.
    pub delivered: Option<Text>,
    /// Whether there are intervals in it, whose notation has to be said.
    pub intervals: bool,
    /// In the order the numbers were made.
    pub sections: Vec<Section>,
    /// Everything noticed on the way, left out, or to be careful about.
    pub closing: Vec<Section>,
    /// Where the same numbers stand unrounded.
    pub files: &'static str,
    /// What could hurt somebody now, and what to do.
    pub danger: Option<Text>,
    /// What does not hold and what was noticed, the worst first.
    pub attention: Vec<Attention>,
    /// What stands on one screen below the verdict: pictures, rows, tables, notes. The rest is for who asks for it.
    pub glance: Vec<Content>,
}

/// A part of a page.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Section {
    /// Its name within the page, of letters, digits and hyphens.
    pub id: String,
    /// What it is about.
    pub title: Text,
    /// How to read it.
    pub how_to_read: &'static str,
    /// Whether a page shows only its title at first.
    pub folded: bool,
    /// What is in it.
    pub contents: Vec<Content>,
}

/// What a piece of a section holds.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Content {
    /// A heading over the pieces up to the next one.
    Heading(Text),
    /// The same over pieces that a page shows when they are asked for.
    Fold(Text),
    /// Labels and values.
    Rows(Vec<Row>),
    /// A table of columns.
    Table(Table),
    /// A picture and the words that name it.
    Picture(Picture, Text),
    /// A paragraph.
    Note(Text),
    /// Lines of a list.
    List(Vec<Text>),
    /// What was judged.
    Findings(Vec<Judged>),
    /// What was noticed.
    Warnings(Vec<Noticed>),
}

/// A label and its value.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Row {
    /// What it is.
    pub label: Text,
    /// Its value, one line for each fact.
    pub lines: Vec<Text>,
    /// What else can be said of it, for who wants everything.
    pub notes: Vec<Text>,
}

/// Columns under their heads.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Table {
    /// The words above the columns.
    pub heads: Vec<Text>,
    /// The rows, each with a cell for every column; a cell holds a line for each fact.
    pub rows: Vec<Vec<Vec<Text>>>,
}

/// The pictures there are. Each renderer draws them from the traces, or leaves them out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Picture {
    /// Thrust over time with its interval, and what steers it.
    Thrust,
    /// Thrust around ignition, with ringing and without.
    Ringing,
    /// The rig from the side, as it tilts.
    Rig,
    /// Measured minus certified thrust.
    Difference,
    /// The load over the whole record, its segments and the baseline.
    Record,
    /// Impulse delivered so far.
    Impulse,
    /// Shares of the variance of the impulse.
    Budget,
    /// Pressure in the chamber.
    Pressure,
    /// Thrust of each motor around ignition.
    Ignition,
    /// Where each motor lies in its class.
    PlacesInClass,
    /// Residuals of a cell's curve, by the name of the cell.
    CellResiduals(String),
    /// Nozzle angle of an axis.
    Nozzle(String),
    /// Tilt of an axis.
    Tilt(String),
    /// How much worse each width of the dead band fits.
    DeadBand(String),
    /// Autocorrelation of the residuals of an axis.
    Autocorrelation(String),
    /// Mean thrust of several firings.
    MeanThrust,
    /// Gain of the open loop against its phase, of an axis.
    OpenLoop(String),
    /// Tilt after a disturbance, of an axis.
    Disturbance(String),
    /// First commands of an axis.
    FirstCommands(String),
    /// Command, nozzle angle and tilt under the designed pattern of an axis.
    Pattern(String),
    /// Tilt and nozzle angle of the simulated flight of an axis.
    Track(String),
    /// Percentile band of the sampled flights of an axis.
    Percentiles(String),
    /// Tilt of an axis, recorded and replayed.
    Replay(String),
    /// Residuals of a judged calibration.
    CurveResiduals,
    /// A column of a log, both counted from zero.
    Column {
        /// Which log.
        log: usize,
        /// Which of its columns.
        column: usize,
    },
}

impl Table {
    /// Of cells of one line each.
    pub(crate) fn plain(
        heads: impl IntoIterator<Item = impl Into<Text>>,
        rows: impl IntoIterator<Item = Vec<Text>>,
    ) -> Self {
        let cells = |row: Vec<Text>| row.into_iter().map(|cell| vec![cell]).collect();
        Self {
            heads: heads.into_iter().map(Into::into).collect(),
            rows: rows.into_iter().map(cells).collect(),
        }
    }
}

impl Page {
    /// One that says only how it went.
    pub(crate) fn new(title: impl Into<Text>, outcome: Outcome, says: Text) -> Self {
        Self {
            title: title.into(),
            about: Text::default(),
            outcome,
            says,
            delivered: None,
            intervals: false,
            sections: Vec::new(),
            closing: Vec::new(),
            files: "",
            danger: None,
            attention: Vec::new(),
            glance: Vec::new(),
        }
    }

    /// Everything judged: first what fails, then what is undecided.
    pub(crate) fn judged(&self) -> Vec<&Judged> {
        let all = self.sections.iter().flat_map(Section::judged);
        let mut out: Vec<&Judged> = all.collect();
        out.sort_by_key(|one| findings::worst_first(one.outcome));
        out
    }
}

impl Section {
    /// An empty one.
    pub(crate) fn new(id: impl Into<String>, title: impl Into<Text>) -> Self {
        Self {
            id: id.into(),
            title: title.into(),
            how_to_read: "",
            folded: false,
            contents: Vec::new(),
        }
    }

    pub(crate) fn read(mut self, how: &'static str) -> Self {
        self.how_to_read = how;
        self
    }

    /// The same, for who wants to know how it was made.
    pub(crate) fn folded(mut self) -> Self {
        self.folded = true;
        self
    }

    fn push(mut self, content: Content) -> Self {
        self.contents.push(content);
        self
    }

    fn push_some<T>(self, all: Vec<T>, of: fn(Vec<T>) -> Content) -> Self {
        if all.is_empty() {
            return self;
        }
        self.push(of(all))
    }

    pub(crate) fn heading(self, words: impl Into<Text>) -> Self {
        self.push(Content::Heading(words.into()))
    }

    pub(crate) fn fold(self, words: impl Into<Text>) -> Self {
        self.push(Content::Fold(words.into()))
    }

    pub(crate) fn rows(self, rows: Vec<Row>) -> Self {
        self.push_some(rows, Content::Rows)
    }

    pub(crate) fn table(self, table: Table) -> Self {
        if table.rows.is_empty() {
            return self;
        }
        self.push(Content::Table(table))
    }

    pub(crate) fn picture(self, picture: Picture, caption: impl Into<Text>) -> Self {
        self.push(Content::Picture(picture, caption.into()))
    }

    pub(crate) fn note(self, words: impl Into<Text>) -> Self {
        self.push(Content::Note(words.into()))
    }

    pub(crate) fn list(self, lines: Vec<Text>) -> Self {
        self.push_some(lines, Content::List)
    }

    pub(crate) fn findings(self, all: Vec<Judged>) -> Self {
        self.push_some(all, Content::Findings)
    }

    pub(crate) fn warnings(self, all: Vec<Noticed>) -> Self {
        self.push_some(all, Content::Warnings)
    }

    /// What is judged in it.
    fn judged(&self) -> impl Iterator<Item = &Judged> {
        self.contents.iter().flat_map(|one| match one {
            Content::Findings(all) => all.as_slice(),
            _ => &[],
        })
    }

    /// What was noticed of it.
    fn noticed(&self) -> impl Iterator<Item = &Noticed> {
        self.contents.iter().flat_map(|one| match one {
            Content::Warnings(all) => all.as_slice(),
            _ => &[],
        })
    }
}

impl Row {
    pub(crate) fn new(label: impl Into<Text>, value: impl Into<Text>) -> Self {
        Self::of_lines(label, vec![value.into()])
    }

    pub(crate) fn of_lines(label: impl Into<Text>, lines: Vec<Text>) -> Self {
        Self {
            label: label.into(),
            lines,
            notes: Vec::new(),
        }
    }

    pub(crate) fn note(mut self, words: impl Into<Text>) -> Self {
        self.notes.push(words.into());
        self
    }
}
