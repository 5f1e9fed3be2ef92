//! Customary units behind those of the SI, on an invented page.

use super::*;
use crate::render::words::plain;
use crate::view::fabricated;

#[test]
fn customary_units_stand_behind_the_si_ones_and_nowhere_else() {
    let page = || crate::view::firing::page(&fabricated::full().result);
    assert_eq!(page(), page().shown_in(Units::Si));
    let shown = page().shown_in(Units::Us);
    assert_eq!(
        plain(shown.delivered.as_ref().unwrap()),
        "Total impulse 59.09 N s (58.65 to 59.53) [13.284 lbf s (13.186 to 13.382)], class F."
    );
    let mut all = String::new();
    each_text(&mut shown.clone(), &mut |text| all += &plain(text));
    let times = ["ms [", "2.1258) [", "kg m² ["];
    assert!(all.contains(" lbf]") && all.contains(" psi ("), "{all}");
    assert!(!times.iter().any(|time| all.contains(time)), "{all}");
}
