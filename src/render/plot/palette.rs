//! Colours of pictures, by the names that the page gives them, so that one picture serves light paper,
//! dark screens and print.
//!
//! Blue and orange lead because the common colour-vision deficiencies leave them apart; every curve
//! is named in the key above it as well, and models are dashed.

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
    pub(super) const fn name(self) -> &'static str {
        self.name
    }

    /// Whether a line of it is dashed.
    pub(super) const fn dashed(self) -> bool {
        self.dashed
    }
}

#[cfg(test)]
mod tests {
    /// Contrast of two colours by WCAG 2.1, relative luminance.
    fn contrast(a: (u8, u8, u8), b: (u8, u8, u8)) -> f64 {
        let luminance = |(r, g, b): (u8, u8, u8)| {
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

    fn in_style(name: &str, dark: bool) -> (u8, u8, u8) {
        let css = include_str!("../page/style.css");
        let (light, rest) = css.split_once("prefers-color-scheme:dark").unwrap();
        let part = if dark { rest } else { light };
        let hex = part
            .split_once(&format!("--{name}:#"))
            .map(|(_, rest)| &rest[..6])
            .unwrap_or_else(|| panic!("--{name}"));
        let byte = |at: usize| u8::from_str_radix(&hex[at..at + 2], 16).unwrap();
        (byte(0), byte(2), byte(4))
    }

    // WCAG 2.1: 4.5:1 for letters, 3:1 for the parts of a picture that carry meaning.
    #[test]
    fn letters_and_curves_stand_out_in_light_and_dark() {
        for dark in [false, true] {
            let paper = in_style("paper", dark);
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
                    let ratio = contrast(in_style(name, dark), in_style(behind, dark));
                    assert!(ratio >= 4.5, "{name} on {behind}, dark {dark}: {ratio:.2}");
                }
            }
            assert!(contrast(in_style("raw", dark), paper) >= 3.0);
        }
    }
}
