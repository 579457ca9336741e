//! The rules of the architecture, read off the sources.

use std::fs;
use std::path::{Path, PathBuf};

const PURE: &[&str] = &[
    "ids.rs",
    "text",
    "language",
    "measure",
    "chem",
    "stats",
    "form",
    "procedure",
    "submission.rs",
    "columns.rs",
    "truth.rs",
    "course.rs",
    "workup",
    "schemes",
    "judge",
    "term",
    "changes",
    "simulate",
    "lti",
    "words.rs",
    "lib.rs",
];

/// Names of the outside world: a database, a web, a clock, chance without a seed, the file system.
const OUTSIDE: [&str; 14] = [
    "sqlx",
    "axum",
    "tokio",
    "askama",
    "tower_http",
    "std::fs",
    "std::net",
    "SystemTime",
    "Instant::now",
    "Timestamp::now",
    "Zoned::now",
    "rand::rng",
    "thread_rng",
    "getrandom",
];

fn sources(under: &Path) -> Vec<(PathBuf, String)> {
    let mut found = Vec::new();
    if under.is_file() {
        found.push((
            under.to_owned(),
            fs::read_to_string(under).expect("a source"),
        ));
        return found;
    }
    for entry in fs::read_dir(under).expect("a folder of sources") {
        let path = entry.expect("an entry").path();
        if path.is_dir() || path.extension().is_some_and(|e| e == "rs") {
            found.extend(sources(&path));
        }
    }
    found
}

fn src() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("src")
}

/// Lines of code that name `word`; comments and doc comments may.
fn lines_naming<'a>(text: &'a str, word: &str) -> Vec<&'a str> {
    let is_code = |line: &&str| !line.trim_start().starts_with("//");
    let whole = |line: &&str| {
        line.match_indices(word).any(|(at, _)| {
            let next = line[at + word.len()..].chars().next();
            let before = line[..at].chars().next_back();
            let inside = |c: Option<char>| c.is_some_and(|c| c.is_alphanumeric() || c == '_');
            !inside(next) && !inside(before)
        })
    };
    text.lines().filter(is_code).filter(whole).collect()
}

#[test]
fn the_pure_core_names_nothing_outside() {
    for part in PURE.iter().copied() {
        let files = sources(&src().join(part));
        assert!(!files.is_empty(), "{part}");
        for (path, text) in files {
            for word in OUTSIDE {
                let lines = lines_naming(&text, word);
                assert!(
                    lines.is_empty(),
                    "{} names {word}: {lines:?}",
                    path.display()
                );
            }
        }
    }
}

#[test]
fn each_outside_thing_has_one_place() {
    for (path, text) in sources(&src()) {
        let within = |place: &str| path.starts_with(src().join(place));
        for (word, place) in [
            ("sqlx", "store"),
            ("axum", "web"),
            ("askama", "web"),
            ("ureq", "campus"),
            ("ring", "campus"),
            ("rsa", "campus"),
            ("lettre", "mail"),
            ("icalendar", "files"),
        ] {
            let lines = lines_naming(&text, word);
            assert!(
                within(place) || lines.is_empty(),
                "{} names {word}: {lines:?}",
                path.display()
            );
        }
    }
}

/// commands, web -> desk -> store, files -> pure: nothing points back.
#[test]
fn dependencies_point_one_way() {
    let above = |part: &str| -> &[&str] {
        match part {
            "campus" | "lti" | "mail" => &["store", "files", "desk", "web", "commands"],
            "store" => &["files", "desk", "web", "commands"],
            "files" => &["store", "desk", "web", "commands"],
            "desk" => &["web", "commands"],
            "web" => &["commands"],
            _ => &["store", "files", "desk", "web", "commands"],
        }
    };
    for part in PURE
        .iter()
        .copied()
        .filter(|p| *p != "lib.rs")
        .chain(["campus", "lti", "mail", "store", "files", "desk", "web"])
    {
        for (path, text) in sources(&src().join(part)) {
            for other in above(part) {
                let name = format!("crate::{other}");
                let lines = lines_naming(&text, &name);
                assert!(
                    lines.is_empty(),
                    "{} uses {name}: {lines:?}",
                    path.display()
                );
            }
        }
    }
}

/// A true value leaves its seal only where it is marked, kept, shown to staff, or written to a coordinator's file.
#[test]
fn true_values_are_opened_in_few_places() {
    let allowed = [
        "judge/carried.rs",
        "judge/evaluate.rs",
        "judge/raise.rs",
        "judge/slips/",
        "term/carried.rs",
        "term/gather.rs",
        "term/live.rs",
        "term/proving.rs",
        "desk/history.rs",
        "desk/forms/stated.rs",
        "files/",
        "truth.rs",
        "web/coordinator/",
        "web/assistant/",
        "changes/unknown.rs",
        // what is printed for the laboratory is not among them
        "web/prep/key.rs",
        "web/prep/unknowns.rs",
    ];
    for (path, text) in sources(&src()) {
        let name = path
            .strip_prefix(src())
            .expect("below src")
            .to_string_lossy()
            .into_owned();
        let opened = text
            .lines()
            .any(|line| line.contains("truth.open()") || line.contains(".truth\n"));
        assert!(
            !opened || allowed.iter().any(|place| name.starts_with(place)),
            "{name} opens a true value"
        );
    }
}

/// What a student can reach is made without a true value in it: these pages never name one.
#[test]
fn student_pages_name_no_truth() {
    for (path, text) in sources(&src().join("web/student")) {
        for word in ["true_value", "relative_error_percent", "truth", "Sealed"] {
            let lines = lines_naming(&text, word);
            assert!(
                lines.is_empty(),
                "{} names {word}: {lines:?}",
                path.display()
            );
        }
    }
}

#[test]
fn files_stay_short() {
    let tests = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests");
    for (path, text) in sources(&src()).into_iter().chain(sources(&tests)) {
        let lines = text.lines().count();
        assert!(
            lines <= 500,
            "{} has {lines} lines, expected at most 500",
            path.display()
        );
    }
}

/// The top level holds what the design card names and nothing else.
#[test]
fn the_top_level_is_tidy() {
    let known = [
        "Cargo.toml",
        "Cargo.lock",
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "src",
        "migrations",
        "templates",
        "static",
        "tests",
        "seed-data",
        ".ci",
        ".gitignore",
        ".git",
        "target",
    ];
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    for entry in fs::read_dir(top).expect("the top level") {
        let name = entry
            .expect("an entry")
            .file_name()
            .to_string_lossy()
            .into_owned();
        let database = [".db", ".db-shm", ".db-wal"]
            .iter()
            .any(|end| name.ends_with(end));
        assert!(
            database || known.contains(&name.as_str()),
            "{name} at the top level"
        );
    }
}
