//! Colours of pictures: drawn as fixed values, then tied to the page's colour names, so that one
//! picture serves light paper, dark screens and print.
//!
//! Blue and orange lead because the common colour-vision deficiencies leave them apart; every curve
//! is named beside it as well.

use plotters::style::RGBColor;

/// One colour: the page's name for it, its value on light paper, and dashes (in drawing units).
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct Colour {
    name: &'static str,
    rgb: (u8, u8, u8),
    dashes: Option<&'static str>,
}

const fn colour(name: &'static str, rgb: (u8, u8, u8), dashes: Option<&'static str>) -> Colour {
    Colour { name, rgb, dashes }
}

/// Letters and the frame.
pub(crate) const INK: Colour = colour("ink", (0x1d, 0x27, 0x30), None);
/// Less important letters.
pub(crate) const FAINT: Colour = colour("faint", (0x56, 0x60, 0x6b), None);
/// Lines behind the curves.
pub(crate) const GRID: Colour = colour("grid", (0xe2, 0xdd, 0xd1), None);
/// What was measured.
pub(crate) const MEASURED: Colour = colour("measured", (0x0b, 0x57, 0x8a), None);
/// Raw readings and commands, behind what was made of them.
pub(crate) const RAW: Colour = colour("raw", (0x84, 0x8d, 0x97), None);
/// A model, a certified curve, a fitted line.
pub(crate) const MODEL: Colour = colour("model", (0xa8, 0x43, 0x08), Some("72 40"));
/// A model that is the main curve.
pub(crate) const MODEL_SOLID: Colour = colour("model", (0xa8, 0x43, 0x09), None);
/// Moments: ignition, burnout, onsets.
pub(crate) const MOMENT: Colour = colour("moment", (0x8a, 0x2b, 0x5e), None);
/// A limit.
pub(crate) const LIMIT: Colour = colour("moment", (0x8a, 0x2b, 0x5f), Some("16 32"));
/// Motors, one after the other.
pub(crate) const MOTORS: [Colour; 4] = [
    colour("motor-a", (0x0b, 0x57, 0x8b), None),
    colour("motor-b", (0xa8, 0x43, 0x0a), None),
    colour("motor-c", (0x00, 0x6b, 0x56), None),
    colour("motor-d", (0x6b, 0x46, 0x9c), None),
];

const ALL: [Colour; 14] = [
    INK,
    FAINT,
    GRID,
    MEASURED,
    RAW,
    MODEL,
    MODEL_SOLID,
    MOMENT,
    LIMIT,
    MOTORS[0],
    MOTORS[1],
    MOTORS[2],
    MOTORS[3],
    PAPER,
];
/// What lies behind everything.
pub(crate) const PAPER: Colour = colour("paper", (0xfc, 0xfa, 0xf5), None);

impl Colour {
    /// For the drawing library.
    #[must_use]
    pub(crate) fn rgb(self) -> RGBColor {
        RGBColor(self.rgb.0, self.rgb.1, self.rgb.2)
    }

    /// The page's name for it.
    pub(super) fn name(self) -> &'static str {
        self.name
    }

    /// Its dashes, in drawing units.
    pub(super) fn dashes(self) -> Option<&'static str> {
        self.dashes
    }

    fn hex(self) -> String {
        format!("#{:02X}{:02X}{:02X}", self.rgb.0, self.rgb.1, self.rgb.2)
    }
}

/// Puts the page's colour names in place of the fixed values of a drawing.
#[must_use]
pub(crate) fn tied_to_page(svg: &str) -> String {
    let mut out = svg.replace(" opacity=\"1\"", "");
    for colour in ALL {
        let hex = colour.hex();
        let name = colour.name;
        let dashes = colour
            .dashes
            .map(|dashes| format!(";stroke-dasharray:{dashes}"))
            .unwrap_or_default();
        let fill = format!("style=\"fill:var(--{name},{hex})\"");
        let stroke = format!("style=\"stroke:var(--{name},{hex}){dashes}\"");
        out = out
            .replace(&format!("fill=\"{hex}\""), &fill)
            .replace(&format!("stroke=\"{hex}\""), &stroke);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_colours_share_a_value() {
        let mut values: Vec<String> = ALL.iter().map(|colour| colour.hex()).collect();
        values.sort();
        values.dedup();
        assert_eq!(values.len(), ALL.len());
    }

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
        assert_eq!(in_style("measured", false), MEASURED.rgb);
        assert_eq!(in_style("paper", false), PAPER.rgb);
    }
}
