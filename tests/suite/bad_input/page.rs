//! The table of the page, made from the cases.

use super::{GROUPS, cases, updating};
use crate::runner::repository;

const BEGIN: &str = "<!-- cases: begin -->\n";
const END: &str = "<!-- cases: end -->\n";

/// One row for each case: its name, the first line of its answer.
fn rows() -> String {
    let mut out = String::new();
    for (group, heading) in GROUPS {
        out += &format!("\n### {heading}\n\n| input | first line of the answer |\n|---|---|\n");
        for case in cases(group) {
            let first = case.answer.lines().next().unwrap_or("");
            let cell = |text: &str| text.replace('|', "\\|").replace('<', "&lt;");
            out += &format!("| {} | {} |\n", cell(&case.name), cell(first));
        }
    }
    out.push('\n');
    out
}

#[test]
fn the_page_holds_every_case() {
    let path = repository().join("docs/bad-input.md");
    let page = std::fs::read_to_string(&path).unwrap();
    let (head, rest) = page.split_once(BEGIN).unwrap();
    let (table, tail) = rest.split_once(END).unwrap();
    if updating() {
        std::fs::write(&path, format!("{head}{BEGIN}{}{END}{tail}", rows())).unwrap();
    } else {
        assert_eq!(
            table,
            rows(),
            "BURNWRIGHT_UPDATE=1 writes the table of docs/bad-input.md anew"
        );
    }
}
