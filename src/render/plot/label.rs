//! Names beside curves: where does a word fit without covering a line or another word?
//!
//! Places close to the curve are tried in a fixed order and the one that covers least is taken.

/// Size of letters in pictures, px.
pub(super) const LETTER_PX: f64 = 12.5;

/// Mean width of a letter against its size; a guess that errs on the wide side for plain text.
const LETTER_WIDTH: f64 = 0.58;

/// Height of a word against the size of its letters.
const LINE_HEIGHT: f64 = 1.15;

/// Width a text takes in a picture, px.
#[must_use]
pub(crate) fn text_width_px(text: &str) -> f64 {
    text.chars().count() as f64 * LETTER_PX * LETTER_WIDTH
}

#[derive(Debug, Clone, Copy)]
struct Rectangle {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Rectangle {
    fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right
            && other.left < self.right
            && self.top < other.bottom
            && other.top < self.bottom
    }

    fn holds(&self, (x, y): (f64, f64)) -> bool {
        (self.left..=self.right).contains(&x) && (self.top..=self.bottom).contains(&y)
    }
}

/// The inside of a frame with everything that words must not cover.
pub(crate) struct Field {
    frame: Rectangle,
    lines: Vec<(f64, f64)>,
    words: Vec<Rectangle>,
}

/// Distance between the points that stand for a line, px: less than the height of a word.
const LINE_STEP_PX: f64 = 3.0;

/// Where along a curve its name is tried, as share of its points.
const ALONG: [f64; 11] = [
    0.72, 0.62, 0.82, 0.52, 0.42, 0.9, 0.32, 0.22, 0.97, 0.12, 0.04,
];

/// How far above or below its curve a name is tried, px.
const AWAY_PX: [f64; 5] = [5.0, 9.0, 15.0, 24.0, 36.0];

impl Field {
    /// A frame from its upper left to its lower right corner, and the curves in it, px.
    #[must_use]
    pub(crate) fn new(corner: (f64, f64), far: (f64, f64), curves: &[Vec<(f64, f64)>]) -> Self {
        let frame = Rectangle {
            left: corner.0,
            top: corner.1,
            right: far.0,
            bottom: far.1,
        };
        let lines = curves.iter().flat_map(|curve| filled(curve)).collect();
        Self {
            frame,
            lines,
            words: vec![],
        }
    }

    /// Finds a place for the name of a curve, keeps it, and gives its upper left corner, px.
    pub(crate) fn place(&mut self, name: &str, curve: &[(f64, f64)]) -> (f64, f64) {
        let (width, height) = (text_width_px(name), LETTER_PX * LINE_HEIGHT);
        let mut best: Option<(usize, Rectangle)> = None;
        'search: for away in AWAY_PX {
            for along in ALONG {
                let at = ((curve.len() - 1) as f64 * along) as usize;
                let (x, y) = curve[at];
                for top in [y - away - height, y + away] {
                    for left in [x - 0.5 * width, x + 4.0, x - width - 4.0] {
                        let there = Rectangle {
                            left,
                            top,
                            right: left + width,
                            bottom: top + height,
                        };
                        let covered = self.covered(&there);
                        if best.as_ref().is_none_or(|(least, _)| covered < *least) {
                            best = Some((covered, there));
                        }
                        if covered == 0 {
                            break 'search;
                        }
                    }
                }
            }
        }
        let (_, place) = best.unwrap_or((0, self.frame));
        self.words.push(place);
        (place.left, place.top)
    }

    /// How much a word would cover there; outside the frame counts as worst.
    fn covered(&self, there: &Rectangle) -> usize {
        let frame = &self.frame;
        let outside = there.left < frame.left + 2.0
            || there.right > frame.right
            || there.top < frame.top
            || there.bottom > frame.bottom - 2.0;
        let words = self
            .words
            .iter()
            .filter(|word| word.overlaps(there))
            .count();
        let lines = self
            .lines
            .iter()
            .filter(|point| there.holds(**point))
            .count();
        10_000 * usize::from(outside) + 1_000 * words + lines
    }
}

/// A curve with points so close together that no word slips between them.
fn filled(curve: &[(f64, f64)]) -> Vec<(f64, f64)> {
    let mut out: Vec<(f64, f64)> = curve.to_vec();
    for pair in curve.windows(2) {
        let ((x0, y0), (x1, y1)) = (pair[0], pair[1]);
        let pieces = ((x1 - x0).hypot(y1 - y0) / LINE_STEP_PX).ceil().min(1e4) as usize;
        out.extend((1..pieces).map(|nth| {
            let share = nth as f64 / pieces as f64;
            (x0 + share * (x1 - x0), y0 + share * (y1 - y0))
        }));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_names_on_one_line_do_not_cover_the_line_or_each_other() {
        let line = vec![(0.0, 100.0), (400.0, 100.0)];
        let mut field = Field::new((0.0, 0.0), (400.0, 200.0), std::slice::from_ref(&line));
        let dense = filled(&line);
        let first = field.place("measured", &dense);
        let second = field.place("certified", &dense);
        let height = LETTER_PX * LINE_HEIGHT;
        for (_, top) in [first, second] {
            assert!(top + height < 100.0 || top > 100.0);
        }
        assert!(!field.words[0].overlaps(&field.words[1]));
    }

    #[test]
    fn a_crowded_field_still_gives_a_place_inside() {
        let crowd: Vec<Vec<(f64, f64)>> = (0..40)
            .map(|n| vec![(0.0, 5.0 * f64::from(n)), (400.0, 5.0 * f64::from(n))])
            .collect();
        let mut field = Field::new((0.0, 0.0), (400.0, 200.0), &crowd);
        let (x, y) = field.place("measured", &filled(&crowd[20]));
        assert!((0.0..400.0).contains(&x) && (0.0..200.0).contains(&y));
    }
}
