//! The house rules, held by reading the sources: rooms use only what lies below them, rules stay pure, every module
//! says what it is, no file grows past reading, templates hold no inline style or script.

use std::path::{Path, PathBuf};

/// The floors, from the top down. A room may use rooms of lower floors and its own; never one above or beside it.
const FLOORS: [&[&str]; 15] = [
    &["main", "lib", "cli"],
    &["app"],
    &["gate"],
    &["routes"],
    &["demo", "derive"],
    &["record", "exchange", "service", "help"],
    &["week"],
    &["contacts"],
    &["urgency"],
    &["supplies"],
    &["skin", "follow_up"],
    &["drafts"],
    &["stomas", "patients"],
    &["access", "audit"],
    &[
        "print",
        "db",
        "web",
        "config",
        "clock",
        "display",
        "dates_in",
        "provenance",
        "json_input",
        "once",
        "undo",
        "words",
    ],
];

/// Neighbours on one floor that may use one another in one direction: the first the second.
const NEIGHBOURS: [(&str, &str); 15] = [
    ("stomas", "patients"),
    ("access", "audit"),
    ("web", "db"),
    ("once", "db"),
    ("once", "web"),
    ("undo", "db"),
    ("undo", "web"),
    ("web", "clock"),
    ("web", "config"),
    ("web", "display"),
    ("db", "clock"),
    ("config", "db"),
    ("dates_in", "display"),
    ("main", "lib"),
    ("main", "cli"),
];

/// Uses that look upwards and are meant, each with its reason.
const MEANT: [(&str, &str, &str); 2] = [
    ("gate", "routes", "the gate enforces the list, and the list names the handlers that the gate lets through"),
    ("routes", "app", "liveness and the first page are handlers of the application itself"),
];

fn sources(folder: &str, ending: &str) -> Vec<PathBuf> {
    let mut found = Vec::new();
    let mut open = vec![Path::new(env!("CARGO_MANIFEST_DIR")).join(folder)];
    while let Some(folder) = open.pop() {
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            if path.is_dir() {
                open.push(path);
            } else if path.extension().is_some_and(|e| e == ending) {
                found.push(path);
            }
        }
    }
    found.sort();
    found
}

/// The room of a file: the first part of its path below `src`.
fn room(path: &Path) -> String {
    let below = path.strip_prefix(Path::new(env!("CARGO_MANIFEST_DIR")).join("src")).unwrap();
    below.components().next().unwrap().as_os_str().to_string_lossy().trim_end_matches(".rs").to_owned()
}

fn floor(room: &str) -> Option<usize> {
    FLOORS.iter().position(|rooms| rooms.contains(&room))
}

/// How many modules a file lies below the crate: 1 for a room itself.
fn depth(path: &Path) -> usize {
    let below = path.strip_prefix(Path::new(env!("CARGO_MANIFEST_DIR")).join("src")).unwrap();
    let own = usize::from(!below.ends_with("mod.rs"));
    below.components().count() - 1 + own
}

/// What the compiler sees of a source, its own tests left out.
fn code(source: &str) -> String {
    let source = source.split("#[cfg(test)]").next().unwrap_or("");
    source.lines().filter(|line| !line.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

/// The first names of a group such as `{audit::{Event, view}, week}`: those that stand outside inner braces.
fn heads_of_group(group: &str) -> Vec<String> {
    let (mut heads, mut level, mut expected) = (Vec::new(), 0, false);
    for (at, letter) in group.char_indices() {
        match letter {
            '{' => level += 1,
            '}' => level -= 1,
            _ => {}
        }
        match letter {
            _ if level == 0 => break,
            '{' | ',' if level == 1 => expected = true,
            letter if expected && !letter.is_whitespace() => {
                heads.push(name(&group[at..]));
                expected = false;
            }
            _ => {}
        }
    }
    heads
}

fn name(text: &str) -> String {
    text.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect()
}

/// Rooms that a source names, by `crate::` or by as many `super::` as lead out of its room.
fn rooms_used(source: &str, depth: usize) -> Vec<String> {
    let code = code(source);
    let mut used = Vec::new();
    for root in ["crate::".to_owned(), "super::".repeat(depth)] {
        for after in code.split(root.as_str()).skip(1) {
            if after.starts_with('{') {
                used.extend(heads_of_group(after));
            } else {
                used.push(name(after));
            }
        }
    }
    used.retain(|room| floor(room).is_some());
    used
}

/// What is wrong with a room using another; `None` when it may.
fn wrong_use(from: &str, to: &str) -> Option<String> {
    let (here, there) = (floor(from)?, floor(to)?);
    let neighbours = NEIGHBOURS.contains(&(from, to));
    let meant = MEANT.iter().any(|(a, b, _)| (*a, *b) == (from, to));
    let allowed = from == to || there > here || (there == here && neighbours) || meant;
    (!allowed).then(|| format!("{from} uses {to}, which stands above it or beside it"))
}

#[test]
fn every_room_uses_only_what_lies_below_it() {
    let mut wrong = Vec::new();
    for path in sources("src", "rs") {
        let from = room(&path);
        assert!(floor(&from).is_some(), "{from} has no floor: give it one here and in lib.rs");
        for to in rooms_used(&std::fs::read_to_string(&path).unwrap(), depth(&path)) {
            wrong.extend(wrong_use(&from, &to).map(|why| format!("{}: {why}", path.display())));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn the_test_itself_sees_a_wrong_use() {
    let source = "// crate::week is only talked of\n\
        use crate::{audit::{Event, view}, week::store};\nuse super::{rules, store};\n\
        fn f() { crate::record::page(); super::super::contacts::clinic::open(); super::page(); }";
    assert_eq!(rooms_used(source, 2), ["audit", "week", "record", "contacts"]);
    assert_eq!(rooms_used("use super::gate;\nuse super::{web::page, own::{week, gate}};", 1), ["gate", "web"]);
    assert!(wrong_use("patients", "week").is_some());
    assert!(wrong_use("audit", "access").is_some());
    assert!(wrong_use("week", "patients").is_none());
}

/// What a file of rules must not know.
const IMPURE: [&str; 15] = [
    "diesel",
    "actix",
    "askama",
    "crate::db",
    "crate::web",
    "crate::config",
    "crate::clock",
    "crate::access",
    "::store",
    "std::env",
    "std::fs",
    "std::net",
    "Instant::now",
    "SystemTime::now",
    "Utc::now",
];

fn impurities(source: &str) -> Vec<&'static str> {
    let code = code(source);
    IMPURE.into_iter().filter(|word| code.contains(word)).collect()
}

#[test]
fn rules_know_no_database_no_page_and_no_clock() {
    let mut looked_at = 0;
    for path in sources("src", "rs") {
        let text = path.to_string_lossy().into_owned();
        if text.contains("/rules/") || text.ends_with("rules.rs") {
            if text.contains("/cli/") {
                continue; // the command that replays rules
            }
            looked_at += 1;
            let found = impurities(&std::fs::read_to_string(&path).unwrap());
            assert!(found.is_empty(), "{text} knows {found:?}");
        }
    }
    assert!(looked_at > 30, "only {looked_at} files of rules were found");
    assert_eq!(impurities("use diesel::prelude::*;\nlet now = Utc::now();"), ["diesel", "Utc::now"]);
}

#[test]
fn the_time_is_read_in_one_place() {
    for path in sources("src", "rs") {
        let source = std::fs::read_to_string(&path).unwrap();
        if !path.ends_with("clock.rs") {
            assert!(!source.contains("Utc::now") && !source.contains("Local::now"), "{}", path.display());
        }
    }
}

#[test]
fn every_module_says_what_it_is_and_none_is_too_long() {
    for path in sources("src", "rs") {
        let source = std::fs::read_to_string(&path).unwrap();
        assert!(source.starts_with("//!"), "{} has no head", path.display());
        let lines = source.lines().count();
        // The tables are one list, a line a column, that no reader reads from end to end.
        let most = if path.ends_with("db/schema.rs") { 900 } else { 600 };
        assert!(lines <= most, "{} has {lines} lines", path.display());
    }
}

/// Attributes that run a script, as `onclick=`.
fn listeners(text: &str) -> Vec<String> {
    let words = text.split_whitespace().filter_map(|word| word.split_once('='));
    words.map(|(name, _)| name.to_lowercase()).filter(|name| name.starts_with("on")).collect()
}

#[test]
fn templates_hold_no_inline_style_and_no_inline_script() {
    for path in sources("templates", "html") {
        let text = std::fs::read_to_string(&path).unwrap();
        for word in [" style=", "<style", "javascript:"] {
            assert!(!text.contains(word), "{} has {word}", path.display());
        }
        assert_eq!(listeners(&text), Vec::<String>::new(), "{}", path.display());
        for script in text.split("<script").skip(1) {
            assert!(script.starts_with(" type=\"module\" src="), "{} has an inline script", path.display());
        }
        assert!(!text.contains("http://") && !text.contains("https://"), "{} names another host", path.display());
    }
    assert_eq!(listeners("<a href=\"/on=1\" onFocus=\"x()\">on=</a>"), ["onfocus"]);
}

#[test]
fn no_file_names_a_path_of_one_machine() {
    for (folder, ending) in [("src", "rs"), ("tests", "rs"), ("tests", "py"), ("templates", "html"), ("docs", "md")] {
        for path in sources(folder, ending) {
            if path.components().any(|c| c.as_os_str() == ".venv") || path.ends_with("architecture.rs") {
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            for word in ["/work/", "/root/", "/farm/"] {
                assert!(!text.contains(word), "{} names {word}", path.display());
            }
        }
    }
}
