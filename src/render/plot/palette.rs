//! Colours of pictures, by the names that the page gives them, so that one picture serves light paper,
//! dark screens and print.
//!
//! Blue and orange lead because the common colour-vision deficiencies leave them apart; every curve
//! is named in the key above it as well, and models are dashed.

use plotters::style::RGBColor;

/// One colour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Colour {
    name: &'static str,
    dashed: bool,
}

const fn solid(name: &'static str) -> Colour {
    Colour {
        name,
        dashed: false,
    }
}

const fn dashed(name: &'static str) -> Colour {
    Colour { name, dashed: true }
}

/// What all motors give together.
pub(crate) const INK: Colour = solid("ink");
/// Less important lines.
pub(crate) const FAINT: Colour = solid("faint");
/// What was measured.
pub(crate) const MEASURED: Colour = solid("measured");
/// Raw readings and commands, behind what was made of them.
pub(crate) const RAW: Colour = solid("raw");
/// A model, a certified curve, a fitted line.
pub(crate) const MODEL: Colour = dashed("model");
/// What would have been.
pub(crate) const LOADED: Colour = dashed("raw");
/// A model that is the main curve.
pub(crate) const MODEL_SOLID: Colour = solid("model");
/// Moments, and stretches that may be a burn.
pub(crate) const MOMENT: Colour = solid("moment");
/// A limit.
pub(crate) const LIMIT: Colour = dashed("moment");
/// Motors, one after the other.
pub(crate) const MOTORS: [Colour; 4] = [
    solid("motor-a"),
    solid("motor-b"),
    solid("motor-c"),
    solid("motor-d"),
];

impl Colour {
    /// The page's name for it.
    pub(crate) const fn name(self) -> &'static str {
        self.name
    }

    /// Whether a line of it is dashed.
    pub(crate) const fn dashed(self) -> bool {
        self.dashed
    }
}

/// A colour of the page in light, by its name; black for one that it does not have.
pub(crate) fn in_light(name: &str) -> RGBColor {
    in_style(name, false).unwrap_or(RGBColor(0, 0, 0))
}

/// What the page calls by a name, on light paper or on a dark screen.
fn in_style(name: &str, dark: bool) -> Option<RGBColor> {
    let (light, rest) =
        include_str!("../page/style.css").split_once("prefers-color-scheme:dark")?;
    let part = if dark { rest } else { light };
    let (_, hex) = part.split_once(&format!("--{name}:#"))?;
    let byte = |at: usize| u8::from_str_radix(hex.get(at..at + 2)?, 16).ok();
    Some(RGBColor(byte(0)?, byte(2)?, byte(4)?))
}

#[cfg(test)]
mod tests {
    use super::{RGBColor, in_style};

    /// Contrast of two colours by WCAG 2.1, relative luminance.
    fn contrast(a: RGBColor, b: RGBColor) -> f64 {
        let luminance = |RGBColor(r, g, b): RGBColor| {
            let part = |c: u8| {
                let c = f64::from(c) / 255.0;
                if c <= 0.04045 {
                    c / 12.92
                } else {
                    ((c + 0.055) / 1.055).powf(2.4)
                }
            };
            0.2126 * part(r) + 0.7152 * part(g) + 0.0722 * part(b)
        };
        let (a, b) = (luminance(a), luminance(b));
        (a.max(b) + 0.05) / (a.min(b) + 0.05)
    }

    // WCAG 2.1: 4.5:1 for letters, 3:1 for the parts of a picture that carry meaning.
    #[test]
    fn letters_and_curves_stand_out_in_light_and_dark() {
        for dark in [false, true] {
            let colour = |name| in_style(name, dark).unwrap_or_else(|| panic!("--{name}"));
            let paper = colour("paper");
            for name in [
                "ink",
                "faint",
                "measured",
                "model",
                "moment",
                "motor-a",
                "motor-b",
                "motor-c",
                "motor-d",
                "holds",
                "fails",
                "undecided",
            ] {
                for behind in ["paper", "sheet"] {
                    let ratio = contrast(colour(name), colour(behind));
                    assert!(ratio >= 4.5, "{name} on {behind}, dark {dark}: {ratio:.2}");
                }
            }
            assert!(contrast(colour("raw"), paper) >= 3.0);
        }
    }
}
