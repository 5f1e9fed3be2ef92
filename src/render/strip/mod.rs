//! The strip to share: a firing with its verdict, its curve and six numbers in one picture, as PNG or SVG.
//!
//! Drawn by `plotters` in both forms, in the size in which chats and pages show a link (1.91 to 1). Letters come from a
//! font in the program (a part of DejaVu Sans), so that a PNG is the same on every machine; an SVG is set in the
//! reader's own. A PNG is drawn larger and averaged: the library draws no soft edges.

mod curve;
mod png;

use std::path::Path;
use std::sync::Once;

use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::register_font;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use crate::finding::Outcome;
use crate::quantity::Units;
use crate::reduce::Reduction;
use crate::render::number;
use crate::render::words::plain;
use crate::view::at::At;
use crate::view::first_screen::strip;
use crate::view::text::{Part, Text};
use crate::view::{self, Page};

use super::plot::palette::in_light;

/// Width and height of the picture, px.
const SIZE: (u32, u32) = (1200, 630);
/// So many dots are drawn along each side of a pixel of a PNG.
const DOTS: u32 = 2;
/// Room around everything, px.
const MARGIN: u32 = 44;
/// Where the numbers begin, and how far apart they are, px.
const NUMBERS: u32 = 866;
const NUMBER_PX: u32 = 64;
/// Lines that the verdict may take.
const VERDICT_LINES: usize = 2;

/// What a picture is written as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PictureFormat {
    /// Dots.
    Png,
    /// Lines and letters.
    Svg,
}

impl PictureFormat {
    /// By the ending of a file's name.
    #[must_use]
    pub fn of(path: &Path) -> Option<Self> {
        let ending = path.extension()?.to_str()?.to_lowercase();
        match ending.as_str() {
            "png" => Some(Self::Png),
            "svg" => Some(Self::Svg),
            _ => None,
        }
    }
}

/// The firing as one picture, 1200 by 630 pixels, its numbers in the units that are asked for; `None` if it cannot be drawn.
#[must_use]
pub fn picture(of: &Reduction, format: PictureFormat, units: Units) -> Option<Vec<u8>> {
    static FONTS: Once = Once::new();
    FONTS.call_once(|| {
        let fonts: [(FontStyle, &'static [u8]); 2] = [
            (FontStyle::Normal, include_bytes!("fonts/DejaVuSans.ttf")),
            (FontStyle::Bold, include_bytes!("fonts/DejaVuSans-Bold.ttf")),
        ];
        for (style, font) in fonts {
            // Without it the library guesses widths, and a PNG has no letters: the tests would see that.
            let _ = register_font("sans-serif", style, font);
        }
    });
    let page = view::firing::page(&of.result);
    match format {
        PictureFormat::Svg => {
            let mut out = String::new();
            let area = SVGBackend::with_string(&mut out, SIZE).into_drawing_area();
            draw(
                &Sheet {
                    area: &area,
                    dots: 1,
                },
                of,
                (&page, units),
            )
            .ok()?;
            drop(area);
            Some(out.into_bytes())
        }
        PictureFormat::Png => {
            let size = (DOTS * SIZE.0, DOTS * SIZE.1);
            let mut dots = vec![0; 3 * size.0 as usize * size.1 as usize];
            let area = BitMapBackend::with_buffer(&mut dots, size).into_drawing_area();
            draw(
                &Sheet {
                    area: &area,
                    dots: DOTS,
                },
                of,
                (&page, units),
            )
            .ok()?;
            drop(area);
            png::written(&png::averaged(&dots, size.0 as usize, DOTS as usize), SIZE).ok()
        }
    }
}

type Drawn<B> = Result<(), DrawingAreaErrorKind<<B as DrawingBackend>::ErrorType>>;

/// What is drawn on, and how many dots make a pixel.
struct Sheet<'a, B: DrawingBackend> {
    area: &'a DrawingArea<B, Shift>,
    dots: u32,
}

/// How words are set: height of the letters in px, and the name of their colour.
#[derive(Clone, Copy)]
struct Type {
    px: u32,
    bold: bool,
    colour: &'static str,
}

const TITLE: Type = Type {
    px: 25,
    bold: false,
    colour: "faint",
};
const LABEL: Type = Type {
    px: 18,
    bold: false,
    colour: "faint",
};
const VALUE: Type = Type {
    px: 26,
    bold: true,
    colour: "ink",
};
const DANGER: Type = Type {
    px: 24,
    bold: true,
    colour: "fails",
};
const FOOT: Type = Type {
    px: 16,
    bold: false,
    colour: "faint",
};

impl<B: DrawingBackend> Sheet<'_, B> {
    fn style(&self, of: Type) -> TextStyle<'static> {
        let style = if of.bold {
            FontStyle::Bold
        } else {
            FontStyle::Normal
        };
        let font = FontDesc::new(FontFamily::SansSerif, f64::from(of.px * self.dots), style);
        font.color(&in_light(of.colour))
            .pos(Pos::new(HPos::Left, VPos::Top))
    }

    fn words(&self, text: &str, (x, y): (u32, u32), of: Type) -> Drawn<B> {
        let place = ((x * self.dots) as i32, (y * self.dots) as i32);
        self.area.draw_text(text, &self.style(of), place)
    }

    /// Width of a text, px.
    fn width(&self, text: &str, of: Type) -> u32 {
        let size = self.area.estimate_text_size(text, &self.style(of));
        size.map_or(0, |size| size.0 / self.dots)
    }

    /// A text in lines of at most so many pixels.
    fn lines(&self, text: &str, of: Type, most: u32) -> Vec<String> {
        let mut out: Vec<String> = vec![];
        for word in text.split_whitespace() {
            match out.last_mut() {
                Some(line) if self.width(&format!("{line} {word}"), of) <= most => {
                    *line += " ";
                    *line += word;
                }
                _ => out.push(word.to_owned()),
            }
        }
        out
    }

    /// A text cut to so many pixels.
    fn cut(&self, text: &str, of: Type, most: u32) -> String {
        let mut out = text.to_owned();
        while self.width(&out, of) > most {
            let letters = out.chars().count();
            out = out
                .chars()
                .take(letters.saturating_sub(2))
                .chain(['…'])
                .collect();
            if letters <= 2 {
                break;
            }
        }
        out
    }
}

/// The number of a text in US customary units.
fn customary(of: &Text) -> Option<String> {
    of.parts.iter().find_map(|part| match part {
        Part::Value { shown, .. } => number::customary(shown),
        _ => None,
    })
}

fn draw<B: DrawingBackend>(
    on: &Sheet<'_, B>,
    of: &Reduction,
    (page, units): (&Page, Units),
) -> Drawn<B> {
    on.area.fill(&in_light("paper"))?;
    let wide = SIZE.0 - 2 * MARGIN;
    let title = format!("{}, {}", plain(&page.title), plain(&page.about));
    on.words(&on.cut(&title, TITLE, wide), (MARGIN, 30), TITLE)?;
    let colour = match page.outcome {
        Outcome::Holds => "ink",
        not => not.word(),
    };
    let verdict = plain(&page.says);
    let sizes = [42, 36, 30, 26];
    let set = sizes.map(|px| Type {
        px,
        bold: true,
        colour,
    });
    let fits = |of: &&Type| on.lines(&verdict, **of, wide).len() <= VERDICT_LINES;
    let set = *set.iter().find(fits).unwrap_or(&set[3]);
    let mut down = 66;
    for line in on.lines(&verdict, set, wide).iter().take(VERDICT_LINES) {
        on.words(line, (MARGIN, down), set)?;
        down += set.px + set.px / 4;
    }
    if let Some(danger) = &page.danger {
        on.words(
            &on.cut(&plain(danger), DANGER, wide),
            (MARGIN, down + 6),
            DANGER,
        )?;
        down += DANGER.px + 12;
    }
    let (top, bottom) = (down + 14, SIZE.1 - 46);
    if let Some(chart) = curve::of(of) {
        let frame = (MARGIN, top, NUMBERS - MARGIN - 34, bottom - top);
        curve::draw(on, &chart, frame)?;
    }
    let root = At::root(&of.result);
    for (nth, (label, value)) in strip::numbers(&root).iter().enumerate() {
        let y = top + NUMBER_PX * nth as u32;
        let right = SIZE.0 - MARGIN;
        let most = right - NUMBERS;
        let beside = (units == Units::Us).then(|| customary(value)).flatten();
        let taken = beside.as_ref().map_or(0, |beside| on.width(beside, LABEL));
        let label = on.cut(&plain(label), LABEL, most.saturating_sub(taken));
        on.words(&label, (NUMBERS, y), LABEL)?;
        if let Some(beside) = beside {
            on.words(&beside, (right.saturating_sub(taken), y), LABEL)?;
        }
        on.words(
            &on.cut(&plain(value), VALUE, most),
            (NUMBERS, y + 22),
            VALUE,
        )?;
    }
    let foot = concat!("± 95 %. Reduced by burnwright ", env!("CARGO_PKG_VERSION"));
    on.words(foot, (NUMBERS, bottom + 12), FOOT)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::view::fabricated;

    #[test]
    fn a_picture_has_its_size_its_words_and_its_letters() {
        let full = fabricated::full();
        let svg = picture(&full, PictureFormat::Svg, Units::Si).unwrap();
        let svg = String::from_utf8(svg).unwrap();
        assert!(
            svg.contains("width=\"1200\" height=\"630\""),
            "{}",
            &svg[..200]
        );
        let root = At::root(&full.result);
        let numbers = strip::numbers(&root);
        assert_eq!(numbers.len(), 6);
        let told = numbers.iter().flat_map(|(label, value)| [label, value]);
        for words in told.map(plain).chain(["Both motors lit.".to_owned()]) {
            assert!(svg.contains(&words), "{words}");
        }
        let us = picture(&full, PictureFormat::Svg, Units::Us).unwrap();
        let us = String::from_utf8(us).unwrap();
        assert!(us.contains("13.28 lbf s") && !svg.contains("lbf"), "{us}");
        let misfire = picture(&fabricated::nothing_lit(), PictureFormat::Svg, Units::Si).unwrap();
        assert!(String::from_utf8(misfire).unwrap().contains("Danger: "));
        let png = picture(&full, PictureFormat::Png, Units::Si).unwrap();
        assert_eq!(png, picture(&full, PictureFormat::Png, Units::Si).unwrap());
        // Letters where the title stands: the font is there.
        let bare = picture(&fabricated::hostile(), PictureFormat::Png, Units::Si).unwrap();
        assert_ne!(png, bare);
        assert_eq!(png[16..24], [0, 0, 4, 176, 0, 0, 2, 118]);
    }

    #[test]
    fn widths_come_from_the_font() {
        let mut out = String::new();
        let area = SVGBackend::with_string(&mut out, SIZE).into_drawing_area();
        picture(&fabricated::dry_run(), PictureFormat::Svg, Units::Si).unwrap();
        let sheet = Sheet {
            area: &area,
            dots: 1,
        };
        assert!(sheet.width("iiii", LABEL) < sheet.width("mmmm", LABEL));
        assert_eq!(
            sheet
                .cut("a title that is longer", TITLE, 90)
                .chars()
                .last(),
            Some('…')
        );
        assert_eq!(sheet.lines("one two", TITLE, 10), ["one", "two"]);
    }
}
