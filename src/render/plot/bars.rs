//! Bars that lie: a name above each, its value at the end.

use plotters::element::Rectangle;
use plotters::style::Color;
use plotters::style::text_anchor::{HPos, VPos};

use crate::render::words::shortened;

use super::chart::{SCALE, Size, drawing, write};
use super::label::text_width_px;
use super::palette::{Colour, FAINT, GRID, INK};

/// One bar.
#[derive(Debug, Clone)]
pub(crate) struct Bar {
    /// What it is.
    pub name: String,
    /// Its length, 0 to 1.
    pub share: f64,
    /// What stands at its end.
    pub value: String,
    /// Its colour.
    pub colour: Colour,
}

/// Several bars on one scale.
#[derive(Debug, Clone)]
pub(crate) struct Bars {
    /// What a reader who cannot see it is told.
    pub title: String,
    /// From top to bottom.
    pub bars: Vec<Bar>,
}

/// Height of one bar with its name, px.
const ROW_PX: i32 = 44;
/// Height of the bar alone, px.
const BAR_PX: i32 = 14;
/// Room right of the longest bar for its value, px.
const VALUE_PX: i32 = 72;

impl Bars {
    /// The picture as SVG text with no fixed size; the height follows from the number of bars.
    #[must_use]
    pub(crate) fn svg(&self, size: Size) -> String {
        let size = Size {
            width_px: size.width_px,
            height_px: ROW_PX * self.bars.len() as i32 + 4,
        };
        let letters = (f64::from(size.width_px - 12) / text_width_px("x")) as usize;
        drawing(&self.title, size, |root| {
            let full = f64::from(size.width_px - VALUE_PX);
            for (nth, bar) in self.bars.iter().enumerate() {
                let top = nth as i32 * ROW_PX;
                let name = shortened(&bar.name, letters);
                write(root, &name, (1, top + 2), INK, (HPos::Left, VPos::Top))?;
                let (upper, lower) = (top + 20, top + 20 + BAR_PX);
                let end = 1 + (bar.share.clamp(0.0, 1.0) * full).round().max(1.0) as i32;
                let rectangle = |to: i32, colour: Colour| {
                    let corners = [(1, upper), (to, lower)];
                    Rectangle::new(
                        corners.map(|(x, y)| (x * SCALE, y * SCALE)),
                        colour.rgb().filled(),
                    )
                };
                root.draw(&rectangle(1 + full as i32, GRID))?;
                root.draw(&rectangle(end, bar.colour))?;
                let at = (1 + full as i32 + 8, upper + BAR_PX / 2);
                write(root, &bar.value, at, FAINT, (HPos::Left, VPos::Center))?;
            }
            Ok(())
        })
    }
}
