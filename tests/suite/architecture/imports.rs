//! Which source file imports from which, read from `use` lines and from paths in the code.
//!
//! A name is followed through re-exports to the file that defines it. Test code counts for nothing. A
//! file may use what its folder's `mod.rs` (or any folder's around it) defines, so such an import makes
//! no circle. Not seen: names behind a glob or made by a macro.

use std::collections::{BTreeMap, BTreeSet};

/// A source file: its path inside `src`, its text.
pub type Source = (String, String);

type Path = Vec<String>;

/// Files that import from one another, directly or round about: each circle sorted by name.
pub fn circles(sources: &[Source]) -> Vec<Vec<String>> {
    let graph = graph(sources);
    let reach: BTreeMap<&String, BTreeSet<&String>> = graph
        .keys()
        .map(|file| (file, reachable(&graph, file)))
        .collect();
    let mut out = BTreeSet::new();
    for (file, reached) in &reach {
        let back = |other: &&&String| reach.get(**other).is_some_and(|set| set.contains(*file));
        let circle: Vec<String> = reached
            .iter()
            .filter(back)
            .map(|file| (*file).clone())
            .collect();
        if !circle.is_empty() {
            out.insert(circle);
        }
    }
    out.into_iter().collect()
}

fn reachable<'a>(
    graph: &'a BTreeMap<String, BTreeSet<String>>,
    from: &String,
) -> BTreeSet<&'a String> {
    let mut seen = BTreeSet::new();
    let mut next: Vec<&String> = graph[from].iter().collect();
    while let Some(file) = next.pop() {
        if seen.insert(file) {
            next.extend(graph.get(file).into_iter().flatten());
        }
    }
    seen
}

/// From each file to those it imports from.
pub fn graph(sources: &[Source]) -> BTreeMap<String, BTreeSet<String>> {
    let mut house = House::default();
    for (file, text) in sources {
        let tokens = without_tests(&tokens(text));
        house.modules.insert(module_of(file), (file, tokens));
    }
    let uses = |tokens: &Vec<String>| uses(tokens).into_iter();
    let imports: BTreeMap<Path, BTreeMap<String, Path>> = house
        .modules
        .iter()
        .map(|(module, (_, tokens))| (module.clone(), uses(tokens).collect()))
        .collect();
    house.imports = imports;
    let edges = |module: &Path, tokens: &[String]| -> BTreeSet<String> {
        let named = house.imports[module].values().cloned();
        let paths = named.chain(paths(tokens));
        let targets = paths.filter_map(|path| house.absolute(module, &path));
        targets
            .filter_map(|path| house.home(&path))
            .filter(|home| !module.starts_with(home))
            .map(|home| house.modules[&home].0.clone())
            .collect()
    };
    house
        .modules
        .iter()
        .map(|(module, (file, tokens))| ((*file).clone(), edges(module, tokens)))
        .collect()
}

/// All modules that have a file, with the file's tokens and the names it imports.
#[derive(Default)]
struct House<'a> {
    modules: BTreeMap<Path, (&'a String, Vec<String>)>,
    imports: BTreeMap<Path, BTreeMap<String, Path>>,
}

impl House<'_> {
    /// A path as written in a module, from the crate's root; `None` when it leads out of the crate.
    fn absolute(&self, module: &Path, written: &[String]) -> Option<Path> {
        let mut base = module.clone();
        let mut rest = written;
        match written.first()?.as_str() {
            "crate" => base.clear(),
            "super" | "self" => {
                if written[0] == "super" {
                    base.pop();
                }
                rest = &rest[1..];
                while rest.first().is_some_and(|first| first == "super") {
                    base.pop();
                    rest = &rest[1..];
                }
                return Some([base, rest.to_vec()].concat());
            }
            first => {
                let child = [base.clone(), vec![first.to_owned()]].concat();
                if self.modules.contains_key(&child) {
                    return Some([child, written[1..].to_vec()].concat());
                }
                let imported = self.imports[module].get(first)?;
                // A name that imports itself, such as `use csv::Reader` in a file that names `csv::`.
                if imported.first().is_some_and(|other| other == first) {
                    return None;
                }
                let imported = self.absolute(module, imported)?;
                return Some([imported, written[1..].to_vec()].concat());
            }
        }
        rest = &rest[1..];
        Some([base, rest.to_vec()].concat())
    }

    /// The module whose file defines what an absolute path names.
    fn home(&self, path: &[String]) -> Option<Path> {
        let mut path = path.to_vec();
        // Each turn follows one re-export.
        for _ in 0..8 {
            let depth = (0..=path.len())
                .rev()
                .find(|depth| self.modules.contains_key(&path[..*depth]))?;
            let (module, rest) = (path[..depth].to_vec(), &path[depth..]);
            let exported = rest
                .first()
                .and_then(|name| self.imports[&module].get(name));
            match exported.and_then(|written| self.absolute(&module, written)) {
                Some(onward) => path = [onward, rest[1..].to_vec()].concat(),
                // A module named as a whole is met again where something of it is used.
                None => return (!rest.is_empty()).then_some(module),
            }
        }
        None
    }
}

fn module_of(file: &str) -> Path {
    let name = file.trim_end_matches(".rs");
    let name = name.strip_suffix("mod").map_or(name, |folder| {
        if folder.is_empty() || folder.ends_with('/') {
            folder.trim_end_matches('/')
        } else {
            name
        }
    });
    let parts = name
        .split('/')
        .filter(|part| !part.is_empty() && *part != "lib");
    parts.map(str::to_owned).collect()
}

/// Words, `::` and single marks, without space and comments.
fn tokens(text: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for line in text.lines() {
        let code = line.split("//").next().unwrap();
        let mut rest = code.trim_start();
        while let Some(first) = rest.chars().next() {
            let inside = |c: char| c.is_alphanumeric() || c == '_';
            let length = if inside(first) {
                rest.find(|c| !inside(c)).unwrap_or(rest.len())
            } else if rest.starts_with("::") {
                2
            } else {
                first.len_utf8()
            };
            out.push(rest[..length].to_owned());
            rest = rest[length..].trim_start();
        }
    }
    out
}

/// What stands before the tests at the end of a file, without other items for tests only.
fn without_tests(tokens: &[String]) -> Vec<String> {
    const TEST_ONLY: [&str; 7] = ["#", "[", "cfg", "(", "test", ")", "]"];
    let mut out = Vec::new();
    let mut at = 0;
    while at < tokens.len() {
        let here = &tokens[at..];
        if !here.iter().take(7).eq(TEST_ONLY.iter()) {
            out.push(here[0].clone());
            at += 1;
            continue;
        }
        let end = here.iter().position(|token| token == ";" || token == "{");
        match end {
            Some(end) if here[end] == ";" => at += end + 1,
            Some(_) if here.iter().take(12).any(|token| token == "mod") => break,
            _ => at += TEST_ONLY.len(),
        }
    }
    out
}

/// The names that `use` lines bring in, with the paths they stand for.
fn uses(tokens: &[String]) -> Vec<(String, Path)> {
    let mut out = Vec::new();
    // The word in a sentence, in a text that the program prints, follows another word.
    let begins =
        |at: usize| at == 0 || [";", "{", "}", "]", ")", "pub"].contains(&tokens[at - 1].as_str());
    let starts = (0..tokens.len()).filter(|at| tokens[*at] == "use" && begins(*at));
    for start in starts {
        tree(&tokens[start + 1..], &mut vec![], &mut out);
    }
    out
}

/// One tree of a `use` line, up to `,`, `}` or `;`; how many tokens it took.
fn tree(tokens: &[String], before: &mut Path, out: &mut Vec<(String, Path)>) -> usize {
    let depth = before.len();
    let mut at = 0;
    let mut alias = None;
    while at < tokens.len() {
        match tokens[at].as_str() {
            "::" => at += 1,
            "{" => {
                at += 1;
                while tokens.get(at).is_some_and(|token| token != "}") {
                    at += tree(&tokens[at..], before, out).max(1);
                    at += usize::from(tokens.get(at).is_some_and(|token| token == ","));
                }
                before.truncate(depth);
                return at + 1;
            }
            "as" => {
                alias = Some(tokens[at + 1].clone());
                at += 2;
            }
            "," | "}" | ";" => break,
            name => {
                before.push(name.to_owned());
                at += 1;
            }
        }
    }
    // `a::{self}` names `a`.
    if before.len() > 1 && before.last().is_some_and(|last| last == "self") {
        before.pop();
    }
    if let Some(last) = before.last() {
        out.push((alias.unwrap_or_else(|| last.clone()), before.clone()));
    }
    before.truncate(depth);
    at
}

/// Every path of two parts or more, `use` lines too, as far as it is written out.
fn paths(tokens: &[String]) -> Vec<Path> {
    let mut out = Vec::new();
    let word = |at: usize| {
        let token: Option<&String> = tokens.get(at);
        token.filter(|token| token.starts_with(|c: char| c.is_alphabetic() || c == '_'))
    };
    let joined = |at: usize| tokens.get(at).is_some_and(|token| token == "::");
    let mut at = 0;
    while at < tokens.len() {
        let mut path = Vec::new();
        if !(at > 0 && joined(at - 1)) {
            while let Some(name) = word(at) {
                path.push(name.clone());
                if !joined(at + 1) {
                    break;
                }
                at += 2;
            }
        }
        if path.len() > 1 {
            out.push(path);
        }
        at += 1;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sources(files: &[(&str, &str)]) -> Vec<Source> {
        files
            .iter()
            .map(|(file, text)| ((*file).to_owned(), (*text).to_owned()))
            .collect()
    }

    #[test]
    fn a_circle_of_two_files_is_found() {
        let two = sources(&[
            ("lib.rs", "mod burn;"),
            ("burn/mod.rs", "mod edge; mod peak;"),
            ("burn/edge.rs", "use super::peak::Peak;"),
            ("burn/peak.rs", "fn of() -> super::edge::Edge {}"),
        ]);
        assert_eq!(circles(&two), [["burn/edge.rs", "burn/peak.rs"]]);
    }

    #[test]
    fn a_circle_through_three_files_a_re_export_and_an_imported_module_is_found() {
        let three = sources(&[
            ("lib.rs", "mod burn; mod log;"),
            (
                "log/mod.rs",
                "mod rows; pub use rows::{Row, Table as Rows};",
            ),
            (
                "log/rows.rs",
                "use crate::burn;\nfn of() { burn::Edge::new() }",
            ),
            ("burn/mod.rs", "mod edge; mod peak; pub use edge::Edge;"),
            ("burn/edge.rs", "use super::{peak::{self, Peak}};"),
            ("burn/peak.rs", "use crate::log::Rows;"),
        ]);
        let wanted = ["burn/edge.rs", "burn/peak.rs", "log/rows.rs"];
        assert_eq!(circles(&three), [wanted]);
    }

    #[test]
    fn a_folder_s_own_module_tests_and_comments_make_no_circle() {
        let none = sources(&[
            ("lib.rs", "mod burn;"),
            ("burn/mod.rs", "mod edge; use edge::Edge; struct Burn;"),
            (
                "burn/edge.rs",
                "// crate::burn::peak::Peak\nuse super::Burn;",
            ),
            (
                "burn/peak.rs",
                "use super::edge::Edge;\n#[cfg(test)]\nmod tests { use super::super::other; }",
            ),
            ("burn/other.rs", "use super::peak::Peak;"),
        ]);
        assert_eq!(circles(&none), Vec::<Vec<String>>::new());
        let graph = graph(&none);
        assert_eq!(
            graph["burn/mod.rs"],
            BTreeSet::from(["burn/edge.rs".to_owned()])
        );
        assert_eq!(
            graph["burn/other.rs"],
            BTreeSet::from(["burn/peak.rs".to_owned()])
        );
    }
}
